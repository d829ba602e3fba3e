"""Gaps in a record filled by a stated method, and counted.

A short gap in temperature is bridged: the departure from the usual value of the day is drawn
straight from the last known day to the next. A longer gap, or one at an end, takes the usual
value of each day. A gap in rain takes the rain of the same days of the nearest year that has
them, so that dry and wet spells keep their length; only when no year has them is it taken as dry.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tierpole.evidence import Mark, Table, Value
from tierpole.weather.climatology import YEAR, climatological_mean
from tierpole.weather.record import Bools, DailyRecord, Floats

COEFFICIENTS = Table(
    "Filling gaps",
    (
        Value(
            "short_gap",
            5,
            "days",
            Mark.INFERENCE,
            "a departure from the usual is half forgotten after about three days",
        ),
    ),
)


@dataclass(frozen=True)
class FillCount:
    """Values filled: temperatures bridged or usual, rain taken from another year or as dry."""

    bridged: int = 0
    usual: int = 0
    rain_borrowed: int = 0
    rain_dry: int = 0

    @property
    def total(self) -> int:
        """All values that are not observations."""
        return self.bridged + self.usual + self.rain_borrowed + self.rain_dry

    def __str__(self) -> str:
        return (
            f"{self.bridged:,} temperatures bridged, {self.usual:,} taken as usual for the day; "
            f"{self.rain_borrowed:,} days of rain from another year, {self.rain_dry:,} as dry"
        )


def fill_gaps(
    record: DailyRecord, history: DailyRecord | None = None
) -> tuple[DailyRecord, FillCount]:
    """The record with every gap in temperature and rain filled, and how many values that took.

    `history` supplies the usual values and the other years' rain; without it the record does.
    Days filled are marked in `filled`. Recorded dew points are left as they are.
    """
    history = record if history is None else history
    t_min, bridged_low = _fill_temperature(record, history, "t_min")
    t_max, bridged_high = _fill_temperature(record, history, "t_max")
    rain, borrowed = _fill_rain(record, history)
    gaps = [~np.isfinite(array) for array in (record.t_min, record.t_max, record.rain)]
    # a filled value gives way to an observed one: the day then has no range
    t_min = np.where(gaps[0] & ~gaps[1], np.minimum(t_min, t_max), t_min)
    bridged = int(bridged_low.sum() + bridged_high.sum())
    dry = np.isnan(rain)
    count = FillCount(
        bridged=bridged,
        usual=int(gaps[0].sum() + gaps[1].sum()) - bridged,
        rain_borrowed=int(borrowed.sum()),
        rain_dry=int(dry.sum()),
    )
    filled = replace(
        record,
        t_min=t_min,
        t_max=np.maximum(t_max, t_min),
        rain=np.where(dry, 0.0, rain),
        filled=record.filled | np.logical_or.reduce(gaps),
    )
    return filled, count


def _fill_temperature(
    record: DailyRecord, history: DailyRecord, element: str
) -> tuple[Floats, Bools]:
    """Filled values and the days on which they were bridged."""
    values: Floats = getattr(record, element)
    mean = climatological_mean(getattr(history, element), history.day_of_year)
    usual = mean[record.day_of_year - 1]
    known = np.isfinite(values)
    if not known.any():
        return usual, np.zeros(len(values), bool)
    days = np.arange(len(values))
    departure = np.interp(days, days[known], (values - usual)[known])
    short = _short_gaps(known)
    return np.where(known, values, usual + np.where(short, departure, 0.0)), short


def _short_gaps(known: Bools) -> Bools:
    """Days in gaps of a few days with a known day on either side."""
    short = np.zeros(len(known), bool)
    for first, last in _runs(~known):
        is_inside = first > 0 and last < len(known)
        short[first:last] = is_inside and last - first <= COEFFICIENTS["short_gap"]
    return short


def _runs(marked: Bools) -> NDArray[np.int64]:
    """First day and day after the last of each run of marked days [run, 2]."""
    edges = np.diff(np.concatenate([[False], marked, [False]]).astype(np.int8))
    return np.column_stack([np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)])


def _fill_rain(record: DailyRecord, history: DailyRecord) -> tuple[Floats, Bools]:
    """Rain with gaps taken from the nearest year, and the days so taken; the rest stay NaN."""
    rain = record.rain.copy()
    borrowed = np.zeros(len(rain), bool)
    if not len(history) or not len(record):
        return rain, borrowed
    start = int((record.dates[0] - history.dates[0]).astype(np.int64))
    for first, last in _runs(~np.isfinite(rain)):
        spell = _same_days_of_another_year(history.rain, start + first, start + last)
        if spell is not None:
            rain[first:last], borrowed[first:last] = spell, True
    return rain, borrowed


def _same_days_of_another_year(rain: Floats, first: int, last: int) -> Floats | None:
    """Rain of the same calendar days in the nearest year that has all of them, earlier first."""
    years = int(len(rain) / YEAR) + 1
    for shift in (sign * step for step in range(1, years + 1) for sign in (-1, 1)):
        begin = first + round(shift * YEAR)
        spell = rain[max(begin, 0) : max(begin + last - first, 0)]
        if len(spell) == last - first and np.isfinite(spell).all():
            return spell
    return None
