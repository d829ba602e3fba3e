"""A state may be stricter than the federal rule, never looser."""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable
from typing import Any

from tierpole.rulebook.models import NOT_STATED, Rulebook, Strikes

_LABORATORIES = ("none", "same", "any")


def _at_most(own: Any, base: Any) -> bool:
    """Numbers, with `not stated` as no limit at all."""
    if base == NOT_STATED:
        return True
    return own != NOT_STATED and own <= base


def _within(own: Iterable[str], base: Iterable[str]) -> bool:
    return set(own) <= set(base)


def _covers(own: Iterable[str], base: Iterable[str]) -> bool:
    return set(own) >= set(base)


def _strikes(own: Strikes, base: Strikes) -> bool:
    return own.count <= base.count and own.years >= base.years and own.bar_years >= base.bar_years


def _laboratory(own: str, base: str) -> bool:
    return _LABORATORIES.index(own) <= _LABORATORIES.index(base)


# provision -> is the state's value at least as strict as the base's? Rules without an order
# (who samples, what a lot is, how plants are counted, which lots may go unsampled under an approved
# plan) are not compared.
_AT_LEAST_AS_STRICT: dict[str, Callable[[Any, Any], bool]] = {
    "limit": operator.le,
    "analytes": _covers,
    "factor": operator.ge,
    "mu_allowed": operator.le,
    "window_days": operator.le,
    "window_counts_sample_day": operator.ge,
    "cut_before_sample": operator.le,
    "cut_before_result": operator.le,
    "request_lead_days": operator.ge,
    "pre_harvest_report_days": operator.ge,
    "retests_allowed": _at_most,
    "retest_lab": _laboratory,
    "disposal_notice_days": _at_most,
    "disposal_report_days": _at_most,
    "disposal_methods": _within,
    "remediation": _within,
    "biomass_retest": operator.ge,
    "negligence_line": operator.le,
    "strikes": _strikes,
    "cap_years": operator.ge,
    "record_years": operator.ge,
}


def looser_provisions(own: Rulebook, base: Rulebook) -> tuple[str, ...]:
    """Names of the rules in which `own` is looser than `base`."""
    return tuple(
        name
        for name, is_strict in _AT_LEAST_AS_STRICT.items()
        if not is_strict(getattr(own, name).value, getattr(base, name).value)
    )
