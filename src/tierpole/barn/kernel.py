"""One place drying, hour by hour: the same source compiled by Numba and run as plain Python.

`run_place` follows the batches hung in one place through a span of hours for one draw, and can be
called again for the next span. What it calls is marked `_jitable`: called from Python it is Python
(the tests do so), called from the two compiled functions at the end it is compiled. Formulas with
powers and exponentials come in as tables, and numbers as constants, from `lookup`; here stand only
balances and steps.

The air of a place is parted into its tiers. Wind, fans and leaks change the air of every tier with
the outside; the stack's stream runs through the tiers one after the other, up or down. Inside a
step the air is in balance with the plants, so no step is too long for it.

Nothing else imports Numba. This file needs no other of the package, so that the compiler's cache,
which looks at this file alone, is never out of date.
"""

from __future__ import annotations

from collections.abc import Callable
from math import copysign, erf, exp, log, sqrt
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numba import njit
from numba.extending import register_jitable
from numpy.typing import NDArray

Array = NDArray[np.float64]
Hours = NDArray[np.int64]
Triple = tuple[float, float, float]
Function = TypeVar("Function", bound=Callable[..., Any])

FLOWER, LEAF, STEM = 0, 1, 2  # parts of a hung plant
PARTS = 3
WAITING, HANGING, GONE = 0, 1, 2  # stages of a batch
# columns of a batch's record
ABOVE, AT_TARGET, HUNG, MOISTURE_FLOWER, MOISTURE_STEM, AGE, HOURS_WET, RISK, BURNT = range(9)
RECORDS = 9
# columns of a batch's mould in a tier
DOSE, INDEX, HOURS_DRY, RUN_DAMP, LONGEST_DAMP = range(5)
MOULDS = 5
# columns of the air of a tier
TEMPERATURE, RATIO = range(2)
# scratch of a tier: temperature before a step and a guess of it after, mean air of the hour,
# Σ m G a, Σ m G, heat held
BEFORE, GUESS, MEAN_WARM, MEAN_RATIO, MOISTENING, DRYING, HELD = range(7)
SCRATCH = 7
# columns of a place's hour
EVAPORATED, HEAT, FAN_ENERGY, CROSS, THROUGH = range(5)
PLACE_HOURS = 5
# columns of the temperature table and of the humidity table
SATURATION, LEVEL, START, DOSE_WARM, CRITICAL, LIMIT = range(6)
START_DAMP, DOSE_DAMP = range(2)

_SETTLED = 1e-6  # share of the evaporation; the balances close whatever is left
_DRIEST = 1e-4  # kg/kg, keeps an absurdly fast step from taking more water than there is
_HOUR = 3600.0


def _jitable(function: Function) -> Function:
    """Python when called from Python, compiled when called from compiled code."""
    return register_jitable(function)


def _inlined(function: Function) -> Function:
    """As `_jitable`, set into its caller: handing its arguments over would cost as much as it."""
    return register_jitable(inline="always")(function)


class Constants(NamedTuple):
    """Numbers of moist air, plants and mould that the balances use; see `lookup.constants`."""

    pressure: float
    zero_celsius: float
    mass_ratio: float
    heat_air: float
    heat_vapour: float
    heat_water: float
    heat_plant: float
    latent: float
    speed_reference: float
    age_reference: float
    dose_wet: float
    dose_coldest: float
    dose_least: float
    speed_start: float
    speed: float
    most_0: float
    most_1: float
    most_2: float
    slowing: float
    decline_first: float
    decline_first_hours: float
    decline_later: float
    decline_later_hours: float
    index_visible: float
    spread_log: float
    botrytis_activity: float
    burn_humidity: float
    burn_temperature: float


class Tables(NamedTuple):
    """What depends on air alone: by temperature from `coldest` up, by humidity from 0 to 1."""

    by_temperature: Array  # [step, column]
    coldest: float
    per_kelvin: float
    by_humidity: Array  # [step, column]
    constants: Constants


