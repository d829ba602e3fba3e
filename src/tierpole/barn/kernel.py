"""One place drying, hour by hour: the same source compiled by Numba and run as plain Python.

`dry_place` follows the batches hung in one place through one season for one draw. What it calls is
marked `_jitable`: called from Python it is Python (the tests do so), called from the two
compiled functions at the end it is compiled. Formulas with powers and exponentials come in as
tables, and numbers as constants, from `lookup`; here stand only balances and steps.

Nothing else imports Numba. This file needs no other of the package, so that the compiler's cache,
which looks at this file alone, is never out of date.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numba import njit
from numba.extending import register_jitable
from numpy.typing import NDArray

Array = NDArray[np.float64]
Hours = NDArray[np.int64]

FLOWER, STEM = 0, 1  # parts of a hung plant; leaf dries with the flower
WAITING, HANGING, GONE = 0, 1, 2
# columns of a result
ABOVE, AT_TARGET, HUNG, MOISTURE_FLOWER, MOISTURE_STEM, DOSE, INDEX, HOURS_DRY, HOURS_WET = range(9)
RESULTS = 9
# columns of the temperature table and of the humidity table
SATURATION, LEVEL, START, DOSE_WARM, CRITICAL, LIMIT = range(6)
START_DAMP, DOSE_DAMP = range(2)

_SETTLED = 1e-6  # share of the evaporation; the balances close whatever is left
_DRIEST = 1e-4  # kg/kg, keeps an absurdly fast step from taking more water than there is
_HOUR = 3600.0

Function = TypeVar("Function", bound=Callable[..., Any])


def _jitable(function: Function) -> Function:
    """Python when called from Python, compiled when called from compiled code."""
    return register_jitable(function)


def _inlined(function: Function) -> Function:
    """As `_jitable`, set into its caller: handing its arguments over would cost as much as it."""
    return register_jitable(inline="always")(function)


class Constants(NamedTuple):
    """Numbers of moist air and of mould that the balances use; see `lookup.constants`."""

    pressure: float
    mass_ratio: float
    heat_air: float
    heat_vapour: float
    heat_water: float
    latent: float
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
    botrytis_activity: float


class Tables(NamedTuple):
    """What depends on air alone: by temperature from `coldest` up, by humidity from 0 to 1."""

    by_temperature: Array  # [step, column]
    coldest: float
    per_kelvin: float
    by_humidity: Array  # [step, column]
    constants: Constants


class Outside(NamedTuple):
    """Air outside, hour by hour of one season [hour]."""

    temperature: Array
    ratio: Array  # humidity ratio
    volume: Array  # specific volume


class Space(NamedTuple):
    """A place's air: outside air let in [m³/s], heat [W], hour by hour of a day; walls [W/K]."""

    flow: Array  # [hour of day]
    heat: Array  # [hour of day]
    walls: float


class Plant(NamedTuple):
    """What one draw says of the plants: conductance [kg/kg/s/Pa] and scale of flower and stem."""

    conductance: tuple[float, float]
    scale: tuple[float, float]
    exponent: float
    activity: Array  # water activity by moisture / (moisture + level), from 0 to 1
    mould_speed: float
    mould_decline: float
    mould_start: float  # index brought from the field
    dose_start: float


class Batches(NamedTuple):
    """What is hung in the place; a batch is what goes up on one day."""

    hang_hour: Hours  # [batch]
    mass: Array  # dry matter [kg], [batch, part]
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


class Inflow(NamedTuple):
    """Outside air as it enters in one hour, with all heat but the plants'."""

    ratio: float
    flow: float  # [kg dry air/s]
    per_flow: float  # its inverse: divisions are what the kernel's time goes into
    heat_in: float
    walls: float


class Case(NamedTuple):
    """Everything of a run but what hangs."""

    outside: Outside
    space: Space
    plant: Plant
    rule: Rule
    tables: Tables


