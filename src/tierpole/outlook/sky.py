"""The weather that may come: observed days, a forecast if there is one, a past year's rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.outlook.streams import stream
from tierpole.season import Season
from tierpole.weather import (
    DailyRecord,
    HourlyWeather,
    SeasonWeather,
    clean,
    fill_gaps,
    hourly_weather,
    season_pool,
    splice,
    with_gauge,
)


@dataclass(frozen=True, eq=False)
class Skies:
    """The weather seasons that may come, and which one each draw lives in."""

    daily: SeasonWeather
    hourly: HourlyWeather
    row: np.ndarray  # [draw]


def observed_weather(season: Season) -> DailyRecord:
    """The season's days so far: the station's, and the farm's own readings before them.

    Both pass the same checks; a day's weather is known the day after.
    """
    station, _ = clean(season.this_weather)
    own, _ = clean(with_gauge(station, season.gauge_readings))
    return own.until(season.on)


def skies(season: Season, draws: int, seed: int) -> Skies:
    """Weather seasons, each used equally often."""
    past, _ = clean(season.past_weather)
    pool = season_pool(fill_gaps(past)[0])
    observed = observed_weather(season)
    daily = splice(pool, season.year, observed, season.forecast, stream(seed, "forecast"))
    row = np.arange(draws) % len(daily)
    return Skies(daily, hourly_weather(daily), stream(seed, "weather").permutation(row))