class Outside(NamedTuple):
    """Weather outside, hour by hour of one season [hour]."""

    temperature: Array
    ratio: Array  # humidity ratio
    volume: Array  # specific volume
    wind: Array  # of the open country [m/s]
    sun: Array  # on level ground [W/m²]
    sky: Array  # what a level surface loses to the sky [W/m²]


class Controls(NamedTuple):
    """What people set, as shares of all there is: row 0 is hour `start`, then round and round."""

    start: int
    vents: Array
    fans: Array
    heat: Array


class Space(NamedTuple):
    """A place as one draw sees it; see `running.Setting`, which makes it."""

    wind_area: float  # outside air in per wind speed, vents open [m²]
    stack_flow: float  # by buoyancy, per root of the warmth's share of what is warmer [m³/s]
    leak_area: float  # [1000 cm²]
    leak_stack: float
    leak_wind: float
    flow_least: float  # [m³/s]
    canopy: float  # share of the air that goes through the plants of a full place
    full: float  # dry matter that fills the place [kg]
    face: float  # what the air goes through [m²]
    speed_still: float  # of air nobody moves [m/s]
    speed_fans: float  # [m/s]
    fan_flow: float  # [m³/s]
    fan_power: float  # [W]
    heater: float  # [W]
    sun_gain: float  # share of the sun on the roof that warms the air inside
    sky_loss: float  # share of what the roof loses to the sky that cools the air inside
    walls: Array  # walls and roof [W/K], [tier]
    roof: Array  # [m²], [tier]
    store: Array  # heat held by the building [J/K], [tier]
    floor: Array  # damp floor [kg/s/Pa], [tier]


class Plant(NamedTuple):
    """What one draw says of the plants, by part: conductance [kg/kg/s/Pa], isotherm scale."""

    conductance: Triple
    scale: Triple
    exposed: float  # of flower and leaf among their neighbours
    exponent: float
    activity: Array  # water activity by moisture / (moisture + level), from 0 to 1
    loop: float  # moisture by which drying material is above wetting material [kg/kg]
    loop_span: float  # change of moisture that leads from one branch to the other [kg/kg]
    ageing: float  # activation energy over gas constant [K]
    mould_speed: float
    mould_decline: float
    mould_start: float  # index brought from the field
    dose_start: float
    dose_visible: float


class Batches(NamedTuple):
    """What is hung in the place; a batch is what goes up on one day."""

    hang_hour: Hours  # [batch]
    mass: Array  # dry matter [kg], [batch, tier, part]
    moisture: Array  # when hung, dry basis, [batch, part]
    reading_hour: Hours  # when the flower's moisture was measured; -1 never, [batch]
    reading: Array  # what was measured, dry basis, [batch]
    down_hour: Hours  # when it comes down whatever its moisture, [batch]


class Rule(NamedTuple):
    """When a batch comes down: flower `hours_at_target` in sum at `target`, or `hours_most` up."""

    target: float
    hours_at_target: float
    hours_most: int
    sub_steps: int


class Case(NamedTuple):
    """Everything of a run but what hangs."""

    outside: Outside
    controls: Controls
    space: Space
    plant: Plant
    rule: Rule
    tables: Tables


class Now(NamedTuple):
    """Weather and settings of one hour."""

    warm: float
    ratio: float
    virtual: float  # virtual temperature outside [K]
    enthalpy: float
    density: float  # dry air [kg/m³]
    wind: float
    vents: float
    fans: float
    gain: float  # heat through the roof [W/m²]
    heater: float  # [W]
    motors: float  # of the fans [W]


class Streams(NamedTuple):
    """Dry air [kg/s] that changes with the outside in each tier, and that runs through all, up."""

    cross: float
    through: float


class Inflow(NamedTuple):
    """Air as it enters a tier, with all heat but the plants'."""

    ratio: float
    flow: float  # [kg dry air/s]
    per_flow: float  # its inverse: divisions are what the kernel's time goes into
    heat_in: float
    walls: float


