"""Air and plants of each tier moved together by one step; water and heat balances close."""

from __future__ import annotations

from tierpole.barn.kernel.data import (
    BEFORE,
    DRYING,
    GUESS,
    HANGING,
    HELD,
    LEVEL,
    MOISTENING,
    PARTS,
    RATIO,
    SATURATION,
    TEMPERATURE,
    Array,
    Case,
    Constants,
    Inflow,
    Now,
    Plant,
    State,
    Streams,
    Tables,
    Triple,
)
from tierpole.barn.kernel.flow import between, leak_of, paces_of, stack_of, streams_of
from tierpole.barn.kernel.jit import inlined, jitable
from tierpole.barn.kernel.look import (
    activity_of,
    by_temperature,
    enthalpy_of,
    mean_decay,
    saturation_and_rise,
    vapour_of,
)

_SETTLED = 1e-4  # share of the evaporation; Newton squares what is left, and balances close anyway
_DRIEST = 1e-4  # kg/kg, keeps an absurdly fast step from taking more water than there is
_SLIGHT = 0.1  # of the air changed in a tier: a stack's stream too weak for a second look


@inlined
def inflow_at(
    tier: int, step: int, state: State, streams: Streams, now: Now, case: Case, seconds: float
) -> Inflow:
    """The air entering a tier: from outside, and from the tier the stack's stream has left."""
    space, c = case.space, case.tables.constants
    through = abs(streams.through)
    flow = streams.cross + through
    ratio, enthalpy = now.ratio, now.enthalpy
    if step > 0:
        before = tier - 1 if streams.through >= 0.0 else tier + 1
        share = through / flow
        found, warm = state.air[before, RATIO], state.air[before, TEMPERATURE]
        ratio += share * (found - ratio)
        enthalpy += share * (enthalpy_of(warm, found, c) - enthalpy)
    held = state.scratch[tier, HELD] / seconds
    heat = now.gain * space.roof[tier] + (now.heater + now.motors) / state.air.shape[0]
    heat += flow * enthalpy + space.walls[tier] * now.warm
    heat += held * state.scratch[tier, BEFORE]
    return Inflow(ratio, flow, 1.0 / flow, heat, space.walls[tier] + held)


@jitable
def temperature_inside(evaporation: float, inflow: Inflow, c: Constants) -> float:
    """Temperature that balances the heat, see `air.inside_temperature`."""
    ratio = inflow.ratio + evaporation * inflow.per_flow
    capacity = inflow.flow * (c.heat_air + c.heat_vapour * ratio) + inflow.walls
    heat = inflow.heat_in - inflow.flow * c.latent * ratio
    return heat / (capacity - c.heat_water * evaporation)


@jitable
def set_air(state: State, tier: int, evaporation: float, inflow: Inflow, c: Constants) -> None:
    """Let the air be what the evaporation makes of it: both balances hold to the last digit."""
    state.air[tier, TEMPERATURE] = temperature_inside(evaporation, inflow, c)
    state.air[tier, RATIO] = inflow.ratio + evaporation * inflow.per_flow


@jitable
def evaporation_of(
    moistening: float, drying: float, guess: float, inflow: Inflow, tables: Tables
) -> float:
    """Evaporation at which plants and air agree, by Newton's method, see `air.barn_air`.

    What the plants would give less what the air takes up is falling and convex in it, so the steps
    settle from any guess.
    """
    c = tables.constants
    evaporation = guess
    for _ in range(30):
        ratio = inflow.ratio + evaporation * inflow.per_flow
        capacity = inflow.flow * (c.heat_air + c.heat_vapour * ratio) + inflow.walls
        capacity -= c.heat_water * evaporation
        warm = (inflow.heat_in - inflow.flow * c.latent * ratio) / capacity
        cooling = (c.latent + (c.heat_vapour - c.heat_water) * warm) / capacity
        saturation, rise = saturation_and_rise(tables, warm)
        share = 1.0 / (c.mass_ratio + ratio)
        wetting = c.pressure * c.mass_ratio * share * share * inflow.per_flow
        surplus = moistening * saturation - drying * c.pressure * ratio * share - evaporation
        step = surplus / (1.0 + drying * wetting + moistening * rise * cooling)
        evaporation += step
        if abs(step) <= _SETTLED * (abs(evaporation) + 1e-4 * inflow.flow):
            break
    return evaporation


