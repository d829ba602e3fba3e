"""What the charts and pages read out of an outlook: slices by name, never a new statistic."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from tierpole.plan.result import Plan
from tierpole.rulebook import rulebook_on
from tierpole.season import Season

Floats = NDArray[np.float64]


def dates(outlook: xr.Dataset, dimension: str) -> list[date]:
    """The calendar days along a day dimension."""
    return as_dates(outlook[dimension].values)


def as_dates(days: np.ndarray) -> list[date]:
    """Days of an array as dates."""
    return [day.astype("datetime64[D]").item() for day in days]


def of_lot(outlook: xr.Dataset, variable: str, lot: str) -> Floats:
    """A variable's values for one lot, the draws first."""
    return np.asarray(outlook[variable].sel(lot=lot).transpose("draw", ...).values, dtype=float)


def chance(happens: np.ndarray) -> Floats:
    """Share of the draws (first axis) in which something happens."""
    return happens.mean(axis=0)


def limit_of(season: Season) -> float:
    """The legal share of total THC on the day the season is seen."""
    return float(rulebook_on(season.farm.jurisdiction, season.on).limit.value)


def chance_over(season: Season, outlook: xr.Dataset, lot: str) -> Floats:
    """Chance that a lot's true total THC is above the limit [day]."""
    return chance(of_lot(outlook, "thc", lot) > limit_of(season))


def chance_frozen(season: Season, outlook: xr.Dataset, offset: float, level: float) -> Floats:
    """Chance that a night at or below `level` [°C] has come since 1 July by each day [day].

    `offset` is how much colder (negative) the nights of the field are than the station's.
    """
    autumn = season.days >= np.datetime64(date(season.year, 7, 1))
    cold = (outlook["night_low"].values + offset <= level) & autumn
    return chance(np.logical_or.accumulate(cold, axis=1))


def coldest_offset(season: Season) -> float:
    """The offset of the field whose nights are coldest."""
    return min(field.night_offset for field in season.fields)


def first_at(chances: Floats, share: float, days: list[date]) -> date | None:
    """The first day on which a chance reaches `share`."""
    reached = np.nonzero(chances >= share - 1e-12)[0]
    return days[int(reached[0])] if reached.size else None


def runs(steps: np.ndarray) -> Iterator[tuple[int, int, int]]:
    """Stretches of equal values: first index, last index, value."""
    edges = np.nonzero(np.diff(steps))[0] + 1
    firsts = np.concatenate([[0], edges])
    lasts = np.concatenate([edges - 1, [len(steps) - 1]])
    for first, last in zip(firsts, lasts, strict=True):
        yield int(first), int(last), int(steps[first])


def last_cut(season: Season, plan: Plan) -> date:
    """The last planned cut, or the day the season is seen when none is left."""
    return max((cut.day for cut in plan.cuts), default=season.on)
