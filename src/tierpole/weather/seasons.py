"""Past seasons to draw from, and the seasons that may still come.

Every season lies on one day axis: 1 April to 31 December, 275 days, no leap day among them. A
`SeasonPool` holds the past years; `splice` joins what was observed this year, what is forecast,
and each past year's remainder into a `SeasonWeather`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole.errors import Fault, InputError
from tierpole.evidence import Mark, Table, Value
from tierpole.weather.climatology import climatological_mean
from tierpole.weather.dew_point import dew_point_daily, dew_point_error
from tierpole.weather.forecast import Forecast
from tierpole.weather.record import ELEMENTS, Bools, DailyRecord, Floats, Station, season_dates

DAYS = 275
# Day of the year along the axis, of a common year; a leap year's dates come one later.
DAY_OF_YEAR = 91 + np.arange(DAYS)

_SKILL = (
    "verification of public forecasts of temperature in mid-latitudes, from memory: errors of "
    "about 1.4, 2.1, 3.0, 3.8 °C at 1, 3, 5, 7 days where days differ from the usual by 4.5 °C"
)

COEFFICIENTS = Table(
    "Seasons and forecasts",
    (
        Value("skill_day_0", 0.98, "-", Mark.MEMORY, _SKILL),
        Value("skill_day_1", 0.95, "-", Mark.MEMORY, _SKILL),
        Value("skill_day_3", 0.88, "-", Mark.MEMORY, _SKILL),
        Value("skill_day_5", 0.75, "-", Mark.MEMORY, _SKILL),
        Value("skill_day_7", 0.55, "-", Mark.MEMORY, _SKILL),
        Value("skill_day_10", 0.25, "-", Mark.MEMORY, _SKILL),
        Value("skill_day_14", 0.0, "-", Mark.MEMORY, _SKILL),
    ),
)


@dataclass(frozen=True, eq=False)
class SeasonPool:
    """Whole past seasons of one station [year, day], temperatures in °C, rain in mm.

    `complete` [year] is the share of days on which minimum, maximum and rain were all observed.
    `dew_point` is None when the station records none, NaN on days without.
    """

    station: Station
    years: NDArray[np.int64]
    t_min: Floats
    t_max: Floats
    rain: Floats
    complete: Floats
    dew_point: Floats | None = None

    def __len__(self) -> int:
        return len(self.years)

    def __repr__(self) -> str:
        span = f"{self.years[0]}-{self.years[-1]}"
        return f"<SeasonPool {self.station.name}: {len(self)} seasons of {span}>"


@dataclass(frozen=True, eq=False)
class SeasonWeather:
    """Seasons that may come [row, day]; a row ends as the past year `years[row]` did.

    `origin` [day] says where a day comes from: ``observed``, ``forecast`` or ``past``. `dew_point`
    is recorded or foretold where it can be, else estimated with its error drawn.
    """

    station: Station
    year: int
    years: NDArray[np.int64]
    t_min: Floats
    t_max: Floats
    rain: Floats
    dew_point: Floats
    origin: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.years)


def season_pool(
    record: DailyRecord, min_complete: float = 0.95, leave_out: Collection[int] = ()
) -> SeasonPool:
    """All seasons of a filled record with at least `min_complete` of their days observed."""
    years, rows = _whole_seasons(record, leave_out)
    complete = record.recorded[rows].mean(axis=1)
    keep = complete >= min_complete
    if not keep.any():
        raise InputError(record.station.name, [_no_season(min_complete)])
    years, rows = years[keep], rows[keep]
    pool = SeasonPool(
        station=record.station,
        years=years,
        t_min=record.t_min[rows],
        t_max=record.t_max[rows],
        rain=record.rain[rows],
        complete=complete[keep],
        dew_point=None if record.dew_point is None else record.dew_point[rows],
    )
    if any(np.isnan(getattr(pool, element)).any() for element in ELEMENTS):
        raise ValueError("fill the gaps of a record before drawing seasons from it")
    return pool


def _whole_seasons(
    record: DailyRecord, leave_out: Collection[int]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Years a record covers from April to December, and where their days stand [year, day]."""
    years = np.array([y for y in np.unique(record.year) if record.has_year(int(y))], np.int64)
    years = years[~np.isin(years, list(leave_out))]
    starts = [season_dates(int(year))[0] for year in years]
    first = np.searchsorted(record.dates, np.array(starts, "datetime64[D]"))
    return years, first[:, None] + np.arange(DAYS)


def _no_season(min_complete: float) -> Fault:
    allowed = f"at least one April-December season with {min_complete:.0%} of its days recorded"
    return Fault("the station's record", "seasons", 0, allowed)