class State(NamedTuple):
    """What changes as the hours pass; made by `lookup.new_state`, filled here."""

    stage: NDArray[np.int8]  # WAITING, HANGING or GONE [batch]
    moisture: Array  # dry basis [batch, tier, part]
    branch: Array  # of the isotherm: 1 drying, 0 wetting [batch, tier, part]
    mould: Array  # [batch, tier, column]
    air: Array  # temperature, humidity ratio inside [tier, 2]
    record: Array  # what is known of each batch [batch, column]
    before: Array  # mean flower moisture of a batch a step ago [batch]
    gains: Array  # scratch of a step [batch, tier, part, 2]
    scratch: Array  # of a step [tier, column]


class Trace(NamedTuple):
    """What is kept of each hour; no rows when nobody asks."""

    air: Array  # mean temperature, humidity ratio [hour, tier, 2]
    moisture: Array  # at the end of the hour [hour, batch, tier, part]
    mould: Array  # chance that it is seen [hour, batch, tier]
    place: Array  # [hour, column]


@_jitable
def interpolate(table: Array, position: float, column: int) -> float:
    """Value of a column at a fractional row, held at the ends of the table."""
    row = min(max(int(position), 0), table.shape[0] - 2)
    share = min(max(position - row, 0.0), 1.0)
    return table[row, column] + share * (table[row + 1, column] - table[row, column])


@_jitable
def by_temperature(tables: Tables, temperature: float, column: int) -> float:
    """Value of a column of the temperature table."""
    position = (temperature - tables.coldest) * tables.per_kelvin
    return interpolate(tables.by_temperature, position, column)


@_jitable
def saturation_and_rise(tables: Tables, temperature: float) -> tuple[float, float]:
    """Saturation pressure and its rise with temperature [Pa, Pa/K]."""
    table = tables.by_temperature
    position = (temperature - tables.coldest) * tables.per_kelvin
    row = min(max(int(position), 0), table.shape[0] - 2)
    rise = table[row + 1, SATURATION] - table[row, SATURATION]
    return table[row, SATURATION] + (position - row) * rise, rise * tables.per_kelvin


@_jitable
def activity_of(moisture: float, level: float, table: Array) -> float:
    """Water activity of a part; the table runs over moisture / (moisture + level)."""
    position = moisture / (moisture + level) * (table.size - 1)
    row = int(position)
    return table[row] + (position - row) * (table[row + 1] - table[row])


@_jitable
def mean_decay(z: float) -> float:
    """Mean of exp(-t) over t from 0 to z: what is left of a step's drive, on average."""
    if z < 0.02:
        return 1.0 - z * (0.5 - z * (1.0 / 6.0 - z / 24.0))
    return (1.0 - exp(-z)) / z


@_jitable
def share_above(before: float, after: float, target: float) -> float:
    """Share of a step spent above the target, moisture running straight from before to after."""
    high, low = max(before, after), min(before, after)
    if low >= target:
        return 1.0
    if high <= target:
        return 0.0
    return (high - target) / (high - low)


@_jitable
def virtual_kelvin(temperature: float, ratio: float, c: Constants) -> float:
    """Virtual temperature [K], see `moist_air.virtual_temperature`."""
    return (temperature + c.zero_celsius) * (1.0 + ratio / c.mass_ratio) / (1.0 + ratio)


@_jitable
def vapour_of(ratio: float, c: Constants) -> float:
    """Vapour pressure, see `moist_air.vapour_pressure`."""
    return c.pressure * ratio / (c.mass_ratio + ratio)


@_jitable
def enthalpy_of(temperature: float, ratio: float, c: Constants) -> float:
    """Heat content of moist air, see `moist_air.enthalpy`."""
    return c.heat_air * temperature + ratio * (c.latent + c.heat_vapour * temperature)


# --- flow ----------------------------------------------------------------------------------------


@_jitable
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