class State(NamedTuple):
    """What changes as the hours pass; made by `lookup.new_state`, filled here."""

    hanging: NDArray[np.int8]  # WAITING, HANGING or GONE [batch]
    moisture: Array  # dry basis [batch, part]
    before: Array  # flower's moisture a step ago [batch]
    gains: Array  # scratch of a step [batch, part, 2]
    air: Array  # temperature, humidity ratio inside [2]
    record: Array  # what is known of each batch [batch, column]
    trace_air: Array  # temperature, humidity ratio [hour, 2]; no rows when nobody asks
    trace_batch: Array  # moisture of flower and of stem [hour, batch, 2]; likewise


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
def inflow_at(hour: int, outside: Outside, space: Space, c: Constants) -> Inflow:
    """The outside air of an hour and the heat it and sun, heater and walls bring."""
    warm, ratio = outside.temperature[hour], outside.ratio[hour]
    flow = space.flow[hour % 24] / outside.volume[hour]
    enthalpy = c.heat_air * warm + ratio * (c.latent + c.heat_vapour * warm)
    heat_in = flow * enthalpy + space.heat[hour % 24] + space.walls * warm
    return Inflow(ratio, flow, 1.0 / flow, heat_in, space.walls)


@_jitable
def vapour_of(ratio: float, c: Constants) -> float:
    """Vapour pressure, see `moist_air.vapour_pressure`."""
    return c.pressure * ratio / (c.mass_ratio + ratio)


@_jitable
def temperature_inside(evaporation: float, inflow: Inflow, c: Constants) -> float:
    """Temperature that balances the heat, see `air.inside_temperature`."""
    ratio = inflow.ratio + evaporation * inflow.per_flow
    capacity = inflow.flow * (c.heat_air + c.heat_vapour * ratio) + inflow.walls
    heat = inflow.heat_in - inflow.flow * c.latent * ratio
    return heat / (capacity - c.heat_water * evaporation)


@_jitable
def set_air(air: Array, evaporation: float, inflow: Inflow, c: Constants) -> None:
    """Let the air be what the evaporation makes of it: both balances hold to the last digit."""
    air[0] = temperature_inside(evaporation, inflow, c)
    air[1] = inflow.ratio + evaporation * inflow.per_flow


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
    state: State, mass: Array, plant: Plant, tables: Tables, seconds: float
) -> tuple[float, float]:
    """Σ m G a and Σ m G over hanging parts, each G lessened by how the part slows in the step.

    A part's drive fades as exp(-z), z = G p_ws da/dX Δt: the exponential step. G a and G of each
    part are left in `gains`.
    """
    level = by_temperature(tables, state.air[0], LEVEL)
    pull = by_temperature(tables, state.air[0], SATURATION) * seconds
    moistening, drying = 0.0, 0.0
    for batch in range(state.hanging.size):
        if state.hanging[batch] == HANGING:
            for part in (FLOWER, STEM):
                water = state.moisture[batch, part]
                activity = activity_of(water, plant.scale[part] * level, plant.activity)
                slope = plant.exponent * activity * (1.0 - activity) / water
                pace = plant.conductance[part]
                gain = pace * mean_decay(pace * slope * pull)
                state.gains[batch, part, 0] = gain * activity
                state.gains[batch, part, 1] = gain
                moistening += mass[batch, part] * gain * activity
                drying += mass[batch, part] * gain
    return moistening, drying


@_jitable
def move_water(state: State, mass: Array, saturation: float, vapour: float) -> float:
    """Take from each part what it gives in the step; returns the water given in all [kg].

    `saturation` and `vapour` are pressures times the length of the step [Pa s].
    """
    total = 0.0
    for batch in range(state.hanging.size):
        if state.hanging[batch] == HANGING:
            for part in (FLOWER, STEM):
                before = state.moisture[batch, part]
                gains = state.gains
                given = gains[batch, part, 0] * saturation - gains[batch, part, 1] * vapour
                after = max(before - given, _DRIEST)
                state.moisture[batch, part] = after
                total += mass[batch, part] * (before - after)
    return total


