"""A station's daily record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Days = NDArray[np.datetime64]

ELEMENTS = ("t_min", "t_max", "rain")


@dataclass(frozen=True)
class Station:
    """Where a record was taken; `elevation` [m], `latitude` and `longitude` [deg]."""

    code: str
    name: str
    latitude: float
    longitude: float
    elevation: float


@dataclass(frozen=True, eq=False)
class DailyRecord:
    """Daily weather of one station, one value a day [day], NaN where missing.

    `dates` run without a gap. `t_min`, `t_max` and `dew_point` [°C], `rain` [mm]. `filled` marks
    days on which a value is not an observation. `observed_in_morning` marks days on which the
    instruments were read in the morning, None when nobody has said. `flagged` counts values left
    out because the publisher had marked them as bad.
    """

    station: Station
    dates: Days
    t_min: Floats
    t_max: Floats
    rain: Floats
    filled: Bools
    dew_point: Floats | None = None
    observed_in_morning: Bools | None = None
    flagged: int = 0
    provenance: str = ""

    def __post_init__(self) -> None:
        if len(self.dates) and (np.diff(self.dates) != np.timedelta64(1, "D")).any():
            raise ValueError(f"{self.station.name}: the dates of a record run day by day")
        lengths = {len(array) for array in self._arrays().values()}
        if lengths != {len(self.dates)}:
            raise ValueError(f"{self.station.name}: a record has one value of each kind a day")

    def _arrays(self) -> dict[str, NDArray[np.generic]]:
        names = ("dates", *ELEMENTS, "filled", "dew_point", "observed_in_morning")
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}

    def __len__(self) -> int:
        return len(self.dates)

    def __repr__(self) -> str:
        span = f"{self.dates[0]} to {self.dates[-1]}" if len(self) else "no days"
        return f"<DailyRecord {self.station.name}: {span}, {int(self.filled.sum())} days filled>"

    @property
    def day_of_year(self) -> NDArray[np.int64]:
        """1 on 1 January of each year [day]."""
        return (self.dates - self.dates.astype("datetime64[Y]")).astype(np.int64) + 1

    @property
    def year(self) -> NDArray[np.int64]:
        """Calendar year of each day [day]."""
        return self.dates.astype("datetime64[Y]").astype(np.int64) + 1970

    @property
    def recorded(self) -> Bools:
        """Days whose minimum, maximum and rain are all observations [day]."""
        known = np.isfinite(self.t_min) & np.isfinite(self.t_max) & np.isfinite(self.rain)
        return known & ~self.filled

    def until(self, on: date) -> DailyRecord:
        """The days known on a date: a day's weather is known the day after."""
        return self._part(self.dates < np.datetime64(on, "D"))

    def only_year(self, year: int) -> DailyRecord:
        """The days from 1 April to 31 December of one year; may be none."""
        first, last = np.datetime64(f"{year}-04-01"), np.datetime64(f"{year}-12-31")
        return self._part((self.dates >= first) & (self.dates <= last))

    def has_year(self, year: int) -> bool:
        """Whether the record runs through the whole season of a year."""
        return len(self.only_year(year)) == len(season_dates(year))

    def without_year(self, year: int) -> DailyRecord:
        """The record with one calendar year taken out (its values missing)."""
        gone = self.year == year
        blanked = {name: np.where(gone, np.nan, getattr(self, name)) for name in ELEMENTS}
        if self.dew_point is not None:
            blanked["dew_point"] = np.where(gone, np.nan, self.dew_point)
        return replace(self, **blanked)

    def redated(self, year: int) -> DailyRecord:
        """The days of one season moved to another year, month and day kept."""
        if len(self) and (self.year != self.year[0]).any():
            raise ValueError("only the days of one season can be moved to another year")
        if not len(self):
            return self
        moved = np.datetime64(f"{year}-04-01") + (self.dates - season_dates(int(self.year[0]))[0])
        return replace(
            self, dates=moved, provenance=f"{self.provenance}; re-dated from {self.year[0]}"
        )

    def _part(self, keep: Bools) -> DailyRecord:
        return replace(self, **{name: array[keep] for name, array in self._arrays().items()})


def season_dates(year: int) -> Days:
    """The season's day axis: 1 April to 31 December."""
    return np.arange(f"{year}-04-01", f"{year + 1}-01-01", dtype="datetime64[D]")
