"""Sorption: how much water plant material holds in balance with air, and how hard it holds it.

Moisture here is on the dry basis, kg of water per kg of dry matter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

_WORKING = (
    "between lemon balm leaf (Argyropoulos et al. 2012, LWT 47:324-331), hay, and the trade's "
    "10-12 % wet basis at 55-65 % humidity; no fitted isotherm of hemp flower could be read"
)

COEFFICIENTS = Table(
    "Isotherm of flower and leaf",
    (
        Value("level", 0.1135, "kg/kg", Mark.INFERENCE, _WORKING, low=0.097, high=0.132),
        Value("level_slope", -0.00045, "kg/kg/K", Mark.INFERENCE, _WORKING),
        Value("exponent", 2.3, "1", Mark.INFERENCE, _WORKING, low=1.98, high=2.62),
    ),
)


def isotherm_level(temperature: ArrayLike, scale: ArrayLike = 1.0) -> Array:
    """Moisture in balance with air of 50 % humidity: the level of the isotherm.

    Parameters
    ----------
    temperature : [°C], any shape
    scale : of the material against the working isotherm [1], broadcast

    Returns
    -------
    level : dry basis [kg/kg]

    Equation: A + B T of the modified Oswin form, times the scale.
    Source: form ASABE D245, from memory; A and B are ours (inference).
    Valid range: 0..45 °C.
    """
    slope = COEFFICIENTS["level_slope"]
    return np.asarray(scale) * (
        COEFFICIENTS["level"] + slope * np.asarray(temperature, dtype=float)
    )


def equilibrium_moisture(
    temperature: ArrayLike,
    humidity: ArrayLike,
    scale: ArrayLike = 1.0,
    exponent: ArrayLike = COEFFICIENTS["exponent"],
) -> Array:
    """Moisture that material reaches when it hangs long enough in unchanging air.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity : relative humidity of the air [share], below 1, broadcast
    scale : of the material against the working isotherm [1], broadcast
    exponent : steepness [1], broadcast

    Returns
    -------
    moisture : dry basis [kg/kg]

    Equation: X = (A + B T) [RH / (1 - RH)]^(1/C), the modified Oswin form.
    Source: form ASABE D245, from memory; coefficients ours (inference).
    Departures: one curve for drying and rewetting; real material holds 0.5 to 1.5 points more
    when drying (hysteresis, inference).
    Valid range: 0..45 °C, RH 0.05..0.95.
    """
    share = np.asarray(humidity, dtype=float)
    return isotherm_level(temperature, scale) * (share / (1 - share)) ** (1 / np.asarray(exponent))


def water_activity(
    moisture: ArrayLike,
    temperature: ArrayLike,
    scale: ArrayLike = 1.0,
    exponent: ArrayLike = COEFFICIENTS["exponent"],
) -> Array:
    """Relative humidity of air in balance with the material: how freely it gives up water.

    Parameters
    ----------
    moisture : dry basis [kg/kg], any shape
    temperature : of the material [°C], broadcast
    scale : of the material against the working isotherm [1], broadcast
    exponent : steepness [1], broadcast

    Returns
    -------
    activity : [share]; tends to 1 in wet material

    Equation: a = r / (1 + r), r = [X / (A + B T)]^C: the inverse of `equilibrium_moisture`.
    Source: form ASABE D245, from memory; coefficients ours (inference).
    """
    fill = np.asarray(moisture, dtype=float) / isotherm_level(temperature, scale)
    return activity_of_fill(fill, exponent)


def activity_of_fill(fill: ArrayLike, exponent: ArrayLike) -> Array:
    """Water activity from the moisture relative to the isotherm's level.

    Parameters
    ----------
    fill : moisture over `isotherm_level` [1], any shape
    exponent : steepness [1], broadcast

    Returns
    -------
    activity : [share]

    Equation: a = r / (1 + r), r = fill^C.
    Source: see `water_activity`, which it is the core of; the drying kernel tabulates it.
    """
    ratio = np.asarray(fill, dtype=float) ** np.asarray(exponent)
    return ratio / (1 + ratio)