@_jitable
def stack_of(state: State, now: Now, space: Space, is_guess: bool, c: Constants) -> float:
    """Flow by buoyancy [m³/s], up if positive, see `air.stack_flow`, of the air or its guess."""
    tiers, inside = state.air.shape[0], 0.0
    for tier in range(tiers):
        warm = state.scratch[tier, GUESS] if is_guess else state.air[tier, TEMPERATURE]
        inside += virtual_kelvin(warm, state.air[tier, RATIO], c) / tiers
    excess = inside - now.virtual
    pull = sqrt(abs(excess) / max(inside, now.virtual))
    return copysign(space.stack_flow * now.vents * pull, excess)


@_jitable
def leak_of(state: State, now: Now, space: Space) -> float:
    """Flow through the cracks of what is shut [m³/s], see `air.leak_flow`."""
    tiers, inside = state.air.shape[0], 0.0
    for tier in range(tiers):
        inside += state.scratch[tier, GUESS] / tiers
    squares = space.leak_stack * abs(inside - now.warm) + space.leak_wind * now.wind * now.wind
    return space.leak_area * sqrt(squares)


@_jitable
def streams_of(stack: float, leak: float, canopy: float, now: Now, case: Case) -> Streams:
    """Air through the place: pressures of wind, stack and fans add, so their flows' squares do."""
    space, tiers = case.space, case.space.walls.size
    wind, fan = space.wind_area * now.wind * now.vents, space.fan_flow * now.fans
    total = sqrt(wind * wind + stack * stack + fan * fan)
    through = stack * abs(stack) / total if total > 0.0 else 0.0
    cross = max(total - abs(through) + leak, space.flow_least)
    share = canopy * now.density
    return Streams(share * cross / tiers, share * through)


@_jitable
def between(first: float, second: float) -> float:
    """A flow between two: their geometric mean where they run the same way."""
    if first * second > 0.0:
        return copysign(sqrt(first * second), first)
    return 0.5 * (first + second)


@_jitable
def canopy_of(state: State, mass: Array, space: Space) -> float:
    """Share of the air that goes through the plants: less, the fuller the place."""
    hung = 0.0
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            for tier in range(mass.shape[1]):
                for part in range(PARTS):
                    hung += mass[batch, tier, part]
    return 1.0 - (1.0 - space.canopy) * min(hung / space.full, 1.0)


# --- air and plants ------------------------------------------------------------------------------


@_jitable
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


@_jitable
def temperature_inside(evaporation: float, inflow: Inflow, c: Constants) -> float:
    """Temperature that balances the heat, see `air.inside_temperature`."""
    ratio = inflow.ratio + evaporation * inflow.per_flow
    capacity = inflow.flow * (c.heat_air + c.heat_vapour * ratio) + inflow.walls
    heat = inflow.heat_in - inflow.flow * c.latent * ratio
    return heat / (capacity - c.heat_water * evaporation)


@_jitable
def set_air(state: State, tier: int, evaporation: float, inflow: Inflow, c: Constants) -> None:
    """Let the air be what the evaporation makes of it: both balances hold to the last digit."""
    state.air[tier, TEMPERATURE] = temperature_inside(evaporation, inflow, c)
    state.air[tier, RATIO] = inflow.ratio + evaporation * inflow.per_flow


@_jitable
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


@_inlined
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


@_jitable
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


@_jitable
def tier_of(step: int, tiers: int, streams: Streams) -> int:
    """The tiers in the order in which the stack's stream passes them; 0 is the lowest."""
    return step if streams.through >= 0.0 else tiers - 1 - step


@_jitable
def foresee_air(state: State, streams: Streams, now: Now, case: Case, seconds: float) -> None:
    """Air of each tier in balance with the plants, before any water has moved."""
    tiers = state.air.shape[0]
    for step in range(tiers):
        tier = tier_of(step, tiers, streams)
        inflow = inflow_at(tier, step, state, streams, now, case, seconds)
        evaporation = settle(tier, state, inflow, case)
        set_air(state, tier, evaporation, inflow, case.tables.constants)


