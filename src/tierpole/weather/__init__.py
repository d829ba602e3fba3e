"""Weather: a station's record, the seasons drawn from it, and the hours of their days."""

from tierpole.weather.check import Finding, clean, observation_gap
from tierpole.weather.climatology import climatological_mean
from tierpole.weather.daylight import day_length
from tierpole.weather.degree_days import (
    degree_days_average,
    degree_days_clipped,
    degree_days_sine,
)
from tierpole.weather.dew_point import dew_point_daily
from tierpole.weather.fill import FillCount, fill_gaps
from tierpole.weather.forecast import Forecast
from tierpole.weather.freeze import (
    FreezeDays,
    freeze_date,
    freeze_days,
    freeze_quantile,
)
from tierpole.weather.gauge import own_days, with_gauge
from tierpole.weather.hourly import HourlyWeather, hourly_weather
from tierpole.weather.record import DailyRecord, Station, season_dates
from tierpole.weather.seasons import (
    DAY_OF_YEAR,
    DAYS,
    SeasonPool,
    SeasonWeather,
    forecast_skill,
    season_pool,
    splice,
)
from tierpole.weather.wetness import is_wet, wet_hours

__all__ = [
    "DAYS",
    "DAY_OF_YEAR",
    "DailyRecord",
    "FillCount",
    "Finding",
    "Forecast",
    "FreezeDays",
    "HourlyWeather",
    "SeasonPool",
    "SeasonWeather",
    "Station",
    "clean",
    "climatological_mean",
    "day_length",
    "degree_days_average",
    "degree_days_clipped",
    "degree_days_sine",
    "dew_point_daily",
    "fill_gaps",
    "forecast_skill",
    "freeze_date",
    "freeze_days",
    "freeze_quantile",
    "hourly_weather",
    "is_wet",
    "observation_gap",
    "own_days",
    "season_dates",
    "season_pool",
    "splice",
    "wet_hours",
    "with_gauge",
]
