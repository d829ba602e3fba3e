"""The air of a place: what wind, warmth, fans and cracks let through it, and what it takes up.

Air comes in from outside, takes up water from the plants and heat from sun, heater and walls, and
leaves as it stands inside. Minutes pass before it has changed over, hours before the plants have,
so inside an hour the air is taken as being in balance with them. The drying kernel solves the same
two balances, tier by tier, with tables; this module is their plain statement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole import moist_air
from tierpole.evidence import Mark, Table, Value
from tierpole.moist_air import COEFFICIENTS as AIR

Array = NDArray[np.float64]

_FLOWS = "ASHRAE Fundamentals ch. 16, Ventilation and infiltration, from memory"
_LEAKS = f"Sherman & Grimsrud 1980, as in {_FLOWS}"

COEFFICIENTS = Table(
    "Air flow",
    (
        Value(
            "discharge", 0.65, "1", Mark.MEMORY,
            f"{_FLOWS}: one-way openings; 0.40 + 0.0045 dT where both streams share one",
        ),
        Value("leak_stack", 0.000290, "(L/s)2/cm4/K", Mark.MEMORY, f"{_LEAKS}: two storeys"),
        Value(
            "leak_wind", 0.000231, "(L/s)2/cm4/(m/s)2", Mark.MEMORY,
            f"{_LEAKS}: two storeys, shelter class 3", 0.000137, 0.000325,
        ),
        Value(
            "least", 0.05, "1/h", Mark.INFERENCE, "air changes that no farm building keeps out",
        ),
        Value(
            "speed_reference", 0.1, "m/s", Mark.INFERENCE,
            "air among hung plants for which conductances are told; natural 0.02-0.3 m/s",
        ),
        Value(
            "speed_still", 0.03, "m/s", Mark.INFERENCE,
            "air between plants that nothing moves but their own cold",
        ),
        Value(
            "film_outside", 20.0, "W/m2/K", Mark.MEMORY,
            "heat a roof passes to the wind and the air outside, 17-23", 17.0, 23.0,
        ),
        Value("gravity", 9.80665, "m/s2", Mark.PUBLISHED, "standard gravity, CGPM 1901"),
    ),
)  # fmt: skip

_C = COEFFICIENTS
_MOST_TAKEN_UP = 0.1  # kg of water per kg of dry air: far above what a barn's air can take up


@dataclass(frozen=True)
class OutsideAir:
    """Weather as a barn feels it; hours run on from midnight of the season's first day.

    Without `wind` the usual wind by hour of the day blows (`sky.wind_usual`); without `sun` and
    `sky` none shines and none cools.
    """

    temperature: Array  # [°C], [season, hour]
    humidity: Array  # relative [share], [season, hour]
    pressure: float = AIR["sea_level"]  # [Pa]
    wind: Array | None = None  # 10 m above open country [m/s], [season, hour]
    sun: Array | None = None  # on level ground [W/m²], [season, hour]
    sky: Array | None = None  # heat a level surface at air temperature loses to it [W/m²]


@dataclass(frozen=True)
class BarnAir:
    """What a place's air comes to: `temperature` [°C], `humidity` [share], `evaporation` [kg/s]."""

    temperature: Array
    humidity: Array
    evaporation: Array


def wind_flow(coefficient: ArrayLike, area: ArrayLike, speed: ArrayLike) -> Array:
    """Outside air that wind drives through open vents.

    Parameters
    ----------
    coefficient : effectiveness of the openings [1], any shape
    area : of the inlets, the outlets being as large [m²], broadcast
    speed : of the wind at the openings [m/s], broadcast

    Returns
    -------
    flow : [m³/s]

    Equation: Q = C_v A U.
    Source: ASHRAE Fundamentals ch. 16, from memory; C_v 0.5-0.6 for wind square to the openings,
    0.25-0.35 aslant.
    """
    return np.asarray(coefficient) * np.asarray(area) * np.asarray(speed, dtype=float)


