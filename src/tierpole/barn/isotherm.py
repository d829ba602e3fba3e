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
        Value(
            "loop_span",
            0.03,
            "kg/kg",
            Mark.INFERENCE,
            "change of moisture after which drying material has come over to the wetting branch: "
            "two to three times the width of the loop",
        ),
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
    Departures: the drying branch; see `activity_on_branch` for the other.
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


# reference form: tests hold `kernel.exchange` to it
def branch_after(branch: ArrayLike, change: ArrayLike) -> Array:
    """Where between its two branches material stands after its moisture has changed.

    Parameters
    ----------
    branch : before; 1 on the drying branch, 0 on the wetting branch [1], any shape
    change : of the moisture, dry basis, positive when it gained water [kg/kg], broadcast

    Returns
    -------
    branch : [1], from 0 to 1

    Equation: b - ΔX / 0.03, held between 0 and 1.
    Source: ours (inference): the play operator, straight scanning curves between the branches.
    """
    moved = np.asarray(branch, dtype=float) - np.asarray(change) / COEFFICIENTS["loop_span"]
    return np.clip(moved, 0.0, 1.0)


def activity_on_branch(
    moisture: ArrayLike,
    temperature: ArrayLike,
    branch: ArrayLike,
    loop: ArrayLike,
    scale: ArrayLike = 1.0,
    exponent: ArrayLike = COEFFICIENTS["exponent"],
) -> Array:
    """Relative humidity in balance with material that dries, rewets, or is between the two.

    Parameters
    ----------
    moisture : dry basis [kg/kg], any shape
    temperature : of the material [°C], broadcast
    branch : 1 on the drying branch, 0 on the wetting branch [1], broadcast
    loop : moisture by which the drying branch is above the wetting one [kg/kg], broadcast
    scale : of the material against the working isotherm [1], broadcast
    exponent : steepness [1], broadcast

    Returns
    -------
    activity : [share]

    Equation: a(X + δ (1 - b)), a of `water_activity`, δ the loop's width.
    Source: ours (inference); loops are widest at 40-80 % humidity, where this one matters.
    """
    shifted = np.asarray(moisture, dtype=float) + np.asarray(loop) * (1 - np.asarray(branch))
    return water_activity(shifted, temperature, scale, exponent)


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