@_inlined
def exchange(state: State, mass: Array, inflow: Inflow, case: Case, seconds: float) -> None:
    """One step of plants and air together.

    The drives are weighed at the air's temperature of the step before, moved by as much as the
    outside's, and the search starts at its humidity. The water given is the difference of the
    plants' states.
    """
    tables = case.tables
    moistening, drying = weigh_drives(state, mass, case.plant, tables, seconds)
    guess = inflow.flow * (state.air[1] - inflow.ratio)
    evaporation = evaporation_of(moistening, drying, guess, inflow, tables)
    set_air(state.air, evaporation, inflow, tables.constants)
    saturation = by_temperature(tables, state.air[0], SATURATION)
    vapour = vapour_of(state.air[1], tables.constants)
    given = move_water(state, mass, saturation * seconds, vapour * seconds)
    set_air(state.air, given / seconds, inflow, tables.constants)


@_jitable
def note_target(state: State, target: float, hours: float) -> None:
    """Enter how long of a step each flower spent above the target and at or below it."""
    for batch in range(state.hanging.size):
        if state.hanging[batch] == HANGING:
            above = share_above(state.before[batch], state.moisture[batch, FLOWER], target)
            state.record[batch, ABOVE] += hours * above
            state.record[batch, AT_TARGET] += hours * (1.0 - above)


@_inlined
def dry_hour(hour: int, state: State, mass: Array, case: Case) -> tuple[float, float]:
    """One hour of the place; returns its mean temperature and humidity ratio."""
    hours = 1.0 / case.rule.sub_steps
    inflow = inflow_at(hour, case.outside, case.space, case.tables.constants)
    state.air[0] += case.outside.temperature[hour] - case.outside.temperature[max(hour - 1, 0)]
    warm, ratio = 0.0, 0.0
    for _ in range(case.rule.sub_steps):
        for batch in range(state.hanging.size):
            state.before[batch] = state.moisture[batch, FLOWER]
        exchange(state, mass, inflow, case, _HOUR * hours)
        note_target(state, case.rule.target, hours)
        warm += hours * state.air[0]
        ratio += hours * state.air[1]
    return warm, ratio


@_jitable
def add_dose(state: State, batch: int, warm: float, damp: float, tables: Tables) -> None:
    """One hour of the dose of damp warmth, see `mould.dose_rate_flower`."""
    c = tables.constants
    wetness = damp * (tables.by_humidity.shape[0] - 1)
    dose = interpolate(tables.by_humidity, wetness, DOSE_DAMP)
    if damp > c.dose_wet:
        dose *= by_temperature(tables, warm, DOSE_WARM)
    if warm < c.dose_coldest:
        dose = c.dose_least
    elif damp < by_temperature(tables, warm, LIMIT):
        dose = min(dose, 0.0)
    state.record[batch, DOSE] = max(state.record[batch, DOSE] + dose / 24.0, 0.0)


@_jitable
def grow_index(state: State, batch: int, warm: float, damp: float, case: Case) -> None:
    """One hour of the growth index of mould, see `mould.growth_index`."""
    tables, c = case.tables, case.tables.constants
    critical = by_temperature(tables, warm, CRITICAL)
    index, hours_dry = state.record[batch, INDEX], state.record[batch, HOURS_DRY]
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
    state.record[batch, INDEX], state.record[batch, HOURS_DRY] = index, hours_dry


@_jitable
def note_hour(state: State, batch: int, warm: float, ratio: float, case: Case) -> None:
    """Enter one hour of a batch: its moisture, its mould, and whether grey mould can still grow."""
    tables, c = case.tables, case.tables.constants
    flower = state.moisture[batch, FLOWER]
    level = case.plant.scale[FLOWER] * by_temperature(tables, warm, LEVEL)
    activity = activity_of(flower, level, case.plant.activity)
    humidity = vapour_of(ratio, c) / by_temperature(tables, warm, SATURATION)
    damp = min(humidity, activity)  # see `mould.felt_humidity`
    add_dose(state, batch, warm, damp, tables)
    grow_index(state, batch, warm, damp, case)
    state.record[batch, HUNG] += 1.0
    state.record[batch, MOISTURE_FLOWER] = flower
    state.record[batch, MOISTURE_STEM] = state.moisture[batch, STEM]
    if activity >= c.botrytis_activity:
        state.record[batch, HOURS_WET] += 1.0