@_jitable
def settle(tier: int, state: State, inflow: Inflow, case: Case) -> float:
    """Evaporation in a tier, searched from that of its air as it stands."""
    guess = inflow.flow * (state.air[tier, RATIO] - inflow.ratio)
    moistening, drying = state.scratch[tier, MOISTENING], state.scratch[tier, DRYING]
    return evaporation_of(moistening, drying, guess, inflow, case.tables)


@_jitable
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


@_jitable
def paces_of(streams: Streams, now: Now, state: State, case: Case) -> Triple:
    """Conductance of flower, leaf and stem in the draught, see `drying.hung_conductance`."""
    plant, space, tiers = case.plant, case.space, state.air.shape[0]
    moved = (tiers * streams.cross + abs(streams.through)) / now.density
    speed = space.speed_still + moved / space.face + space.speed_fans * now.fans
    outer = plant.exposed * sqrt(speed / case.tables.constants.speed_reference)
    share = 2.0 * outer / (1.0 + outer)
    first, second, third = plant.conductance
    return first * share, second * share, third


@_jitable
def exchange(
    state: State, mass: Array, canopy: float, now: Now, case: Case, seconds: float
) -> tuple[float, Streams]:
    """One step of plants and air together; returns water given [kg] and the streams.

    The stack depends on the air it makes: it is taken between what the air before the step and
    the air it would lead to would draw.
    """
    space, c = case.space, case.tables.constants
    leak, stack = leak_of(state, now, space), stack_of(state, now, space, True, c)
    streams = streams_of(stack, leak, canopy, now, case)
    paces = paces_of(streams, now, state, case)
    for tier in range(state.air.shape[0]):
        state.scratch[tier, BEFORE] = state.air[tier, TEMPERATURE]
        weigh_drives(tier, state, mass, paces, case, seconds)
    if space.stack_flow * now.vents > 0.0:
        foresee_air(state, streams, now, case, seconds)
        stack = between(stack, stack_of(state, now, space, False, c))
        streams = streams_of(stack, leak, canopy, now, case)
    return dry_tiers(state, mass, streams, now, case, seconds), streams


# --- hours ---------------------------------------------------------------------------------------


@_jitable
def mean_flower(batch: int, state: State, mass: Array) -> float:
    """Mean moisture of a batch's flower over its tiers."""
    water, dry = 0.0, 0.0
    for tier in range(state.air.shape[0]):
        water += mass[batch, tier, FLOWER] * state.moisture[batch, tier, FLOWER]
        dry += mass[batch, tier, FLOWER]
    return water / dry


@_jitable
def note_target(state: State, mass: Array, target: float, hours: float) -> None:
    """Enter how long of a step each flower spent above the target and at or below it."""
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            after = mean_flower(batch, state, mass)
            above = share_above(state.before[batch], after, target)
            state.before[batch] = after
            state.record[batch, ABOVE] += hours * above
            state.record[batch, AT_TARGET] += hours * (1.0 - above)


@_jitable
def dry_hour(hour: int, row: int, state: State, mass: Array, case: Case, trace: Trace) -> None:
    """One hour of the place; leaves the mean air of each tier in `scratch`."""
    hours, tiers, space = 1.0 / case.rule.sub_steps, state.air.shape[0], case.space
    now = now_at(hour, case)
    canopy = canopy_of(state, mass, space)
    rise = now.warm - case.outside.temperature[max(hour - 1, 0)]
    for tier in range(tiers):
        state.scratch[tier, MEAN_WARM], state.scratch[tier, MEAN_RATIO] = 0.0, 0.0
    for _ in range(case.rule.sub_steps):
        for tier in range(tiers):
            state.scratch[tier, GUESS] = state.air[tier, TEMPERATURE] + rise
        given, streams = exchange(state, mass, canopy, now, case, _HOUR * hours)
        note_target(state, mass, case.rule.target, hours)
        rise = 0.0
        for tier in range(tiers):
            state.scratch[tier, MEAN_WARM] += hours * state.air[tier, TEMPERATURE]
            state.scratch[tier, MEAN_RATIO] += hours * state.air[tier, RATIO]
        if trace.place.shape[0] > 0:
            trace.place[row, EVAPORATED] += given
            trace.place[row, HEAT] += _HOUR * hours * now.heater
            trace.place[row, FAN_ENERGY] += _HOUR * hours * now.motors
            trace.place[row, CROSS] += hours * streams.cross
            trace.place[row, THROUGH] += hours * streams.through


