"""Values a station cannot have measured, and days its observer dated one late.

Each rule looks at all values at once and names the days it does not believe; `clean` takes those
values out and lists every one with its reason. A morning observer's maximum, and most of his
rain, belong to the day before: `clean` moves them back when the record says so, or when the
record itself leaves no doubt.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from tierpole.evidence import Mark, Table, Value
from tierpole.weather.climatology import climatological_mean
from tierpole.weather.record import Bools, DailyRecord, Floats

_DURRE = (
    "Durre, Menne, Gleason, Houston & Vose 2010, Comprehensive automated quality assurance of "
    "daily surface observations, J. Appl. Meteorol. Climatol. 49:1615-1633, from memory"
)
_OBSERVERS = (
    "the stored records: observers at midnight or automatic 0.12 to 0.17 (Milwaukee, Champaign, "
    "Fisher), a known morning observer -0.04 (Shaler), a doubtful one 0.08 (Front Royal)"
)

COEFFICIENTS = Table(
    "Weather checks",
    (
        Value("temperature_lowest", -89.4, "°C", Mark.MEMORY, _DURRE + "; lowest ever recorded"),
        Value("temperature_highest", 57.7, "°C", Mark.MEMORY, _DURRE + "; highest ever recorded"),
        Value("rain_highest", 1828.8, "mm", Mark.MEMORY, _DURRE + "; most in one day ever"),
        Value("outlier_spread", 6.0, "robust sd", Mark.MEMORY, _DURRE),
        Value(
            "outlier_least_values",
            60,
            "values",
            Mark.INFERENCE,
            "two months of that name; fewer give no usable spread",
        ),
        Value("spike", 25.0, "K", Mark.MEMORY, _DURRE + "; from both neighbours"),
        Value("flat_line", 20, "days", Mark.MEMORY, _DURRE + "; the same value day after day"),
        Value("morning_gap", 0.0, "-", Mark.COMPUTED, _OBSERVERS),
        Value("doubtful_gap", 0.1, "-", Mark.COMPUTED, _OBSERVERS),
        Value(
            "observation_least_days",
            730,
            "days",
            Mark.INFERENCE,
            "two years hold about 100 changes of air mass in each season",
        ),
    ),
)


@dataclass(frozen=True)
class Finding:
    """One value a rule does not believe, or one doubt about the record as a whole."""

    date: date
    element: str
    value: float | None
    rule: str
    action: str

    def __str__(self) -> str:
        value = "" if self.value is None else f" {self.value:g}"
        return f"{self.date} {self.element}{value}: {self.rule}, {self.action}"


Values = dict[str, Floats]
Rule = Callable[[Values, DailyRecord], dict[str, Bools]]


def clean(record: DailyRecord) -> tuple[DailyRecord, list[Finding]]:
    """The record without the values no rule believes, dated by calendar day, and what was found."""
    values = _values(record)
    findings: list[Finding] = []
    for name, rule in RULES:
        for element, bad in rule(values, record).items():
            findings += [
                Finding(day, element, float(value), name, "set missing")
                for day, value in zip(record.dates[bad].tolist(), values[element][bad], strict=True)
            ]
            values[element] = np.where(bad, np.nan, values[element])
    believed = replace(record, **values)
    dated, doubts = _by_calendar_day(believed)
    return dated, findings + doubts


def _values(record: DailyRecord) -> Values:
    values = {"t_min": record.t_min, "t_max": record.t_max, "rain": record.rain}
    return values if record.dew_point is None else values | {"dew_point": record.dew_point}


# --- rules: each marks the values it does not believe, by element --------------------------------


def out_of_range(values: Values, _: DailyRecord) -> dict[str, Bools]:
    """Values no station on earth has recorded."""
    c = COEFFICIENTS
    limits = {"rain": (0.0, c["rain_highest"])}
    world = (c["temperature_lowest"], c["temperature_highest"])
    return {
        element: (array < limits.get(element, world)[0]) | (array > limits.get(element, world)[1])
        for element, array in values.items()
    }


def out_of_order(values: Values, _: DailyRecord) -> dict[str, Bools]:
    """A maximum below its minimum: nobody knows which of the two is wrong, so both go."""
    bad = values["t_max"] < values["t_min"]
    marked = {"t_min": bad, "t_max": bad}
    if "dew_point" in values:
        marked["dew_point"] = values["dew_point"] > values["t_max"]
    return marked


def outlier(values: Values, record: DailyRecord) -> dict[str, Bools]:
    """Temperatures further from their month's median than the station's own spread allows."""
    month = record.dates.astype("datetime64[M]").astype(np.int64) % 12
    return {element: _far(values[element], month) for element in ("t_min", "t_max")}


def _far(array: Floats, month: NDArray[np.int64]) -> Bools:
    far = np.zeros(len(array), bool)
    for each in range(12):
        rows = np.flatnonzero((month == each) & np.isfinite(array))
        if len(rows) >= COEFFICIENTS["outlier_least_values"]:
            distance = np.abs(array[rows] - np.median(array[rows]))
            # 1.4826 median distances are one sd of a normal distribution
            spread = 1.4826 * np.median(distance)
            far[rows] = distance > COEFFICIENTS["outlier_spread"] * max(spread, 0.1)
    return far


def spike(values: Values, _: DailyRecord) -> dict[str, Bools]:
    """Temperatures far above, or far below, both neighbouring days."""
    return {element: _spiked(values[element]) for element in ("t_min", "t_max")}


def _spiked(array: Floats) -> Bools:
    step = np.diff(array, prepend=np.nan, append=np.nan)
    before, after = step[:-1], step[1:]
    size = COEFFICIENTS["spike"]
    up = (before > size) & (after < -size)
    down = (before < -size) & (after > size)
    return up | down


def flat_line(values: Values, _: DailyRecord) -> dict[str, Bools]:
    """The same value for weeks: a stuck instrument; days without rain are no flat line."""
    marked = {element: _stuck(values[element]) for element in ("t_min", "t_max")}
    return marked | {"rain": _stuck(np.where(values["rain"] > 0, values["rain"], np.nan))}


def _stuck(array: Floats) -> Bools:
    if not len(array):
        return np.zeros(0, bool)
    # A missing value differs from every other one, so it ends a run.
    starts = np.flatnonzero(np.append(True, array[1:] != array[:-1]))
    lengths = np.diff(np.append(starts, len(array)))
    return np.repeat(lengths >= COEFFICIENTS["flat_line"], lengths)


RULES: tuple[tuple[str, Rule], ...] = (
    ("range", out_of_range),
    ("order", out_of_order),
    ("outlier", outlier),
    ("spike", spike),
    ("flat line", flat_line),
)


# --- the hour of observation ---------------------------------------------------------------------


def observation_gap(record: DailyRecord) -> float:
    """How much better the maximum of a date goes with the next minimum than with the last one.

    Parameters
    ----------
    record : daily minimum and maximum, at least two years [day]

    Returns
    -------
    gap : [-], NaN when there are too few days

    Equation: ``r(Tmax[d], Tmin[d + 1]) - r(Tmax[d], Tmin[d - 1])``, both as anomalies.
    Source: inference. An afternoon leans on the dawns on either side of it; a dawn further off
    matters less. A morning observer writes the afternoon under the next date, which turns the
    difference round.
    """
    high = _anomaly(record.t_max, record)
    low = _anomaly(record.t_min, record)
    after, before = (high[:-1], low[1:]), (high[1:], low[:-1])
    return _correlation(*after) - _correlation(*before)


def _anomaly(array: Floats, record: DailyRecord) -> Floats:
    days = record.day_of_year
    return array - climatological_mean(array, days)[days - 1]


def _correlation(one: Floats, other: Floats) -> float:
    both = np.isfinite(one) & np.isfinite(other)
    if both.sum() < COEFFICIENTS["observation_least_days"]:
        return float("nan")
    return float(np.corrcoef(one[both], other[both])[0, 1])


def _by_calendar_day(record: DailyRecord) -> tuple[DailyRecord, list[Finding]]:
    """A morning observer's maximum and rain moved to the day before."""
    is_morning, gap = record.observed_in_morning, observation_gap(record)
    is_doubtful = is_morning is None and gap < COEFFICIENTS["doubtful_gap"]
    if is_morning is None:
        is_morning = np.full(len(record), gap < COEFFICIENTS["morning_gap"])
    if not is_morning.any() and not is_doubtful:
        return record, []
    action = (
        f"maximum and rain of {is_morning.sum():,} days moved to the day before"
        if is_morning.any()
        else "left as dated: say yes or no under observed_in_morning in stations.csv"
    )
    value = None if np.isnan(gap) else round(gap, 3)
    finding = Finding(record.dates[0].item(), "t_max", value, "observation time", action)
    return _moved_back(record, is_morning), [finding]


def _moved_back(record: DailyRecord, is_morning: Bools) -> DailyRecord:
    """Values read in the morning moved to the day before, unless that day has its own reading."""
    moved = {
        name: np.where(
            is_morning, np.append(np.where(is_morning, array, np.nan)[1:], np.nan), array
        )
        for name, array in (("t_max", record.t_max), ("rain", record.rain))
    }
    return replace(record, observed_in_morning=np.zeros(len(record), bool), **moved)
