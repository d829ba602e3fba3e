"""Insects of hemp by warmth: how far each has come this year, and how soon it will have come.

Warmth is counted in degree days by the rule each source names. Where this year's record has a gap,
or begins after 1 January, the mean of the other years stands in for the day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np

from tierpole.evidence import Mark, Table, Value
from tierpole.weather import (
    DailyRecord,
    degree_days_average,
    degree_days_clipped,
    degree_days_sine,
)
from tierpole.weather.record import Floats

_CORN_BORER = "European corn borer in maize, base 50 °F, ceiling 86 °F (Apple, UW-Madison)"
_EARWORM = "corn earworm, single sine, 54.7 to 91.9 °F (Hartstack et al. 1976, in UC IPM)"
_HEMP_BORER = "eggs hatch in 8-10 d at 20-22 °C (AgroAtlas); a base of 10 °C is assumed"


def _warmth(name: str, fahrenheit: float, mark: Mark, source: str, note: str = "") -> Value:
    """Degree days that a source prints in °F."""
    return Value(name, fahrenheit / 1.8, "°C d", mark, source, note=note)


INSECTS = Table(
    "Insects by degree days",
    (
        Value("corn_borer_lower", 10.0, "°C", Mark.PUBLISHED, _CORN_BORER),
        Value("corn_borer_upper", 30.0, "°C", Mark.PUBLISHED, _CORN_BORER),
        _warmth("spring_moths", 374.0, Mark.PUBLISHED, _CORN_BORER, "first of spring"),
        _warmth("spring_eggs", 450.0, Mark.PUBLISHED, _CORN_BORER, "first of spring"),
        _warmth("spring_peak", 631.0, Mark.PUBLISHED, _CORN_BORER, "most moths of spring"),
        _warmth("summer_moths", 1400.0, Mark.PUBLISHED, _CORN_BORER, "first of summer"),
        _warmth("summer_eggs", 1450.0, Mark.PUBLISHED, _CORN_BORER, "first of summer"),
        _warmth("summer_hatch", 1550.0, Mark.PUBLISHED, _CORN_BORER, "first of summer"),
        _warmth("summer_peak", 1733.0, Mark.PUBLISHED, _CORN_BORER, "most moths of summer"),
        _warmth("summer_end", 2100.0, Mark.PUBLISHED, _CORN_BORER, "end of the time to treat"),
        Value("earworm_lower", (54.7 - 32) / 1.8, "°C", Mark.PUBLISHED, _EARWORM),
        Value("earworm_upper", (91.9 - 32) / 1.8, "°C", Mark.PUBLISHED, _EARWORM),
        _warmth("earworm_reach", 220.0, Mark.PUBLISHED, _EARWORM,
                "72.9 to hatch and 147.1 as a small larva, within reach of a biological"),
        Value("hemp_borer_lower", 10.0, "°C", Mark.INFERENCE, _HEMP_BORER),
        Value("hemp_borer_hatch", 100.0, "°C d", Mark.INFERENCE, _HEMP_BORER),
    ),
)  # fmt: skip
CORN_BORER = ("spring_moths", "spring_eggs", "spring_peak", "summer_moths", "summer_eggs",
              "summer_hatch", "summer_peak", "summer_end")  # fmt: skip
COMMON = 365  # days of a common year
Rule = Callable[[Floats, Floats], Floats]


def corn_borer(t_min: Floats, t_max: Floats) -> Floats:
    """Degree days for the European corn borer [°C d], of daily extremes [°C], any shape."""
    lower, upper = INSECTS["corn_borer_lower"], INSECTS["corn_borer_upper"]
    return degree_days_clipped(t_min, t_max, lower, upper)


def earworm(t_min: Floats, t_max: Floats) -> Floats:
    """Degree days for the corn earworm [°C d], of daily extremes [°C], any shape."""
    return degree_days_sine(t_min, t_max, INSECTS["earworm_lower"], INSECTS["earworm_upper"])


def hemp_borer(t_min: Floats, t_max: Floats) -> Floats:
    """Degree days for the hemp borer [°C d], of daily extremes [°C], any shape."""
    return degree_days_average(t_min, t_max, INSECTS["hemp_borer_lower"])


@dataclass(frozen=True, eq=False)
class Warmth:
    """Degree days of one rule at a station: of past years [year, day of year], and until a day."""

    years: Floats
    until: date
    so_far: float

    def days_to(self, warmth: float) -> Floats:
        """Days from `until` on to so much warmth more [year]; infinite where not that year."""
        first = self.until.timetuple().tm_yday - 1
        summed = np.cumsum(self.years[:, first:COMMON], axis=1)
        reached = summed >= warmth * (1 - 1e-12)
        return np.where(reached.any(axis=1), reached.argmax(axis=1) + 1.0, np.inf)


def warmth_of(rule: Rule, past: DailyRecord, this: DailyRecord, until: date) -> Warmth:
    """The warmth of past years, and of this one from 1 January to the evening before a day."""
    years = _by_year(past, rule(past.t_min, past.t_max))
    seen = this.until(until)
    days = np.full(years.shape[1], np.nan)
    own = seen.year == until.year
    days[seen.day_of_year[own] - 1] = rule(seen.t_min, seen.t_max)[own]
    days = np.where(np.isnan(days), years.mean(axis=0), days)
    return Warmth(years, until, float(days[: until.timetuple().tm_yday - 1].sum()))


def _by_year(record: DailyRecord, daily: Floats) -> Floats:
    """Daily values by calendar year [year, day of year]; a gap has the mean of the other years."""
    years, row = np.unique(record.year, return_inverse=True)
    table = np.full((len(years), 366), np.nan)
    table[row, record.day_of_year - 1] = daily
    known = np.isfinite(table)
    usual = np.where(known, table, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.where(known, table, usual)
