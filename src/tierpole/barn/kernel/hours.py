"""Hours of a place: what goes up, dries, moulds and comes down."""

from __future__ import annotations

from math import exp

from tierpole.barn.kernel.data import (
    ABOVE,
    AGE,
    AT_TARGET,
    BURNT,
    CROSS,
    DOSE,
    EVAPORATED,
    FAN_ENERGY,
    FLOWER,
    GONE,
    GUESS,
    HANGING,
    HEAT,
    HOURS_WET,
    HUNG,
    INDEX,
    LEVEL,
    LONGEST_DAMP,
    MEAN_RATIO,
    MEAN_WARM,
    MOISTURE_FLOWER,
    MOISTURE_STEM,
    MOULDS,
    PARTS,
    RATIO,
    RECORDS,
    RISK,
    SATURATION,
    STEM,
    TEMPERATURE,
    THROUGH,
    WAITING,
    Array,
    Batches,
    Case,
    Outside,
    Plant,
    State,
    Trace,
)
from tierpole.barn.kernel.exchange import exchange
from tierpole.barn.kernel.flow import canopy_of, now_at
from tierpole.barn.kernel.jit import inlined, jitable
from tierpole.barn.kernel.look import activity_of, by_temperature, share_above, vapour_of
from tierpole.barn.kernel.rot import add_dose, chance_of, count_damp, grow_index

_HOUR = 3600.0


@inlined
def mean_flower(batch: int, state: State, mass: Array) -> float:
    """Mean moisture of a batch's flower over its tiers."""
    water, dry = 0.0, 0.0
    for tier in range(state.air.shape[0]):
        water += mass[batch, tier, FLOWER] * state.moisture[batch, tier, FLOWER]
        dry += mass[batch, tier, FLOWER]
    return water / dry


@inlined
def note_target(state: State, mass: Array, target: float, hours: float) -> None:
    """Enter how long of a step each flower spent above the target and at or below it."""
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            after = mean_flower(batch, state, mass)
            above = share_above(state.before[batch], after, target)
            state.before[batch] = after
            state.record[batch, ABOVE] += hours * above
            state.record[batch, AT_TARGET] += hours * (1.0 - above)


@inlined
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


@inlined
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
    count_damp(mould, humidity, warm, c)
    return activity >= c.botrytis_activity


@inlined
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


@inlined
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


@inlined
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


@inlined
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


@inlined
def take_down(hour: int, state: State, batches: Batches, case: Case) -> int:
    """Take down the batches that are done at the end of an hour; returns how many."""
    down = 0
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            is_dry = state.record[batch, AT_TARGET] >= case.rule.hours_at_target
            is_over = state.record[batch, HUNG] >= case.rule.hours_most
            if is_dry or is_over or hour + 1 >= batches.down_hour[batch]:
                note_risk(batch, state, batches.mass, case)
                state.stage[batch] = GONE
                down += 1
    return down


@inlined
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


@jitable
def start_place(hour: int, state: State, outside: Outside) -> None:
    """Let the place be empty, all batches waiting, its air as outside."""
    for batch in range(state.stage.size):
        state.stage[batch] = WAITING
        for column in range(RECORDS):
            state.record[batch, column] = 0.0
    for tier in range(state.air.shape[0]):
        state.air[tier, TEMPERATURE] = outside.temperature[max(hour - 1, 0)]
        state.air[tier, RATIO] = outside.ratio[max(hour - 1, 0)]


@inlined
def run_hour(hour: int, row: int, case: Case, batches: Batches, state: State, trace: Trace) -> int:
    """One hour of the place, kept in the trace if it has rows; returns how many came down."""
    take_in(hour, state, batches, case.plant)
    dry_hour(hour, row, state, batches.mass, case, trace)
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            note_hour(batch, state, batches, case)
    if trace.air.shape[0] > 0:
        trace_batches(row, state, case, trace)
    return take_down(hour, state, batches, case)


@jitable
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
        left -= run_hour(hour, hour - first, case, batches, state, trace)
    for batch in range(state.stage.size):
        if state.stage[batch] == HANGING:
            note_risk(batch, state, batches.mass, case)
