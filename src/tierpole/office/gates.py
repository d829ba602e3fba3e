"""What stands between material and its buyer: panels that failed, that are missing, or too old.

A failed panel keeps a delivery back until somebody writes why it goes out all the same; one that
the buyer asks for and that is missing or too old is a warning. Panels are of the lot in the bag:
remediated material is a lot of its own, and what its mother lot passed does not count for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from tierpole.charts import words
from tierpole.compliance import last_verdicts
from tierpole.errors import Fault, InputError
from tierpole.farm import Noun
from tierpole.farm.books import Bag, Delivery, Panel, PanelGroup, Sale
from tierpole.records import Store, Wanted, nouns


@dataclass(frozen=True)
class Trouble:
    """A panel of a lot that a buyer may not take, in a sentence; `blocks` when it failed."""

    lot: str
    said: str
    blocks: bool


def troubles(
    sale: Sale | None, lots: Iterable[str], panels: Sequence[Panel], on: date
) -> tuple[Trouble, ...]:
    """What is wrong with the panels of some lots for a sale, on a day."""
    return tuple(
        found
        for lot in dict.fromkeys(lots)
        for group, last in _last(panels, lot, on)
        if (found := _trouble(sale, lot, group, last, on)) is not None
    )


def _last(
    panels: Sequence[Panel], lot: str, on: date
) -> list[tuple[PanelGroup, tuple[date, bool] | None]]:
    told = last_verdicts(panels, lot, on)
    return [(group, told.get(group)) for group in PanelGroup]


def _trouble(
    sale: Sale | None, lot: str, group: PanelGroup, last: tuple[date, bool] | None, on: date
) -> Trouble | None:
    if last is not None and not last[1]:
        when = words.plain_day(last[0])
        return Trouble(lot, f"{lot}: {group} failed in the sample of {when}.", True)
    if sale is None or group not in sale.panels:
        return None
    if last is None:
        return Trouble(lot, f"{lot}: {sale.buyer} asks for {group}, and none is reported.", False)
    days = (on - last[0]).days
    if sale.panel_days is not None and days > sale.panel_days:
        most = f"{sale.panel_days:.0f}"
        said = f"{lot}: {group} were sampled {days} days before, and {sale.buyer} takes {most}."
        return Trouble(lot, said, False)
    return None


def check_gates(store: Store, said: Iterable[Noun | None]) -> None:
    """Raise `InputError` for a delivery that a failed panel keeps back without a reason."""
    for noun in said:
        if isinstance(noun, Delivery) and not noun.exception:
            found = [one.said for one in delivery_troubles(store, noun) if one.blocks]
            if found:
                allowed = "why it goes out all the same"
                raise InputError("delivery", [Fault(" ".join(found), "exception", None, allowed)])


def delivery_troubles(store: Store, delivery: Delivery) -> tuple[Trouble, ...]:
    """What is wrong with the panels of what is delivered."""
    bags: list[Bag] = [one.noun for one in nouns(store, Wanted("bag"))]
    panels: list[Panel] = [one.noun for one in nouns(store, Wanted("panel"))]
    sale = next((one.noun for one in nouns(store, Wanted("sale", name=delivery.sale))), None)
    lots = (one.lot for one in bags if one.name in delivery.bags)
    return troubles(sale, lots, panels, delivery.delivered_on)