def splice(
    pool: SeasonPool,
    year: int,
    observed: DailyRecord | None,
    forecast: Forecast | None,
    rng: np.random.Generator,
) -> SeasonWeather:
    """The season as it may go on: observed days, then the forecast, then each past year's rest.

    Parameters
    ----------
    pool : past seasons [year, day]; each gives one row
    year : the season's year
    observed : its days so far; a day without a temperature takes the past year's, one without
        rain the past year's rain
    forecast : used on days after the last observed one
    rng : draws the errors of dew points, and how long each row follows the forecast's rain

    Returns
    -------
    weather : [°C, mm], [row, day], with the origin of each day

    Equation: on a forecast day with skill r (correlation of foretold and actual departure from
    the usual value), ``T = usual + r (forecast - usual) + sqrt(1 - r^2) (past - usual)``. Rain
    and the spread between minimum and dew point are the forecast's while ``r > u``, u uniform by
    row, and the past year's after.
    Source: linear regression of a normal pair; inference. The error has the past year's own
    course, so it hangs together from day to day and runs into the past year's remainder without
    a step; its sd is ``sqrt(1 - r^2)`` times the pool's.
    """
    weather = {element: getattr(pool, element).copy() for element in ELEMENTS}
    weather["depression"] = _depression(pool)
    origin = np.full(DAYS, "past", dtype="U8")
    error = dew_point_error(len(pool), DAYS, rng)
    is_rain_seen = np.zeros(DAYS, bool)
    if observed is not None:
        _lay_observed(weather, origin, is_rain_seen, year, observed)
    if forecast is not None:
        _lay_forecast(weather, origin, is_rain_seen, year, pool, forecast, rng)
    t_min, rain, depression = weather["t_min"], weather["rain"], weather["depression"]
    t_max = np.maximum(weather["t_max"], t_min)
    estimated = dew_point_daily(t_min, t_max, rain, DAY_OF_YEAR) + error
    return SeasonWeather(
        station=pool.station,
        year=year,
        years=pool.years,
        t_min=t_min,
        t_max=t_max,
        rain=rain,
        dew_point=np.where(np.isnan(depression), estimated, t_min + depression),
        origin=origin,
    )


def forecast_skill(lead: NDArray[np.int64]) -> Floats:
    """Correlation of a forecast's departure from the usual value with what then happens.

    Parameters
    ----------
    lead : [day], from issue to the day foretold, any shape

    Returns
    -------
    skill : [-], 1 at best, 0 where the forecast tells no more than the time of year does

    Equation: linear between the tabulated leads, 0 beyond the last.
    Source: coefficient table, from memory.
    """
    rows = {int(row.name.removeprefix("skill_day_")): row.value for row in COEFFICIENTS}
    return np.interp(lead, list(rows), list(rows.values()))


Arrays = dict[str, Floats]


def _depression(pool: SeasonPool) -> Floats:
    """Dew point less minimum [year, day], NaN where no dew point was recorded."""
    if pool.dew_point is None:
        return np.full_like(pool.t_min, np.nan)
    return pool.dew_point - pool.t_min


def _on_axis(dates: NDArray[np.datetime64], year: int) -> tuple[NDArray[np.int64], Bools]:
    """Where dates fall on a season's axis, and which of them do."""
    index = (dates - season_dates(year)[0]).astype(np.int64)
    inside = (index >= 0) & (index < DAYS)
    return index[inside], inside


def _lay_observed(
    weather: Arrays, origin: NDArray[np.str_], is_rain_seen: Bools, year: int, observed: DailyRecord
) -> None:
    index, inside = _on_axis(observed.dates, year)
    columns = {element: getattr(observed, element)[inside] for element in ELEMENTS}
    known = np.isfinite(columns["t_min"]) & np.isfinite(columns["t_max"])
    days = index[known]
    for element, values in columns.items():
        seen = np.isfinite(values) & (known | (element == "rain"))
        weather[element][:, index[seen]] = values[seen]
    is_rain_seen[index] = np.isfinite(columns["rain"])
    recorded = np.full(len(observed), np.nan) if observed.dew_point is None else observed.dew_point
    weather["depression"][:, days] = recorded[inside][known] - columns["t_min"][known]
    origin[days] = "observed"


def _lay_forecast(
    weather: Arrays,
    origin: NDArray[np.str_],
    is_rain_seen: Bools,
    year: int,
    pool: SeasonPool,
    forecast: Forecast,
    rng: np.random.Generator,
) -> None:
    index, inside = _on_axis(forecast.dates, year)
    skill = forecast_skill(forecast.lead[inside])
    last = max(np.flatnonzero(origin == "observed"), default=-1)
    ahead = (index > last) & (skill > 0)
    days, skill = index[ahead], skill[ahead]
    told = {name: getattr(forecast, name)[inside][ahead] for name in ELEMENTS}
    for element in ("t_min", "t_max"):
        weather[element][:, days] = _foretold(getattr(pool, element), days, told[element], skill)
    follows = skill > rng.random((len(weather["rain"]), 1))
    is_foretold = follows & ~is_rain_seen[days]
    weather["rain"][:, days] = np.where(is_foretold, told["rain"], weather["rain"][:, days])
    if forecast.dew_point is not None:
        spread = forecast.dew_point[inside][ahead] - told["t_min"]
        weather["depression"][:, days] = np.where(follows, spread, weather["depression"][:, days])
    origin[days] = "forecast"


def _foretold(past: Floats, days: NDArray[np.int64], told: Floats, skill: Floats) -> Floats:
    """Past seasons' temperatures [row, day] drawn towards what is foretold."""
    when = np.broadcast_to(DAY_OF_YEAR, past.shape).ravel()
    usual = climatological_mean(past.ravel(), when)[DAY_OF_YEAR[days] - 1]
    departure = past[:, days] - usual
    return usual + skill * (told - usual) + np.sqrt(1 - skill**2) * departure
