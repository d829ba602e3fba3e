"""The weather that may come: observed days, a forecast if there is one, a past year's rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.outlook.streams import stream
from tierpole.season import Season
from tierpole.weather import (
    HourlyWeather,
    SeasonWeather,
    clean,
    fill_gaps,
    hourly_weather,
    season_pool,
    splice,
)


@dataclass(frozen=True, eq=False)
class Skies:
    """The weather seasons that may come, and which one each draw lives in."""

    daily: SeasonWeather
    hourly: HourlyWeather
    row: np.ndarray  # [draw]


def skies(season: Season, draws: int, seed: int) -> Skies:
    """Weather seasons, each used equally often."""
    past, _ = clean(season.past_weather)
    pool = season_pool(fill_gaps(past)[0])
    observed, _ = clean(season.this_weather)
    daily = splice(pool, season.year, observed, season.forecast, stream(seed, "forecast"))
    row = np.arange(draws) % len(daily)
    return Skies(daily, hourly_weather(daily), stream(seed, "weather").permutation(row))
