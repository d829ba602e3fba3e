"""Air through a place: what wind, warmth, fans and cracks make of the settings of an hour."""

from __future__ import annotations

from math import copysign, sqrt

from tierpole.barn.kernel.data import (
    GUESS,
    HANGING,
    PARTS,
    RATIO,
    Array,
    Case,
    Constants,
    Now,
    Space,
    State,
    Streams,
    Triple,
)
from tierpole.barn.kernel.jit import inlined, jitable
from tierpole.barn.kernel.look import enthalpy_of, virtual_kelvin


@inlined
def now_at(hour: int, case: Case) -> Now:
    """Weather outside, and what is open and running."""
    outside, space, c = case.outside, case.space, case.tables.constants
    row = (hour - case.controls.start) % case.controls.vents.size
    warm, ratio = outside.temperature[hour], outside.ratio[hour]
    fans = case.controls.fans[row]
    return Now(
        warm,
        ratio,
        virtual_kelvin(warm, ratio, c),
        enthalpy_of(warm, ratio, c),
        1.0 / outside.volume[hour],
        outside.wind[hour],
        case.controls.vents[row],
        fans,
        space.sun_gain * outside.sun[hour] - space.sky_loss * outside.sky[hour],
        space.heater * case.controls.heat[row],
        space.fan_power * fans,
    )


@inlined
def stack_of(state: State, now: Now, space: Space, c: Constants) -> float:
    """Flow by buoyancy [m³/s], up if positive, see `air.stack_flow`, of the guess of the air."""
    tiers, inside = state.air.shape[0], 0.0
    for tier in range(tiers):
        warm, ratio = state.scratch[tier, GUESS], state.air[tier, RATIO]
        inside += virtual_kelvin(warm, ratio, c) / tiers
    excess = inside - now.virtual
    pull = sqrt(abs(excess) / max(inside, now.virtual))
    return copysign(space.stack_flow * now.vents * pull, excess)


@inlined
def leak_of(state: State, now: Now, space: Space) -> float:
    """Flow through the cracks of what is shut [m³/s], see `air.leak_flow`."""
    tiers, inside = state.air.shape[0], 0.0
    for tier in range(tiers):
        inside += state.scratch[tier, GUESS] / tiers
    squares = space.leak_stack * abs(inside - now.warm) + space.leak_wind * now.wind * now.wind
    return space.leak_area * sqrt(squares)


@inlined
def streams_of(stack: float, leak: float, canopy: float, now: Now, case: Case) -> Streams:
    """Air through the place: pressures of wind, stack and fans add, so their flows' squares do."""
    space, tiers = case.space, case.space.walls.size
    wind, fan = space.wind_area * now.wind * now.vents, space.fan_flow * now.fans
    total = sqrt(wind * wind + stack * stack + fan * fan)
    through = stack * abs(stack) / max(total, 1e-9)
    cross = max(total - abs(through) + leak, space.flow_least)
    share = canopy * now.density
    return Streams(share * cross / tiers, share * through)


@jitable
def between(first: float, second: float) -> float:
    """A flow between two: their geometric mean where they run the same way."""
    if first * second > 0.0:
        return copysign(sqrt(first * second), first)
    return 0.5 * (first + second)


@inlined
def canopy_of(state: State, mass: Array, space: Space) -> float:
    """Share of the air that goes through the plants: less, the fuller the place."""
    hung = 0.0
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            for tier in range(mass.shape[1]):
                for part in range(PARTS):
                    hung += mass[batch, tier, part]
    return 1.0 - (1.0 - space.canopy) * min(hung / space.full, 1.0)


@inlined
def paces_of(streams: Streams, now: Now, state: State, case: Case) -> Triple:
    """Conductance of flower, leaf and stem in the draught, see `drying.hung_conductance`."""
    plant, space, tiers = case.plant, case.space, state.air.shape[0]
    moved = (tiers * streams.cross + abs(streams.through)) / now.density
    speed = space.speed_still + moved / space.face + space.speed_fans * now.fans
    outer = plant.exposed * sqrt(speed / case.tables.constants.speed_reference)
    share = 2.0 * outer / (1.0 + outer)
    first, second, third = plant.conductance
    return first * share, second * share, third