@_jitable
def add_dose(mould: Array, damp: float, warm: float, tables: Tables) -> None:
    """One hour of the dose of damp warmth, see `mould.dose_rate_flower`; `mould` is [column]."""
    c = tables.constants
    wetness = damp * (tables.by_humidity.shape[0] - 1)
    dose = interpolate(tables.by_humidity, wetness, DOSE_DAMP)
    if damp > c.dose_wet:
        dose *= by_temperature(tables, warm, DOSE_WARM)
    if warm < c.dose_coldest:
        dose = c.dose_least
    elif damp < by_temperature(tables, warm, LIMIT):
        dose = min(dose, 0.0)
    mould[DOSE] = max(mould[DOSE] + dose / 24.0, 0.0)


@_jitable
def grow_index(mould: Array, damp: float, warm: float, case: Case) -> None:
    """One hour of the growth index of mould, see `mould.growth_index`; `mould` is [column]."""
    tables, c = case.tables, case.tables.constants
    critical = by_temperature(tables, warm, CRITICAL)
    index, hours_dry = mould[INDEX], mould[HOURS_DRY]
    if damp >= critical:
        x = (damp - critical) / (1.0 - critical)
        most = c.most_0 + c.most_1 * x - c.most_2 * x * x
        slowing = max(1.0 - exp(c.slowing * (index - most)), 0.0)
        speed = c.speed_start if index < 1.0 else c.speed
        wetness = damp * (tables.by_humidity.shape[0] - 1)
        start = by_temperature(tables, warm, START)
        start *= interpolate(tables.by_humidity, wetness, START_DAMP)
        index += case.plant.mould_speed * speed * slowing * start / 24.0
        hours_dry = 0.0
    else:
        fall = 0.0
        if hours_dry < c.decline_first_hours:
            fall = c.decline_first
        elif hours_dry >= c.decline_later_hours:
            fall = c.decline_later
        index = max(index - case.plant.mould_decline * fall, 0.0)
        hours_dry += 1.0
    mould[INDEX], mould[HOURS_DRY] = index, hours_dry


@_jitable
def normal_share(x: float) -> float:
    """Share of a standard normal below x."""
    return 0.5 * (1.0 + erf(x * 0.7071067811865476))


@_jitable
def chance_of(mould: Array, plant: Plant, c: Constants) -> float:
    """Chance that mould is seen on a stick, see `losses.mould_chance`; `mould` is [column]."""
    chance = 0.0
    if mould[DOSE] > 0.0:
        chance += 0.5 * normal_share(log(mould[DOSE] / plant.dose_visible) / c.spread_log)
    if mould[INDEX] > 0.0:
        chance += 0.5 * normal_share(log(mould[INDEX] / c.index_visible) / c.spread_log)
    return chance


