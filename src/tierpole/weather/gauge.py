"""A farm's own rain gauge and thermometer laid over the record of its station.

Where the farm read a value, it counts before the station's of that day; where it read none, the
station's stays. Each element for itself: a rain gauge alone changes only the rain. Before noon a
reading tells the day before, as a station's morning observer does: its rain and its highest
temperature are moved there, its lowest is of the morning itself. Two readings that tell of the
same day add up in rain, for a gauge is set back each time; two of one morning, or of one
afternoon, are one reading written twice, and the later counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from operator import add

import numpy as np
from numpy.typing import NDArray

from tierpole.farm import GaugeReading
from tierpole.weather.record import DailyRecord, Floats

Own = dict[str, dict[date, float]]  # by element and day
_JOINED: dict[str, Callable[[float, float], float]] = {"t_min": min, "t_max": max, "rain": add}


def with_gauge(record: DailyRecord, readings: Sequence[GaugeReading]) -> DailyRecord:
    """A record dated by calendar day, with what the farm read itself in place of the station's.

    Where only one temperature of a day was read and the station's other one contradicts it, the
    station's gives way and the day has no range. A recorded dew point keeps its distance from the
    lowest temperature.
    """
    own = own_days(readings)
    days = [day for found in own.values() for day in found]
    if not days:
        return record
    longer = _reaching(record, min(days), max(days))
    low, high, rain = (_laid(longer, element, own) for element in ("t_min", "t_max", "rain"))
    is_own_high = np.isin(longer.dates, np.array([*own["t_max"]], "datetime64[D]"))
    dew_point = longer.dew_point
    return replace(
        longer,
        t_min=np.where(is_own_high & (low > high), high, low),
        t_max=np.where(~is_own_high & (low > high), low, high),
        rain=rain,
        dew_point=None if dew_point is None else dew_point + (low - longer.t_min),
        observed_in_morning=np.zeros(len(longer), bool),
    )


def own_days(readings: Iterable[GaugeReading]) -> Own:
    """What a farm's readings say of each day: lowest, highest [°C] and rain [mm]."""
    own: Own = {"t_min": {}, "t_max": {}, "rain": {}}
    latest = {(one.read_on, one.is_of_morning): one for one in readings}
    for one in latest.values():
        day = one.read_on - timedelta(days=one.is_of_morning)
        said = (
            ("t_min", one.read_on, one.temperature_lowest),
            ("t_max", day, one.temperature_highest),
            ("rain", day, one.rain),
        )
        for element, on, value in said:
            if value is not None:
                there = own[element].get(on)
                own[element][on] = value if there is None else _JOINED[element](there, value)
    return own


def _reaching(record: DailyRecord, first: date, last: date) -> DailyRecord:
    """A record made long enough for some days, with nothing on those it did not have."""
    start, end = np.datetime64(first, "D"), np.datetime64(last, "D")
    if len(record):
        start, end = min(start, record.dates[0]), max(end, record.dates[-1])
    dates = np.arange(start, end + 1)
    where = np.isin(dates, record.dates)

    def spread(array: Floats) -> Floats:
        longer = np.full(len(dates), np.nan)
        longer[where] = array
        return longer

    filled: NDArray[np.bool_] = np.zeros(len(dates), bool)
    filled[where] = record.filled
    return replace(
        record, dates=dates, filled=filled, t_min=spread(record.t_min), t_max=spread(record.t_max),
        rain=spread(record.rain), observed_in_morning=np.zeros(len(dates), bool),
        dew_point=None if record.dew_point is None else spread(record.dew_point),
    )  # fmt: skip


def _laid(record: DailyRecord, element: str, own: Own) -> Floats:
    """The values of one element, the farm's own where it has one."""
    values: Floats = getattr(record, element).copy()
    if found := own[element]:
        days = np.array([*found], "datetime64[D]")
        values[(days - record.dates[0]).astype(np.int64)] = np.array([*found.values()])
    return values
