"""The air of a place, mixed and quasi-steady.

Air comes in from outside, takes up water from the plants and heat from sun, heater and walls, and
leaves as it stands inside. Minutes pass before it has changed over, hours before the plants have,
so inside an hour the air is taken as being in balance with them. The drying kernel solves the same
two balances with tables; this module is their plain statement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole import moist_air
from tierpole.moist_air import COEFFICIENTS as AIR

Array = NDArray[np.float64]

_MOST_TAKEN_UP = 0.1  # kg of water per kg of dry air: far above what a barn's air can take up


@dataclass(frozen=True)
class OutsideAir:
    """Weather as a barn feels it; hours run on from midnight of the season's first day."""

    temperature: Array  # [°C], [season, hour]
    humidity: Array  # relative [share], [season, hour]
    pressure: float = AIR["sea_level"]  # [Pa]


@dataclass(frozen=True)
class BarnAir:
    """What a place's air comes to: `temperature` [°C], `humidity` [share], `evaporation` [kg/s]."""

    temperature: Array
    humidity: Array
    evaporation: Array


def evaporation_rate(
    moistening: ArrayLike, drying: ArrayLike, saturation: ArrayLike, pressure_vapour: ArrayLike
) -> Array:
    """Water that all plants of a place give to its air (negative: they take it up).

    Parameters
    ----------
    moistening : Σ m G a over the plants' parts [kg/s/Pa], any shape
    drying : Σ m G over the plants' parts [kg/s/Pa], broadcast
    saturation : vapour pressure over water at the air's temperature [Pa], broadcast
    pressure_vapour : of the air [Pa], broadcast

    Returns
    -------
    evaporation : [kg/s]

    Equation: E = Σ m G [a p_ws(T) - p_v], with dry mass m, conductance G, water activity a.
    Source: vapour-pressure driven drying (inference), see `drying.drying_rate`.
    """
    return np.asarray(moistening) * np.asarray(saturation) - np.asarray(drying) * np.asarray(
        pressure_vapour
    )


def inside_temperature(
    evaporation: ArrayLike,
    flow: ArrayLike,
    ratio_outside: ArrayLike,
    temperature_outside: ArrayLike,
    heat: ArrayLike,
    wall_conductance: ArrayLike,
) -> Array:
    """Temperature at which the heat coming into a place equals the heat leaving it.

    Parameters
    ----------
    evaporation : from the plants [kg/s], any shape
    flow : air through the place [kg dry air/s], broadcast
    ratio_outside : humidity ratio outside [kg/kg], broadcast
    temperature_outside : [°C], broadcast
    heat : of sun, heater and fans [W], broadcast
    wall_conductance : of walls and roof [W/K], broadcast

    Returns
    -------
    temperature : [°C]

    Equation: ṁ [h(T_o, W_o) - h(T, W)] + E c_w T + S + UA (T_o - T) = 0 with W = W_o + E/ṁ,
    linear in T.
    Source: energy balance of a mixed volume; plants at air temperature, their own heat and the
    heat of sorption left out (departure, within 5 % of the latent heat above 15 % moisture).
    """
    stream, water = np.asarray(flow, dtype=float), np.asarray(evaporation)
    outside, walls = np.asarray(temperature_outside), np.asarray(wall_conductance)
    ratio = np.asarray(ratio_outside) + water / stream
    heat_in = (
        stream * moist_air.enthalpy(outside, ratio_outside) + np.asarray(heat) + walls * outside
    )
    capacity = stream * (AIR["heat_dry_air"] + AIR["heat_vapour"] * ratio) + walls
    return (heat_in - stream * AIR["latent_vapour"] * ratio) / (
        capacity - AIR["heat_water"] * water
    )


def barn_air(
    temperature_outside: ArrayLike,
    humidity_outside: ArrayLike,
    pressure: ArrayLike,
    flow_volume: ArrayLike,
    heat: ArrayLike,
    wall_conductance: ArrayLike,
    moistening: ArrayLike,
    drying: ArrayLike,
) -> BarnAir:
    """Air inside a place in balance with what comes in and with the plants hung there.

    Parameters
    ----------
    temperature_outside : [°C], any shape; all others broadcast
    humidity_outside : relative humidity [share]
    pressure : [Pa]
    flow_volume : outside air coming in [m³/s]
    heat : of sun, heater and fans [W]
    wall_conductance : of walls and roof [W/K]
    moistening : Σ m G a over the plants' parts [kg/s/Pa]
    drying : Σ m G over the plants' parts [kg/s/Pa]

    Returns
    -------
    air : `BarnAir`, arrays of the common shape

    Equation: ṁ (W - W_o) = E, the energy balance of `inside_temperature`, and E of
    `evaporation_rate`; the root in E is found by bisection, because E = the plants' side falls
    steadily as E rises.
    Source: mass and energy balance.
    """
    outside, share, station, stream, gain, walls, wet, dry = np.broadcast_arrays(
        *(
            np.asarray(a, dtype=float)
            for a in (
                temperature_outside, humidity_outside, pressure, flow_volume, heat,
                wall_conductance, moistening, drying,
            )
        )
    )  # fmt: skip
    ratio = moist_air.humidity_ratio(outside, share, station)
    flow = stream / moist_air.specific_volume(outside, ratio, station)

    def state(evaporation: Array) -> tuple[Array, Array]:
        warm = inside_temperature(evaporation, flow, ratio, outside, gain, walls)
        return warm, moist_air.vapour_pressure(ratio + evaporation / flow, station)

    def excess(evaporation: Array) -> Array:
        warm, vapour = state(evaporation)
        saturation = moist_air.saturation_pressure(np.clip(warm, -100, 200))
        return evaporation - evaporation_rate(wet, dry, saturation, vapour)

    evaporation = moist_air.rising_root(excess, -flow * ratio, flow * _MOST_TAKEN_UP)
    warm, vapour = state(evaporation)
    return BarnAir(warm, vapour / moist_air.saturation_pressure(warm), evaporation)
