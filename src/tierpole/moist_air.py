"""Moist air: how much water air holds, and what wetting, warming or lifting does to it.

Temperatures in °C, pressures in Pa, relative humidity as a share, humidity ratio in kg of water
per kg of dry air. Air is an ideal mixture, as in the handbook's equations; real air holds 0.4 to
0.6 % more water. At and below 0 °C saturation is over ice.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

_HANDBOOK = "ASHRAE Handbook of Fundamentals, ch. 1 Psychrometrics"
_WEXLER = f"Hyland & Wexler 1983, ASHRAE Trans. 89(2A):500-519, as in {_HANDBOOK}"


def _saturation_rows(phase: str, equation: str, values: tuple[float, ...]) -> tuple[Value, ...]:
    units = ("K", "1", "1/K", "1/K2", "1/K3", "1/K4")[: len(values) - 1]
    names = [f"{phase}_{power}" for power in range(-1, len(values) - 2)] + [f"{phase}_log"]
    return tuple(
        Value(name, value, unit, Mark.PUBLISHED, f"{_WEXLER}, {equation}")
        for name, value, unit in zip(names, values, (*units, "1"), strict=True)
    )


COEFFICIENTS = Table(
    "Moist air",
    (
        # ln p = sum of coefficient x T^power, from power -1 up, + coefficient x ln T; T in K
        *_saturation_rows(
            "ice",
            "eq. 5",
            (
                -5.6745359e3,
                6.3925247,
                -9.677843e-3,
                6.2215701e-7,
                2.0747825e-9,
                -9.484024e-13,
                4.1635019,
            ),
        ),
        *_saturation_rows(
            "water",
            "eq. 6",
            (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673),
        ),
        Value("zero_celsius", 273.15, "K", Mark.PUBLISHED, "definition of the Celsius scale"),
        Value("mass_ratio", 0.621945, "1", Mark.PUBLISHED, f"{_HANDBOOK}: water to dry air"),
        Value("gas_dry_air", 287.042, "J/kg/K", Mark.PUBLISHED, _HANDBOOK),
        Value("heat_dry_air", 1006.0, "J/kg/K", Mark.PUBLISHED, _HANDBOOK),
        Value("heat_vapour", 1860.0, "J/kg/K", Mark.PUBLISHED, _HANDBOOK),
        Value("heat_water", 4186.0, "J/kg/K", Mark.PUBLISHED, _HANDBOOK),
        Value("latent_vapour", 2.501e6, "J/kg", Mark.PUBLISHED, f"{_HANDBOOK}: water at 0 °C"),
        Value("sea_level", 101_325.0, "Pa", Mark.PUBLISHED, "standard atmosphere"),
        Value("lapse", 2.25577e-5, "1/m", Mark.MEMORY, f"{_HANDBOOK}, eq. 3"),
        Value("lapse_exponent", 5.2559, "1", Mark.MEMORY, f"{_HANDBOOK}, eq. 3"),
    ),
)

_C = COEFFICIENTS
_KELVIN = _C["zero_celsius"]
_EPSILON = _C["mass_ratio"]
_COLDEST, _HOTTEST = -100.0, 200.0  # °C, where the saturation equations hold


def saturation_pressure(temperature: ArrayLike) -> Array:
    """Pressure of water vapour over ice (at and below 0 °C) or liquid water.

    Parameters
    ----------
    temperature : [°C], any shape

    Returns
    -------
    pressure : [Pa], same shape

    Equation: ln p = c₋₁/T + c₀ + c₁T + c₂T² + c₃T³ (+ c₄T⁴ over ice) + c_ln ln T, T in K.
    Source: Hyland & Wexler 1983, as in ASHRAE Fundamentals ch. 1, eqs 5 and 6.
    Valid range: -100..0 °C over ice, 0..200 °C over water.
    """
    kelvin = np.asarray(temperature, dtype=float) + _KELVIN
    ice = _log_pressure(kelvin, "ice", (-1, 0, 1, 2, 3, 4))
    water = _log_pressure(kelvin, "water", (-1, 0, 1, 2, 3))
    return np.exp(np.where(kelvin <= _KELVIN, ice, water))


def _log_pressure(kelvin: Array, phase: str, powers: tuple[int, ...]) -> Array:
    terms = sum(_C[f"{phase}_{power}"] * kelvin**power for power in powers)
    return terms + _C[f"{phase}_log"] * np.log(kelvin)


def vapour_pressure(humidity_ratio: ArrayLike, pressure: ArrayLike) -> Array:
    """Partial pressure of the vapour in air of a humidity ratio.

    Parameters
    ----------
    humidity_ratio : water per dry air [kg/kg], any shape
    pressure : of the air [Pa], broadcast

    Returns
    -------
    pressure_vapour : [Pa]

    Equation: p_w = p W / (0.621945 + W), from W = 0.621945 p_w / (p - p_w).
    Source: ASHRAE Fundamentals ch. 1, eq. 20.
    """
    ratio = np.asarray(humidity_ratio, dtype=float)
    return np.asarray(pressure) * ratio / (_EPSILON + ratio)


def humidity_ratio(temperature: ArrayLike, humidity: ArrayLike, pressure: ArrayLike) -> Array:
    """Water carried per mass of dry air.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity : relative humidity [share], broadcast
    pressure : of the air [Pa], broadcast

    Returns
    -------
    humidity_ratio : [kg/kg dry air]

    Equation: W = 0.621945 p_w / (p - p_w), p_w = RH p_ws.
    Source: ASHRAE Fundamentals ch. 1, eqs 20 and 22.
    Departures: ideal mixture; without the enhancement factor W is 0.4-0.6 % low.
    """
    vapour = np.asarray(humidity) * saturation_pressure(temperature)
    return _EPSILON * vapour / (np.asarray(pressure) - vapour)


def relative_humidity(
    temperature: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike
) -> Array:
    """Vapour in the air as a share of what saturates it.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity_ratio : water per dry air [kg/kg], broadcast
    pressure : of the air [Pa], broadcast

    Returns
    -------
    humidity : [share]; above 1 when the air is foggy

    Equation: RH = p_w / p_ws.
    Source: ASHRAE Fundamentals ch. 1, eq. 12.
    """
    return vapour_pressure(humidity_ratio, pressure) / saturation_pressure(temperature)


def dew_point(pressure_vapour: ArrayLike) -> Array:
    """Temperature at which vapour starts to condense (or to frost, at and below 0 °C).

    Parameters
    ----------
    pressure_vapour : [Pa], any shape

    Returns
    -------
    temperature : [°C]

    Equation: p_ws(t_d) = p_w, solved by bisection.
    Source: definition, ASHRAE Fundamentals ch. 1, eq. 36.
    Valid range: -100..200 °C.
    """
    target = np.asarray(pressure_vapour, dtype=float)
    low, high = np.full(target.shape, _COLDEST), np.full(target.shape, _HOTTEST)
    return rising_root(lambda t: saturation_pressure(t) - target, low, high)


def enthalpy(temperature: ArrayLike, humidity_ratio: ArrayLike) -> Array:
    """Heat content of moist air, counted from dry air and liquid water at 0 °C.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity_ratio : water per dry air [kg/kg], broadcast

    Returns
    -------
    enthalpy : [J/kg dry air]

    Equation: h = 1006 t + W (2501000 + 1860 t).
    Source: ASHRAE Fundamentals ch. 1, eq. 30.
    """
    warm, ratio = np.asarray(temperature, dtype=float), np.asarray(humidity_ratio)
    return _C["heat_dry_air"] * warm + ratio * (_C["latent_vapour"] + _C["heat_vapour"] * warm)


def specific_volume(
    temperature: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike
) -> Array:
    """Room taken by the moist air that goes with one kilogram of dry air.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity_ratio : water per dry air [kg/kg], broadcast
    pressure : of the air [Pa], broadcast

    Returns
    -------
    volume : [m³/kg dry air]

    Equation: v = 287.042 T (1 + W/0.621945) / p, T in K.
    Source: ASHRAE Fundamentals ch. 1, eq. 26 (which prints 1/0.621945 as 1.607858).
    """
    kelvin = np.asarray(temperature, dtype=float) + _KELVIN
    crowding = 1 + np.asarray(humidity_ratio) / _EPSILON
    return _C["gas_dry_air"] * kelvin * crowding / np.asarray(pressure)


# reference form: tests hold `kernel.look.virtual_kelvin` to it
def virtual_temperature(temperature: ArrayLike, humidity_ratio: ArrayLike) -> Array:
    """Temperature of dry air as light as this moist air; what decides whether air rises.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity_ratio : water per dry air [kg/kg], broadcast

    Returns
    -------
    temperature : [°C]

    Equation: T_v = T (1 + W/0.621945) / (1 + W), T in K.
    Source: ideal gas law; American Meteorological Society glossary, "virtual temperature", from
    memory.
    """
    kelvin = np.asarray(temperature, dtype=float) + _KELVIN
    ratio = np.asarray(humidity_ratio)
    return kelvin * (1 + ratio / _EPSILON) / (1 + ratio) - _KELVIN


def density(temperature: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike) -> Array:
    """Mass of moist air in a cubic metre.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity_ratio : water per dry air [kg/kg], broadcast
    pressure : of the air [Pa], broadcast

    Returns
    -------
    density : [kg/m³]

    Equation: ρ = (1 + W) / v.
    Source: ASHRAE Fundamentals ch. 1, eq. 11.
    """
    volume = specific_volume(temperature, humidity_ratio, pressure)
    return (1 + np.asarray(humidity_ratio)) / volume


def station_pressure(elevation: ArrayLike) -> Array:
    """Usual pressure of the air at a height above the sea.

    Parameters
    ----------
    elevation : [m], any shape

    Returns
    -------
    pressure : [Pa]

    Equation: p = 101325 (1 - 2.25577e-5 z)^5.2559.
    Source: ASHRAE Fundamentals ch. 1, eq. 3, from memory.
    Valid range: -5000..11000 m.
    """
    return _C["sea_level"] * (1 - _C["lapse"] * np.asarray(elevation)) ** _C["lapse_exponent"]


def rising_root(rising: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Where a rising function crosses zero between `low` and `high`, element by element.

    By bisection, because the ice branch meets the water branch with a step at 0 °C.
    """
    for _ in range(50):
        middle = 0.5 * (low + high)
        below = rising(middle) < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)
