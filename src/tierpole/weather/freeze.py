"""First fall and last spring freezes, by threshold and year, and how often they come by a date.

Days are counted from 1 April of each year (0 = 1 April, negative before), as on the season's
axis, so that leap years do not move them. A field colder than the station is asked about with a
higher threshold: the caller adds the field's night offset.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.weather.record import DailyRecord, Floats

Half = Literal["spring", "fall"]

# The middle of summer parts a year's two cold ends: 1 August, counted from 1 April.
_MIDSUMMER = 122


@dataclass(frozen=True, eq=False)
class FreezeDays:
    """Freezes of one half of the year at one threshold [year].

    `day` is counted from 1 April: the last freeze of spring or the first of fall. A fall without
    a freeze is +inf, a spring without one -inf.
    """

    half: Half
    threshold: float
    years: NDArray[np.int64]
    day: Floats


def freeze_days(record: DailyRecord, threshold: float, half: Half) -> FreezeDays:
    """The last spring or first fall day of each year with a minimum at or below a threshold.

    Parameters
    ----------
    record : daily minima [day]; a year counts when none is missing in that half of it
    threshold : [°C], a minimum at or below it is a freeze
    half : ``spring`` is 1 January to 31 July, ``fall`` 1 August to 31 December

    Returns
    -------
    freezes : [day from 1 April], [year]

    Equation: ``min`` (fall) or ``max`` (spring) of the days with ``Tmin <= threshold``, threshold
    rounded to a tenth as records are: 28 °F is written -2.2 °C and is a freeze at 28 °F.
    Source: definition used by the freeze normals of NOAA NCEI.
    """
    day = (record.dates - _first_of_april(record)).astype(np.int64)
    in_half = (day < _MIDSUMMER) if half == "spring" else (day >= _MIDSUMMER)
    known, counts = np.unique(record.year[in_half & np.isfinite(record.t_min)], return_counts=True)
    years = [year for year, n in zip(known, counts, strict=True) if n == _length(year, half)]
    freezes = in_half & (record.t_min <= round(threshold, 1))
    days = [_end_of(day[freezes & (record.year == year)], half) for year in years]
    return FreezeDays(half, threshold, np.array(years, np.int64), np.array(days, float))


def freeze_quantile(freezes: FreezeDays, share: ArrayLike) -> Floats:
    """The date by which a share of the years has had its freeze, in order of date.

    Parameters
    ----------
    freezes : by year
    share : [-], of the years, any shape

    Returns
    -------
    day : [day from 1 April], same shape; infinite when that share of the years has no freeze,
        NaN when there is no whole year

    Equation: linear between the sorted days, the first at share 0 and the last at share 1.
    Source: empirical distribution, R's and NumPy's usual quantile (type 7).
    """
    days, asked = np.sort(freezes.day), np.asarray(share, float)
    if not len(days):
        return np.full(asked.shape, np.nan)
    place = asked * (len(days) - 1)
    below, above = days[np.floor(place).astype(int)], days[np.ceil(place).astype(int)]
    # equal neighbours may both be infinite: there is no step between them to take a part of
    step = np.subtract(above, below, out=np.zeros_like(below), where=above != below)
    part = np.multiply(step, place % 1, out=np.zeros_like(below), where=step > 0)
    return below + part


def freeze_date(day: float, year: int) -> np.datetime64 | None:
    """A day counted from 1 April as a date of one year; None when there was no freeze."""
    if not np.isfinite(day):
        return None
    return np.datetime64(f"{year}-04-01") + np.timedelta64(math.floor(day + 0.5), "D")


def _first_of_april(record: DailyRecord) -> NDArray[np.datetime64]:
    return (record.dates.astype("datetime64[Y]").astype("datetime64[M]") + 3).astype(
        "datetime64[D]"
    )


def _length(year: int, half: Half) -> int:
    """Days in a half year: to 31 July, or from 1 August."""
    first = np.datetime64(f"{year}-01-01" if half == "spring" else f"{year}-08-01")
    after = np.datetime64(f"{year}-08-01" if half == "spring" else f"{year + 1}-01-01")
    return int((after - first).astype(np.int64))


def _end_of(days: NDArray[np.int64], half: Half) -> float:
    if half == "fall":
        return float(days.min()) if len(days) else np.inf
    return float(days.max()) if len(days) else -np.inf