@inlined
def weigh_drives(
    tier: int, state: State, mass: Array, paces: Triple, case: Case, seconds: float
) -> None:
    """Σ m G a and Σ m G over a tier's parts, each G lessened by how the part slows in the step.

    A part's drive fades as exp(-z), z = G p_ws da/dX Δt: the exponential step. G a and G of each
    part are left in `gains`, the sums and the heat the plants hold in `scratch`.
    """
    plant, tables, c = case.plant, case.tables, case.tables.constants
    warm = state.scratch[tier, GUESS]
    level = by_temperature(tables, warm, LEVEL)
    pull = by_temperature(tables, warm, SATURATION) * seconds
    floor = case.space.floor[tier]
    moistening, drying, held = floor, floor, case.space.store[tier]
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            for part in range(PARTS):
                water, branch = state.moisture[batch, tier, part], state.branch[batch, tier, part]
                shifted = water + plant.loop * (1.0 - branch)
                activity = activity_of(shifted, plant.scale[part] * level, plant.activity)
                slope = plant.exponent * activity * (1.0 - activity) / shifted
                if 0.0 < branch < 1.0:
                    slope *= 1.0 + plant.loop / plant.loop_span
                pace, dry = paces[part], mass[batch, tier, part]
                gain = pace * mean_decay(pace * slope * pull)
                state.gains[batch, tier, part, 0] = gain * activity
                state.gains[batch, tier, part, 1] = gain
                moistening += dry * gain * activity
                drying += dry * gain
                held += dry * (c.heat_plant + water * c.heat_water)
    state.scratch[tier, MOISTENING], state.scratch[tier, DRYING] = moistening, drying
    state.scratch[tier, HELD] = held


@inlined
def move_water(
    tier: int, state: State, mass: Array, plant: Plant, pull: float, push: float
) -> float:
    """Take from each part of a tier what it gives in the step; returns the water given [kg].

    `pull` and `push` are the saturation and the vapour pressure times the step's length [Pa s].
    """
    total = 0.0
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            for part in range(PARTS):
                before = state.moisture[batch, tier, part]
                gains = state.gains
                given = gains[batch, tier, part, 0] * pull - gains[batch, tier, part, 1] * push
                after = max(before - given, _DRIEST)
                state.moisture[batch, tier, part] = after
                branch = state.branch[batch, tier, part] - (after - before) / plant.loop_span
                state.branch[batch, tier, part] = min(max(branch, 0.0), 1.0)
                total += mass[batch, tier, part] * (before - after)
    return total


@jitable
def tier_of(step: int, tiers: int, streams: Streams) -> int:
    """The tiers in the order in which the stack's stream passes them; 0 is the lowest."""
    return step if streams.through >= 0.0 else tiers - 1 - step


@inlined
def foresee_air(state: State, streams: Streams, now: Now, case: Case, seconds: float) -> None:
    """Air of each tier in balance with the plants, before any water has moved."""
    tiers = state.air.shape[0]
    for step in range(tiers):
        tier = tier_of(step, tiers, streams)
        inflow = inflow_at(tier, step, state, streams, now, case, seconds)
        evaporation = settle(tier, state, inflow, case)
        set_air(state, tier, evaporation, inflow, case.tables.constants)
        state.scratch[tier, GUESS] = state.air[tier, TEMPERATURE]


@inlined
def settle(tier: int, state: State, inflow: Inflow, case: Case) -> float:
    """Evaporation in a tier, searched from that of its air as it stands."""
    guess = inflow.flow * (state.air[tier, RATIO] - inflow.ratio)
    moistening, drying = state.scratch[tier, MOISTENING], state.scratch[tier, DRYING]
    return evaporation_of(moistening, drying, guess, inflow, case.tables)


@inlined
def dry_tiers(
    state: State, mass: Array, streams: Streams, now: Now, case: Case, seconds: float
) -> float:
    """Air and plants of each tier moved by a step; returns the water the plants gave [kg].

    The air is set from the water given as the difference of the plants' states.
    """
    tiers, c, total = state.air.shape[0], case.tables.constants, 0.0
    for step in range(tiers):
        tier = tier_of(step, tiers, streams)
        inflow = inflow_at(tier, step, state, streams, now, case, seconds)
        set_air(state, tier, settle(tier, state, inflow, case), inflow, c)
        saturation = by_temperature(case.tables, state.air[tier, TEMPERATURE], SATURATION)
        vapour = vapour_of(state.air[tier, RATIO], c)
        given = move_water(tier, state, mass, case.plant, saturation * seconds, vapour * seconds)
        from_floor = case.space.floor[tier] * (saturation - vapour)
        set_air(state, tier, given / seconds + from_floor, inflow, c)
        total += given
    return total


@inlined
def exchange(
    state: State, mass: Array, canopy: float, now: Now, case: Case, seconds: float
) -> tuple[float, Streams]:
    """One step of plants and air together; returns water given [kg] and the streams.

    The stack depends on the air it makes: it is taken between what the air before the step and
    the air it would lead to would draw.
    """
    space, c = case.space, case.tables.constants
    leak, stack = leak_of(state, now, space), stack_of(state, now, space, c)
    streams = streams_of(stack, leak, canopy, now, case)
    paces = paces_of(streams, now, state, case)
    for tier in range(state.air.shape[0]):
        state.scratch[tier, BEFORE] = state.air[tier, TEMPERATURE]
        weigh_drives(tier, state, mass, paces, case, seconds)
    if abs(streams.through) > _SLIGHT * streams.cross:
        foresee_air(state, streams, now, case, seconds)
        stack = between(stack, stack_of(state, now, space, c))
        streams = streams_of(stack, leak, canopy, now, case)
    return dry_tiers(state, mass, streams, now, case, seconds), streams
