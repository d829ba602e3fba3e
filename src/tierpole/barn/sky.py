"""Sun, clear sky and wind at the barn, where the weather record holds none of them.

The range of a day's temperatures says how clear it was: clear days are warm and their nights cold.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.barn.air import OutsideAir
from tierpole.evidence import Mark, Table, Value
from tierpole.moist_air import COEFFICIENTS as AIR
from tierpole.moist_air import station_pressure
from tierpole.weather import DAY_OF_YEAR, HourlyWeather, SeasonWeather

Array = NDArray[np.float64]

_FAO = "Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, from memory"
_WIND = (
    "mean of August to October at Champaign 1995-2012 (SURFRAD), Pittsburgh (typical year) and "
    "Vinton, Virginia 2013-2019 (NLDAS-2)"
)

COEFFICIENTS = Table(
    "Sun, sky and wind",
    (
        Value("solar_constant", 1367.0, "W/m2", Mark.MEMORY, f"{_FAO}, eq. 21"),
        Value("distance_swing", 0.033, "1", Mark.MEMORY, f"{_FAO}, eq. 23"),
        Value("declination", 23.45, "deg", Mark.MEMORY, "Cooper 1969, Sol. Energy 12:333"),
        Value(
            "clearness_range", 0.16, "1/K^0.5", Mark.MEMORY,
            f"Hargreaves & Samani 1982, inland; {_FAO}, eq. 50",
        ),
        Value("clearness_most", 0.75, "share", Mark.MEMORY, f"{_FAO}, eq. 37, clear sky"),
        Value("clearness_overcast", 0.25, "share", Mark.MEMORY, f"{_FAO}, eq. 35, no sunshine"),
        Value("sky", 0.0552, "1/K^0.5", Mark.MEMORY, "Swinbank 1963, Q. J. R. Met. Soc. 89:339"),
        Value("radiation", 5.670374e-8, "W/m2/K4", Mark.PUBLISHED, "Stefan-Boltzmann, CODATA 2018"),
        Value("emittance", 0.9, "share", Mark.INFERENCE, "rusty or painted tin; film with drops"),
        Value("wind_mean", 3.6, "m/s", Mark.COMPUTED, _WIND),
        Value("wind_swing", 0.6, "m/s", Mark.COMPUTED, f"{_WIND}: half of afternoon less night"),
        Value("wind_peak", 14.0, "h", Mark.COMPUTED, _WIND),
        Value(
            "wind_spread", 0.40, "log SD", Mark.COMPUTED,
            "of daily means at Champaign, August to October 1995-2012",
        ),
    ),
)  # fmt: skip

_C = COEFFICIENTS
_GOLDEN = (5**0.5 - 1) / 2  # spreads the days' winds evenly over their distribution


def sun_above(latitude: float, day_of_year: ArrayLike) -> Array:
    """Sun on a level surface above the air, by the hour.

    Parameters
    ----------
    latitude : [deg], north positive
    day_of_year : [day], 1 on 1 January, [day]

    Returns
    -------
    sun : mean of each hour, solar time [W/m²], [hour], 24 for each day

    Equation: G = 1367 (1 + 0.033 cos(2 pi J/365)) sin(alt), sin(alt) = sin L sin d + cos L cos d
    cos h at the hour's middle, d = 23.45 sin(2 pi (284 + J)/365), not below 0.
    Source: FAO-56, eqs 21-28, and Cooper 1969, from memory.
    """
    day = np.asarray(day_of_year, dtype=float)[:, None]
    north = np.radians(latitude)
    tilt = np.radians(_C["declination"]) * np.sin(2 * np.pi * (284 + day) / 365)
    angle = np.pi / 12 * (np.arange(0.5, 24.0) - 12)
    height = np.sin(north) * np.sin(tilt) + np.cos(north) * np.cos(tilt) * np.cos(angle)
    near = 1 + _C["distance_swing"] * np.cos(2 * np.pi * day / 365)
    return (_C["solar_constant"] * near * np.maximum(height, 0.0)).ravel()


def clearness(t_min: ArrayLike, t_max: ArrayLike) -> Array:
    """Share of the sun above the air that reaches the ground on a day.

    Parameters
    ----------
    t_min, t_max : of the day [°C], any shape

    Returns
    -------
    clearness : [share]

    Equation: 0.16 sqrt(T_max - T_min), at most 0.75.
    Source: Hargreaves & Samani 1982, as in FAO-56, eq. 50, from memory.
    """
    spread = np.maximum(np.asarray(t_max, dtype=float) - np.asarray(t_min), 0.0)
    return np.minimum(_C["clearness_range"] * np.sqrt(spread), _C["clearness_most"])


def sky_loss(temperature: ArrayLike, clear: ArrayLike) -> Array:
    """Heat that a level surface as warm as the air loses to the sky.

    Parameters
    ----------
    temperature : of the air [°C], any shape
    clear : clearness of the day, see `clearness` [share], broadcast

    Returns
    -------
    loss : [W/m²]

    Equation: eps sigma (T^4 - T_sky^4) c, T_sky = 0.0552 T^1.5 in K, c rising from 0 at a
    clearness of 0.25 (overcast) to 1 at 0.75.
    Source: Swinbank 1963, from memory; share of cloud ours (inference).
    """
    kelvin = np.asarray(temperature, dtype=float) + AIR["zero_celsius"]
    cold = _C["sky"] * kelvin**1.5
    low, high = _C["clearness_overcast"], _C["clearness_most"]
    open_sky = np.clip((np.asarray(clear) - low) / (high - low), 0.0, 1.0)
    return _C["emittance"] * _C["radiation"] * (kelvin**4 - cold**4) * open_sky


def wind_usual(seasons: int, hours: int) -> Array:
    """Wind in open country, stronger by day, with still days and windy ones.

    Parameters
    ----------
    seasons : number of seasons
    hours : of each, from a midnight

    Returns
    -------
    wind : 10 m above ground [m/s], [season, hour]

    Equation: (3.6 + 0.6 cos(2 pi (h - 14)/24)) times a log-normal of mean 1 for each day, whose
    quantiles follow the golden section from day to day and season to season.
    Source: fitted here to three stations.
    """
    from scipy.special import ndtri  # noqa: PLC0415  not loaded where the wind is known

    days = -(-hours // 24)
    number = np.arange(seasons)[:, None] * _GOLDEN**2 + np.arange(days) * _GOLDEN
    spread = _C["wind_spread"]
    strength = np.exp(spread * ndtri((number + 0.5 / max(days, 1)) % 1) - spread**2 / 2)
    swing = np.cos(2 * np.pi * (np.arange(0.5, 24.0) - _C["wind_peak"]) / 24)
    by_hour = _C["wind_mean"] + _C["wind_swing"] * swing
    return (strength[..., None] * by_hour).reshape(seasons, -1)[:, :hours]


def weather_at_barn(
    daily: SeasonWeather, hourly: HourlyWeather, latitude: float, elevation: float
) -> OutsideAir:
    """The seasons that may come, as barns feel them: with sun and sky made of each day's range."""
    clear = np.repeat(clearness(daily.t_min, daily.t_max), 24, axis=1)
    wind = wind_usual(*hourly.temperature.shape) if hourly.wind is None else hourly.wind
    return OutsideAir(
        temperature=hourly.temperature,
        humidity=hourly.humidity,
        pressure=float(station_pressure(elevation)),
        wind=wind,
        sun=clear * sun_above(latitude, DAY_OF_YEAR),
        sky=sky_loss(hourly.temperature, clear),
    )
