"""How a hung part gives its water to the air around it.

The driving force is the vapour pressure over the part less that in the air, so damp air slows
drying even while the flower is wet. The kernel takes the same step for all parts of a place with
the air they share; here the air is given.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole import moist_air
from tierpole.barn import isotherm

Array = NDArray[np.float64]


# reference form: tests hold `kernel.flow` to it
def hung_conductance(conductance: ArrayLike, exposed: ArrayLike, draught: ArrayLike = 1.0) -> Array:
    """Conductance of a part hung among others, in air that moves more or less.

    Parameters
    ----------
    conductance : of the part hung alone in hardly moving air [kg/kg/s/Pa], any shape
    exposed : share of it that the air reaches [share], broadcast
    draught : of the air's side against hardly moving air [1], broadcast

    Returns
    -------
    conductance : [kg/kg/s/Pa]

    Equation: 1/G = ½/(G₀ f d) + ½/G₀: half the resistance lies in the air around the part, which
    crowding (f) and draught (d) change, half in the tissue, which they do not.
    Source: ours (inference); the air's side goes with the root of its speed, as over a leaf.
    """
    outer = np.asarray(exposed, dtype=float) * np.asarray(draught)
    return np.asarray(conductance) * 2 * outer / (1 + outer)


def drying_rate(
    activity: ArrayLike, saturation: ArrayLike, pressure_vapour: ArrayLike, conductance: ArrayLike
) -> Array:
    """Water lost by a part for its dry matter (negative: taken up).

    Parameters
    ----------
    activity : water activity of the part [share], any shape
    saturation : vapour pressure over water at its temperature [Pa], broadcast
    pressure_vapour : of the air [Pa], broadcast
    conductance : of tissue and air together [kg/kg/s/Pa], broadcast

    Returns
    -------
    rate : [kg/kg/s]

    Equation: -dX/dt = G [a p_ws - p_v].
    Source: ours (inference): mass transfer with the part at air temperature. Drying laws that aim
    at the equilibrium moisture make wet flower dry as fast in damp air as in dry.
    """
    drive = np.asarray(activity) * np.asarray(saturation) - np.asarray(pressure_vapour)
    return np.asarray(conductance) * drive


def drying_step(
    moisture: ArrayLike,
    temperature: ArrayLike,
    pressure_vapour: ArrayLike,
    conductance: ArrayLike,
    seconds: float,
    scale: ArrayLike = 1.0,
    exponent: ArrayLike = isotherm.COEFFICIENTS["exponent"],
) -> Array:
    """Moisture of a part after some time in given air.

    Parameters
    ----------
    moisture : dry basis, now [kg/kg], any shape
    temperature : of air and part [°C], broadcast
    pressure_vapour : of the air [Pa], broadcast
    conductance : [kg/kg/s/Pa], broadcast
    seconds : length of the step [s]
    scale, exponent : of the part's isotherm [1], broadcast

    Returns
    -------
    moisture : dry basis, at the end [kg/kg]

    Equation: X - Δt φ(z) G [a p_ws - p_v], φ = (1 - e^-z)/z, z = G p_ws (da/dX) Δt.
    Source: exponential Rosenbrock-Euler step, Hochbruck & Ostermann 2010, Acta Numerica 19, from
    memory; exact where the isotherm is straight, stable at any step.
    """
    water, pace = np.asarray(moisture, dtype=float), np.asarray(conductance)
    activity = isotherm.water_activity(water, temperature, scale, exponent)
    saturation = moist_air.saturation_pressure(temperature)
    slope = np.asarray(exponent) * activity * (1 - activity) / water
    z = np.maximum(pace * saturation * slope * seconds, 1e-12)
    rate = drying_rate(activity, saturation, pressure_vapour, pace)
    return water + seconds * np.expm1(-z) / z * rate
