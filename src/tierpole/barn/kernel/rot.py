"""Mould on a batch in a tier, hour by hour, by both published models."""

from __future__ import annotations

from math import erf, exp, log

from tierpole.barn.kernel.data import (
    CRITICAL,
    DAY_HUMIDITY,
    DAY_WARM,
    DOSE,
    DOSE_DAMP,
    DOSE_WARM,
    HOURS_DRY,
    INDEX,
    LIMIT,
    LONGEST_DAMP,
    RUN_DAMP,
    START,
    START_DAMP,
    Array,
    Case,
    Constants,
    Plant,
    Tables,
)
from tierpole.barn.kernel.jit import inlined, jitable
from tierpole.barn.kernel.look import by_temperature, interpolate


@inlined
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


@inlined
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


@inlined
def count_damp(mould: Array, humidity: float, warm: float, c: Constants) -> None:
    """Hours on end whose last day was damp and warm, see `losses.COEFFICIENTS` on houseburn."""
    mould[DAY_HUMIDITY] += (humidity - mould[DAY_HUMIDITY]) / 24.0
    mould[DAY_WARM] += (warm - mould[DAY_WARM]) / 24.0
    if mould[DAY_HUMIDITY] > c.burn_humidity and mould[DAY_WARM] > c.burn_temperature:
        mould[RUN_DAMP] += 1.0
        mould[LONGEST_DAMP] = max(mould[LONGEST_DAMP], mould[RUN_DAMP])
    else:
        mould[RUN_DAMP] = 0.0


@jitable
def normal_share(x: float) -> float:
    """Share of a standard normal below x."""
    return 0.5 * (1.0 + erf(x * 0.7071067811865476))


@inlined
def chance_of(mould: Array, plant: Plant, c: Constants) -> float:
    """Chance that mould is seen on a stick, see `losses.mould_chance`; `mould` is [column]."""
    chance = 0.0
    if mould[DOSE] > 0.0:
        chance += 0.5 * normal_share(log(mould[DOSE] / plant.dose_visible) / c.spread_log)
    if mould[INDEX] > 0.0:
        chance += 0.5 * normal_share(log(mould[INDEX] / c.index_visible) / c.spread_log)
    return chance