@_jitable
def hang(state: State, batch: int, batches: Batches, plant: Plant) -> None:
    """A batch goes up, wet as cut, with the mould it brings from the field."""
    state.hanging[batch] = HANGING
    state.moisture[batch, FLOWER] = batches.moisture[batch, FLOWER]
    state.moisture[batch, STEM] = batches.moisture[batch, STEM]
    state.record[batch, INDEX] = plant.mould_start
    state.record[batch, DOSE] = plant.dose_start


@_jitable
def take_in(hour: int, state: State, batches: Batches, plant: Plant) -> int:
    """Hang what is due this hour and set readings taken this hour; returns how many hang."""
    count = 0
    for batch in range(state.hanging.size):
        if state.hanging[batch] == WAITING and batches.hang_hour[batch] <= hour:
            hang(state, batch, batches, plant)
        if state.hanging[batch] == HANGING:
            count += 1
            if batches.reading_hour[batch] == hour:
                state.moisture[batch, FLOWER] = batches.reading[batch]
    return count


@_jitable
def end_hour(
    hour: int, state: State, batches: Batches, warm: float, ratio: float, case: Case
) -> int:
    """Enter the hour of every hanging batch, take down those that are done; returns how many."""
    down = 0
    for batch in range(state.hanging.size):
        if state.hanging[batch] == HANGING:
            note_hour(state, batch, warm, ratio, case)
            if state.trace_batch.shape[0] > 0:
                state.trace_batch[hour, batch, FLOWER] = state.moisture[batch, FLOWER]
                state.trace_batch[hour, batch, STEM] = state.moisture[batch, STEM]
            is_dry = state.record[batch, AT_TARGET] >= case.rule.hours_at_target
            is_over = state.record[batch, HUNG] >= case.rule.hours_most
            if is_dry or is_over or hour + 1 >= batches.down_hour[batch]:
                state.hanging[batch] = GONE
                down += 1
    return down


@_jitable
def set_outside(state: State, outside: Outside, hour: int) -> tuple[float, float]:
    """Let the place be as outside in an hour: nothing hangs."""
    hour = max(hour, 0)
    state.air[0], state.air[1] = outside.temperature[hour], outside.ratio[hour]
    return state.air[0], state.air[1]


@_jitable
def dry_place(case: Case, batches: Batches, state: State) -> None:
    """All batches of one place from the first hung to the last taken down, for one draw.

    Leaves each batch's record in `state`, and the traces where they have rows.
    """
    outside = case.outside
    left, hours = state.hanging.size, outside.temperature.size
    hour = hours
    for batch in range(left):
        state.hanging[batch] = WAITING
        hour = min(hour, batches.hang_hour[batch])
        for column in range(RESULTS):
            state.record[batch, column] = 0.0
    set_outside(state, outside, hour - 1)
    while left > 0 and hour < hours:
        if take_in(hour, state, batches, case.plant) > 0:
            warm, ratio = dry_hour(hour, state, batches.mass, case)
            left -= end_hour(hour, state, batches, warm, ratio, case)
        else:
            warm, ratio = set_outside(state, outside, hour)
        if state.trace_air.shape[0] > 0:
            state.trace_air[hour, 0], state.trace_air[hour, 1] = warm, ratio
        hour += 1


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


dry_batches = _compile(dry_place)


@_compile
def dry_fillings(
    case: Case, batch: Batches, hang_hours: Hours, loads: Array, state: State, records: Array
) -> None:
    """A place filled to each load on each hang day, all of it drying in step, for one draw.

    `batch` is the one batch that fills the place; its hour and mass are overwritten. Fills
    `records` [hang day, load, column].
    """
    flower, stem = batch.mass[0, FLOWER], batch.mass[0, STEM]
    for day in range(hang_hours.size):
        batch.hang_hour[0] = hang_hours[day]
        for load in range(loads.size):
            batch.mass[0, FLOWER], batch.mass[0, STEM] = flower * loads[load], stem * loads[load]
            dry_place(case, batch, state)
            for column in range(RESULTS):
                records[day, load, column] = state.record[0, column]
