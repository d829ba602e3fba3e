"""How long plants stay wet, for the grey-mould model."""

from __future__ import annotations

import numpy as np

from tierpole.evidence import Mark, Table, Value
from tierpole.weather.hourly import HourlyWeather
from tierpole.weather.record import Bools, Floats

_PRACTICE = "leaf wetness without a sensor, a usual rule in disease forecasting, from memory"

COEFFICIENTS = Table(
    "Leaf wetness",
    (
        Value("humidity_wet", 0.90, "-", Mark.MEMORY, _PRACTICE),
        Value("depression_wet", 2.0, "K", Mark.MEMORY, _PRACTICE),
    ),
)


def is_wet(weather: HourlyWeather) -> Bools:
    """Hours in which leaves and flowers are wet.

    Parameters
    ----------
    weather : by the hour [row, hour]

    Returns
    -------
    wet : true where wet, [row, hour]

    Equation: ``RH >= 0.90  or  rain > 0  or  T - Td < 2 K``.
    Source: usual rule of disease forecasting, from memory.
    Error at Champaign, August to October 2003-2008, of 6.6 h a day observed: 0.5 h too long, with
    as much spread from day to day (sd 4.8 h, observed 5.5 h); with a recorded daily dew point
    0.2 h, and 3.4 h sd day by day. At New York's airports an estimated dew point makes 4 to 6 h
    a day too many.
    """
    damp = weather.humidity >= COEFFICIENTS["humidity_wet"]
    near_dew = weather.temperature - weather.dew_point < COEFFICIENTS["depression_wet"]
    return damp | near_dew | (weather.rain > 0)


def wet_hours(weather: HourlyWeather) -> tuple[Floats, Floats]:
    """Hours of wetness, and the temperature while wet, from noon to noon.

    Parameters
    ----------
    weather : by the hour [row, hour]

    Returns
    -------
    hours, temperature : [h] wet and [°C] mean of those hours, [row, day]: of the 24 hours that
        end at noon of the day, so that one night is one spell; without a wet hour the
        temperature is the mean of all

    Equation: sum and mean over the wet hours.
    Source: definition. The first day's evening before is taken from its own.
    """
    wet = _noon_to_noon(is_wet(weather).astype(float))
    temperature = _noon_to_noon(weather.temperature)
    hours = wet.sum(axis=2)
    warmth = (wet * temperature).sum(axis=2) / np.maximum(hours, 1.0)
    return hours, np.where(hours > 0, warmth, temperature.mean(axis=2))


def _noon_to_noon(hourly: Floats) -> Floats:
    """Hours [row, hour] as [row, day, 24], each day from the noon before to its own."""
    shifted = np.concatenate([hourly[:, 12:24], hourly[:, :-12]], axis=1)
    return shifted.reshape(len(hourly), -1, 24)