def stack_flow(
    area: ArrayLike,
    height: ArrayLike,
    virtual_inside: ArrayLike,
    virtual_outside: ArrayLike,
    discharge: ArrayLike = COEFFICIENTS["discharge"],
) -> Array:
    """Outside air drawn through open vents by warmth inside; negative where it falls.

    Parameters
    ----------
    area : of the openings at one level [m²], any shape
    height : from the neutral level to them [m], broadcast
    virtual_inside, virtual_outside : virtual temperatures [°C], broadcast
    discharge : coefficient of the openings [1], broadcast

    Returns
    -------
    flow : [m³/s], up positive, down negative

    Equation: Q = ± C_d A sqrt(2 g h |T_v,i - T_v,o| / max T_v), T_v in K.
    Source: ASHRAE Fundamentals ch. 16, from memory; virtual instead of dry-bulb temperature and
    the sign are ours: air that plants have cooled and moistened is heavier and sinks.
    """
    inside = np.asarray(virtual_inside, dtype=float) + AIR["zero_celsius"]
    outside = np.asarray(virtual_outside, dtype=float) + AIR["zero_celsius"]
    excess = (inside - outside) / np.maximum(inside, outside)
    scale = stack_scale(area, height, discharge)
    return np.copysign(scale * np.sqrt(np.abs(excess)), excess)


def stack_scale(
    area: ArrayLike, height: ArrayLike, discharge: ArrayLike = COEFFICIENTS["discharge"]
) -> Array:
    """What of the stack's flow the openings say, whatever the warmth.

    Parameters
    ----------
    area : of the openings at one level [m²], any shape
    height : from the neutral level to them [m], broadcast
    discharge : coefficient of the openings [1], broadcast

    Returns
    -------
    flow : [m³/s]

    Equation: C_d A sqrt(2 g h), the first factor of `stack_flow`.
    Source: see `stack_flow`.
    """
    fall = np.sqrt(2 * _C["gravity"] * np.asarray(height, dtype=float))
    return np.asarray(discharge) * np.asarray(area) * fall


def leak_flow(
    area: ArrayLike,
    difference: ArrayLike,
    speed: ArrayLike,
    leak_wind: ArrayLike = COEFFICIENTS["leak_wind"],
    leak_stack: ArrayLike = COEFFICIENTS["leak_stack"],
) -> Array:
    """Outside air through cracks of what is shut.

    Parameters
    ----------
    area : effective area of the cracks [m²], any shape
    difference : of the temperatures inside and outside [K], broadcast
    speed : of the wind in open country [m/s], broadcast
    leak_wind : by shelter class [(L/s)²/cm⁴/(m/s)²], broadcast
    leak_stack : by storeys [(L/s)²/cm⁴/K], broadcast

    Returns
    -------
    flow : [m³/s]

    Equation: Q = A_L / 1000 sqrt(C_s |ΔT| + C_w U²), A_L in cm².
    Source: Sherman & Grimsrud 1980, as in ASHRAE Fundamentals ch. 16, from memory.
    """
    squares = np.asarray(leak_stack) * np.abs(np.asarray(difference, dtype=float))
    squares = squares + np.asarray(leak_wind) * np.asarray(speed, dtype=float) ** 2
    return 10 * np.asarray(area) * np.sqrt(squares)


# reference form: tests hold `kernel.flow` to it
def combined_flow(*flows: ArrayLike) -> Array:
    """Outside air where wind, warmth and fans work on the same openings.

    Parameters
    ----------
    flows : what each would drive alone [m³/s], any shapes that broadcast

    Returns
    -------
    flow : [m³/s]

    Equation: Q = sqrt(Q_w² + Q_s² + ...): their pressures add.
    Source: ASHRAE Fundamentals ch. 16, from memory.
    Departures: older texts give 10 % above either of two equal ones, this 41 %; the draws of the
    coefficients are wider than that.
    """
    squares = [np.square(np.asarray(flow, dtype=float)) for flow in flows]
    return np.sqrt(np.sum(np.broadcast_arrays(*squares), axis=0))


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