@_jitable
def note_tier(batch: int, tier: int, state: State, case: Case) -> bool:
    """Enter one hour of a batch's mould in a tier; true while grey mould can still grow."""
    plant, tables, c = case.plant, case.tables, case.tables.constants
    warm = state.scratch[tier, MEAN_WARM]
    branch, flower = state.branch[batch, tier, FLOWER], state.moisture[batch, tier, FLOWER]
    level = plant.scale[FLOWER] * by_temperature(tables, warm, LEVEL)
    activity = activity_of(flower + plant.loop * (1.0 - branch), level, plant.activity)
    vapour = vapour_of(state.scratch[tier, MEAN_RATIO], c)
    humidity = vapour / by_temperature(tables, warm, SATURATION)
    damp = min(humidity, activity)  # see `mould.felt_humidity`
    mould = state.mould[batch, tier]
    add_dose(mould, damp, warm, tables)
    grow_index(mould, damp, warm, case)
    burning = humidity > c.burn_humidity and warm > c.burn_temperature
    mould[RUN_DAMP] = mould[RUN_DAMP] + 1.0 if burning else 0.0
    mould[LONGEST_DAMP] = max(mould[LONGEST_DAMP], mould[RUN_DAMP])
    return activity >= c.botrytis_activity


@_jitable
def note_hour(batch: int, state: State, batches: Batches, case: Case) -> None:
    """Enter one hour of a batch, all its tiers."""
    plant, c, tiers, mass = case.plant, case.tables.constants, state.air.shape[0], batches.mass
    warm, wet, stem, dry, dry_stem = 0.0, 0.0, 0.0, 0.0, 0.0
    for tier in range(tiers):
        share = mass[batch, tier, FLOWER]
        if note_tier(batch, tier, state, case):
            wet += share
        warm += share * state.scratch[tier, MEAN_WARM]
        dry += share
        stem += mass[batch, tier, STEM] * state.moisture[batch, tier, STEM]
        dry_stem += mass[batch, tier, STEM]
    kelvin = warm / dry + c.zero_celsius
    pace = exp(plant.ageing * (1.0 / c.age_reference - 1.0 / kelvin))
    record = state.record[batch]
    record[AGE] += pace / 24.0
    record[HOURS_WET] += wet / dry
    record[HUNG] += 1.0
    record[MOISTURE_FLOWER] = state.before[batch]
    record[MOISTURE_STEM] = stem / dry_stem


@_jitable
def note_risk(batch: int, state: State, mass: Array, case: Case) -> None:
    """Enter the chance of mould over a batch's tiers, and the longest damp warm spell of any."""
    risk, dry, longest = 0.0, 0.0, 0.0
    for tier in range(state.air.shape[0]):
        share = mass[batch, tier, FLOWER]
        risk += share * chance_of(state.mould[batch, tier], case.plant, case.tables.constants)
        dry += share
        if share > 0.0:
            longest = max(longest, state.mould[batch, tier, LONGEST_DAMP])
    state.record[batch, RISK] = risk / dry
    state.record[batch, BURNT] = longest


@_jitable
def hang(batch: int, state: State, batches: Batches, plant: Plant) -> None:
    """A batch goes up, wet as cut, with the mould it brings from the field."""
    state.stage[batch] = HANGING
    state.before[batch] = batches.moisture[batch, FLOWER]
    for tier in range(state.air.shape[0]):
        for part in range(PARTS):
            state.moisture[batch, tier, part] = batches.moisture[batch, part]
            state.branch[batch, tier, part] = 1.0
        for column in range(MOULDS):
            state.mould[batch, tier, column] = 0.0
        state.mould[batch, tier, INDEX] = plant.mould_start
        state.mould[batch, tier, DOSE] = plant.dose_start
    for column in range(RECORDS):
        state.record[batch, column] = 0.0


@_jitable
def take_in(hour: int, state: State, batches: Batches, plant: Plant) -> None:
    """Hang what is due this hour and set readings taken this hour."""
    for batch in range(state.stage.size):
        if state.stage[batch] == WAITING and batches.hang_hour[batch] <= hour:
            hang(batch, state, batches, plant)
        if state.stage[batch] == HANGING and batches.reading_hour[batch] == hour:
            change = batches.reading[batch] / mean_flower(batch, state, batches.mass)
            for tier in range(state.air.shape[0]):
                state.moisture[batch, tier, FLOWER] *= change
            state.before[batch] = batches.reading[batch]


