"""The last word of each panel beside potency: pesticides, metals, mycotoxins, microbes."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from tierpole.farm.books import Panel, PanelGroup


def last_verdicts(
    panels: Iterable[Panel], lot: str, on: date
) -> dict[PanelGroup, tuple[date, bool]]:
    """Of each group that was tested in a lot: the day of its last sample, and whether it passed.

    Of two certificates of one day the one that failed counts. Nothing reported after `on` is
    known yet, and material that was remediated is a lot of its own.
    """
    found: dict[PanelGroup, tuple[date, bool]] = {}
    mine = [one for one in panels if one.lot == lot and one.reported_on <= on]
    for group in PanelGroup:
        told = [
            (one.sampled_on, not passed)
            for one in mine
            if (passed := getattr(one, f"{group}_pass")) is not None
        ]
        if told:
            sampled_on, failed = max(told)
            found[group] = (sampled_on, not failed)
    return found
