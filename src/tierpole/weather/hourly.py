"""Hours out of days: temperature, dew point, humidity and rain of each hour.

Hours are local solar time; hour h of a day runs from h to h + 1 and its value is that of its
middle. A season [row, day] becomes [row, hour] with 24 hours a day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.evidence import Mark, Table, Value
from tierpole.moist_air import saturation_pressure
from tierpole.weather.daylight import day_length
from tierpole.weather.dew_point import RAIN_TRACE
from tierpole.weather.record import Floats
from tierpole.weather.seasons import DAY_OF_YEAR, SeasonWeather

_PARTON = (
    "Parton & Logan 1981, A model for diurnal variation in soil and air temperature, "
    "Agric. Meteorol. 23:205-216, air at 1.5 m, from memory"
)
_RAIN_FIT = "least squares on days with rain at Newark and Kennedy airports 2013 (ASOS, NOAA)"

COEFFICIENTS = Table(
    "Hourly weather",
    (
        Value("lag_maximum", 1.86, "h", Mark.MEMORY, _PARTON + "; after noon"),
        Value("lag_minimum", -0.17, "h", Mark.MEMORY, _PARTON + "; after sunrise"),
        Value("night_decay", 2.20, "-", Mark.MEMORY, _PARTON),
        Value("rain_hours_one", 2.46, "h", Mark.COMPUTED, _RAIN_FIT + "; for 1 mm"),
        Value("rain_hours_power", 0.434, "-", Mark.COMPUTED, _RAIN_FIT),
    ),
)

# The golden section spreads the starts of rain evenly round the clock.
_GOLDEN = (5**0.5 - 1) / 2


@dataclass(frozen=True, eq=False)
class HourlyWeather:
    """Weather by the hour [row, hour]: °C, relative humidity as a share, rain in mm an hour.

    `wind` [m/s] is None where the record holds none.
    """

    temperature: Floats
    dew_point: Floats
    humidity: Floats
    rain: Floats
    wind: Floats | None = None


def hourly_weather(season: SeasonWeather) -> HourlyWeather:
    """All hours of the seasons that may come."""
    length = day_length(season.station.latitude, DAY_OF_YEAR)
    temperature = temperature_hourly(season.t_min, season.t_max, length)
    dew_point = dew_point_hourly(season.dew_point, temperature)
    return HourlyWeather(
        temperature=temperature,
        dew_point=dew_point,
        humidity=saturation_pressure(dew_point) / saturation_pressure(temperature),
        rain=rain_hourly(season.rain),
    )


def temperature_hourly(t_min: Floats, t_max: Floats, length: Floats) -> Floats:
    """Hourly temperature: a sine by day, an exponential fall by night.

    Parameters
    ----------
    t_min, t_max : [°C], [row, day]
    length : [h], day length, sunrise to sunset, below 24, [day]

    Returns
    -------
    temperature : [°C], [row, hour]

    Equation: by day, m hours after the minimum (which comes 0.17 h before sunrise),
    ``T = Tmin + (Tmax - Tmin) sin(pi m / (Y + 2 a))``, Y day length, a = 1.86 h; by night, n
    hours after sunset of the Z from sunset to the next minimum, with ``f = exp(-b n / Z)``,
    ``T = Tnext + (Tset - Tnext) (f - exp(-b)) / (1 - exp(-b))``, b = 2.2.
    Source: Parton & Logan 1981, Agric. Meteorol. 23:205-216, from memory.
    Departure: their night ends exp(-2.2) = 11 % short of the next minimum; here it is stretched
    to end on it (as Goudriaan & van Laar 1994 do, from memory), so the course has no step. The
    night before the first day starts from that day's own sunset, and the night after the last
    day ends on that day's own minimum.
    Error at Champaign, Illinois, April to December 2003-2008: mean -0.2 K, sd of an hour 2.2 K.
    """
    c = COEFFICIENTS
    hour = np.arange(24) + 0.5
    sunrise, sunset = 12 - length / 2, 12 + length / 2
    coldest = sunrise + c["lag_minimum"]
    arc = length + 2 * c["lag_maximum"]
    night = 24 + coldest - sunset

    def by_day(since: Floats) -> Floats:
        return np.sin(np.pi * np.clip(since, 0.0, None) / arc[:, None])

    def by_night(since: Floats) -> Floats:
        floor = np.exp(-c["night_decay"])
        fall = np.exp(-c["night_decay"] * np.clip(since, 0.0, None) / night[:, None])
        return (fall - floor) / (1 - floor)

    # The shapes are the same in every row: [day, 24].
    rise = by_day(hour - coldest[:, None])
    evening = by_night(hour - sunset[:, None])
    morning = by_night(hour + 24 - sunset[:, None])
    is_morning = hour < coldest[:, None]
    is_evening = hour > sunset[:, None]
    weights = np.where(is_morning, morning, np.where(is_evening, evening, rise))

    at_sunset = t_min + (t_max - t_min) * by_day((sunset - coldest)[:, None])[:, 0]
    before = np.concatenate([at_sunset[:, :1], at_sunset[:, :-1]], axis=1)
    after = np.concatenate([t_min[:, 1:], t_min[:, -1:]], axis=1)
    low = np.where(is_evening, after[..., None], t_min[..., None])
    high = np.where(is_evening, at_sunset[..., None], t_max[..., None])
    high = np.where(is_morning, before[..., None], high)
    return (low + (high - low) * weights).reshape(len(t_min), -1)


def dew_point_hourly(daily: Floats, temperature: Floats) -> Floats:
    """Hourly dew point: straight from noon to noon, never above the air's temperature.

    Parameters
    ----------
    daily : [°C], daily mean dew point, [row, day]
    temperature : [°C], [row, hour]

    Returns
    -------
    dew_point : [°C], [row, hour]

    Equation: linear between the noons, constant before the first and after the last.
    Source: inference; water in the air changes with the air mass, hardly with the sun.
    Error of the humidity at Champaign, April to December 2003-2008: no bias, sd of an hour 0.10
    with a recorded daily dew point, 0.14 with an estimated one, 0.16 with its error drawn.
    """
    share = ((np.arange(24) + 12.5) % 24) / 24
    before = np.concatenate([daily[:, :1], daily[:, :-1]], axis=1)[..., None]
    after = np.concatenate([daily[:, 1:], daily[:, -1:]], axis=1)[..., None]
    today = daily[..., None]
    morning = before + (today - before) * share[:12]
    evening = today + (after - today) * share[12:]
    straight = np.concatenate([morning, evening], axis=2).reshape(len(daily), -1)
    return np.minimum(straight, temperature)


def rain_hours(rain: Floats) -> Floats:
    """How many hours of a day it rains.

    Parameters
    ----------
    rain : [mm], daily, any shape

    Returns
    -------
    hours : [h], same shape, 0 without measurable rain

    Equation: ``H = min(24, 2.46 P^0.434)``.
    Source: fitted here to New York's airports 2013.
    Error at La Guardia, not fitted: mean 0.1 h, sd of a day 2.7 h.
    """
    c = COEFFICIENTS
    hours = c["rain_hours_one"] * np.maximum(rain, 0.0) ** c["rain_hours_power"]
    return np.where(rain > RAIN_TRACE, np.minimum(hours, 24.0), 0.0)


def rain_hourly(rain: Floats) -> Floats:
    """Daily rain laid evenly into one block of hours.

    Parameters
    ----------
    rain : [mm], daily, [row, day]

    Returns
    -------
    rain : [mm/h], [row, hour]; the day's sum is kept

    Equation: the block is `rain_hours` rounded up; its first hour steps round the clock by the
    golden section from day to day, and the block wraps within its day.
    Source: inference. Rain at New York's airports fell evenly over the 24 hours (0.8 to 1.2 of
    the mean), so no hour is preferred, and no random number is needed.
    """
    start = np.floor(24 * ((np.arange(rain.shape[1]) * _GOLDEN) % 1))
    since = (np.arange(24) - start[:, None]) % 24
    # less than the least read still falls: within one hour
    length = np.maximum(np.ceil(rain_hours(rain)), 1.0)[..., None]
    return np.where(since < length, rain[..., None] / length, 0.0).reshape(len(rain), -1)