@_jitable
def end_hour(hour: int, state: State, batches: Batches, case: Case) -> int:
    """Enter the hour of every hanging batch, take down those that are done; returns how many."""
    down = 0
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            note_hour(batch, state, batches, case)
            is_dry = state.record[batch, AT_TARGET] >= case.rule.hours_at_target
            is_over = state.record[batch, HUNG] >= case.rule.hours_most
            if is_dry or is_over or hour + 1 >= batches.down_hour[batch]:
                note_risk(batch, state, batches.mass, case)
                state.stage[batch] = GONE
                down += 1
    return down


@_jitable
def trace_batches(row: int, state: State, case: Case, trace: Trace) -> None:
    """Keep what stands at the end of an hour."""
    tiers = state.air.shape[0]
    for tier in range(tiers):
        trace.air[row, tier, TEMPERATURE] = state.scratch[tier, MEAN_WARM]
        trace.air[row, tier, RATIO] = state.scratch[tier, MEAN_RATIO]
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            for tier in range(tiers):
                for part in range(PARTS):
                    trace.moisture[row, batch, tier, part] = state.moisture[batch, tier, part]
                chance = chance_of(state.mould[batch, tier], case.plant, case.tables.constants)
                trace.mould[row, batch, tier] = chance


@_jitable
def start_place(hour: int, state: State, outside: Outside) -> None:
    """Let the place be empty, all batches waiting, its air as outside."""
    for batch in range(state.stage.size):
        state.stage[batch] = WAITING
        for column in range(RECORDS):
            state.record[batch, column] = 0.0
    for tier in range(state.air.shape[0]):
        state.air[tier, TEMPERATURE] = outside.temperature[max(hour - 1, 0)]
        state.air[tier, RATIO] = outside.ratio[max(hour - 1, 0)]


@_jitable
def run_place(
    case: Case, batches: Batches, state: State, trace: Trace, first: int, last: int
) -> None:
    """A place from one hour of the season up to another, for one draw.

    Goes on from what stands in `state`, stops early once all batches have come down, and leaves
    there what stands at the end, each batch's record, and in `trace` what has rows there.
    """
    left = 0
    for batch in range(state.stage.size):
        if state.stage[batch] != GONE:
            left += 1
    for hour in range(first, last):
        if left == 0:
            break
        take_in(hour, state, batches, case.plant)
        dry_hour(hour, hour - first, state, batches.mass, case, trace)
        if trace.air.shape[0] > 0:
            trace_batches(hour - first, state, case, trace)
        left -= end_hour(hour, state, batches, case)
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            note_risk(batch, state, batches.mass, case)


def _compile(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile without the interpreter lock, kept on disk where a cache folder can be written.

    Without reference counts too (`_nrt`): the kernel makes no arrays, and counting who holds the
    tables would cost it half its time and all of what a second core gains.
    """
    options: dict[str, Any] = {"nogil": True, "error_model": "numpy", "_nrt": False}
    try:
        return njit(function, cache=True, **options)
    except RuntimeError:  # no folder for the cache
        return njit(function, **options)


run_hours = _compile(run_place)


@_compile
def dry_fillings(
    case: Case,
    batch: Batches,
    hang_hours: Hours,
    loads: Array,
    state: State,
    trace: Trace,
    records: Array,
) -> None:
    """A place filled to each load on each hang day, all of it drying in step, for one draw.

    `batch` is the one batch that fills the place; its hour and mass are overwritten. Fills
    `records` [hang day, load, column].
    """
    load_before, hours = 1.0, case.outside.temperature.size
    for day in range(hang_hours.size):
        batch.hang_hour[0] = hang_hours[day]
        for load in range(loads.size):
            for tier in range(state.air.shape[0]):
                for part in range(PARTS):
                    batch.mass[0, tier, part] *= loads[load] / load_before
            load_before = loads[load]
            start_place(hang_hours[day], state, case.outside)
            run_place(case, batch, state, trace, hang_hours[day], hours)
            for column in range(RECORDS):
                records[day, load, column] = state.record[0, column]
