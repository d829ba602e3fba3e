"""When a lot may be sampled and cut: lead, sampler's days, result, window."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from scipy.special import ndtri

from tierpole.evidence import Mark, Table, Value
from tierpole.rulebook import Rulebook

RESULT = Table(
    "Waiting for the result",
    (
        Value(
            "late_share", 0.8, "1", Mark.INFERENCE,
            "our choice: the plan waits as long as four results in five take",
            note="the share of results that are in by the laboratory's late day",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class CutWindow:
    """The first and last day a lot may be cut on."""

    first: date
    last: date

    @property
    def is_open(self) -> bool:
        """False when the result comes after the window has ended."""
        return self.first <= self.last


def window_end(sample_date: date, book: Rulebook) -> date:
    """The last day of the harvest of a lot.

    Parameters
    ----------
    sample_date : day of the official sample
    book : the rulebook in force

    Returns
    -------
    date : the last stick may be cut on it

    Equation: last = sample + days, one less where the sample day is day 1.
    Source: 7 CFR 990.26(a); Georgia 40-32-2-.05 for day 1; each rulebook's window.
    Departures: a text that names only the start of the harvest is held to as if it named its
    completion, the safe reading.
    """
    return sample_date + timedelta(
        days=book.window_days.value - int(book.window_counts_sample_day.value)
    )


def cut_window(
    sample_date: date,
    result_date: date,
    book: Rulebook,
    cut_before_result: bool = False,
    report_date: date | None = None,
) -> CutWindow:
    """The days a lot may be cut on.

    Cutting starts with the result; with the sample where the grower takes that risk and the
    rulebook does not forbid it. `report_date` is the day the harvest was reported (or the sample
    asked for) where the rulebook wants that ahead of the harvest.
    """
    early = cut_before_result and book.cut_before_result.value
    first = sample_date if early else result_date
    if report_date is not None:
        first = max(first, report_date + timedelta(days=book.pre_harvest_report_days.value))
    return CutWindow(first, window_end(sample_date, book))


def sample_days(
    on: date, last: date, lead_days: float, weekdays: Collection[int], closed: Collection[date] = ()
) -> tuple[date, ...]:
    """Every day the sampler can come when called on `on` or later.

    `lead_days` is the longer of the rulebook's and the sampler's own; `weekdays` count from
    Monday 0; `closed` are days off. The call for a day goes out `lead_days` before it at latest.
    """
    return tuple(
        day
        for day in _days(on + timedelta(days=math.ceil(lead_days)), last)
        if day.weekday() in weekdays and day not in closed
    )


def result_delay(share: float, usual: float, late: float) -> int:
    """Days from sample to result within which a `share` of results are in.

    Parameters
    ----------
    share : share of results [1]
    usual : days half of the results take [d]
    late : days four results in five take [d], at least `usual`

    Returns
    -------
    int : days, rounded up

    Equation: usual x (late / usual)^(z(share) / z(0.8)), z the standard normal quantile: a
    lognormal time through both points.
    Source: inference; replace the two numbers by the laboratory's record.
    """
    if usual <= 0:
        return math.ceil(late)
    power = float(ndtri(share) / ndtri(RESULT["late_share"]))
    return math.ceil(round(usual * (max(late, usual) / usual) ** power, 9))


def _days(first: date, last: date) -> Iterator[date]:
    for step in range((last - first).days + 1):
        yield first + timedelta(days=step)
