"""Tables and constants for the drying kernel, made from this package's public formulas.

Powers and exponentials cost the kernel most of its time; a table read in a straight line between
its rows costs little and is right to six digits.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole import moist_air
from tierpole.barn import isotherm, kernel, losses, mould
from tierpole.barn.air import COEFFICIENTS as FLOW
from tierpole.barn.air import OutsideAir
from tierpole.barn.kernel import Constants, Outside, State, Tables, Trace
from tierpole.barn.sky import wind_usual
from tierpole.errors import Fault, InputError

Array = NDArray[np.float64]

_COLDEST, _HOTTEST, _PER_KELVIN = -40.0, 70.0, 10.0
_HUMIDITY_STEPS = 1000
_ACTIVITY_STEPS = 1024
_NEVER = 2.0  # a critical humidity no air reaches


def constants(pressure: float) -> Constants:
    """The numbers the kernel's balances need, from the coefficient tables."""
    air, rot, material = moist_air.COEFFICIENTS, mould.COEFFICIENTS, mould.VERY_SENSITIVE
    return Constants(
        pressure=pressure,
        zero_celsius=air["zero_celsius"],
        mass_ratio=air["mass_ratio"],
        heat_air=air["heat_dry_air"],
        heat_vapour=air["heat_vapour"],
        heat_water=air["heat_water"],
        heat_plant=losses.COEFFICIENTS["heat_plant"],
        latent=air["latent_vapour"],
        speed_reference=FLOW["speed_reference"],
        age_reference=losses.COEFFICIENTS["age_reference"] + air["zero_celsius"],
        dose_wet=rot["dose_wet"],
        dose_coldest=rot["dose_coldest"],
        dose_least=rot["dose_dry_least"],
        speed_start=material.speed_start,
        speed=material.speed,
        most_0=material.most_0,
        most_1=material.most_1,
        most_2=material.most_2,
        slowing=rot["slowing"],
        decline_first=rot["decline_first"],
        decline_first_hours=rot["decline_first_hours"],
        decline_later=rot["decline_later"],
        decline_later_hours=rot["decline_later_hours"],
        index_visible=rot["index_visible"],
        spread_log=float(np.log(losses.COEFFICIENTS["plant_spread"])),
        botrytis_activity=rot["botrytis_activity"],
        burn_humidity=losses.COEFFICIENTS["houseburn_humidity"],
        burn_temperature=losses.COEFFICIENTS["houseburn_temperature"],
    )


def tables(pressure: float) -> Tables:
    """Everything the kernel looks up that depends on the air alone."""
    return Tables(
        by_temperature=_by_temperature(),
        coldest=_COLDEST,
        per_kelvin=_PER_KELVIN,
        by_humidity=_by_humidity(),
        constants=constants(pressure),
    )


def _by_temperature() -> Array:
    """Columns SATURATION, LEVEL, START, DOSE_WARM, CRITICAL, LIMIT of the kernel."""
    t = np.linspace(_COLDEST, _HOTTEST, round((_HOTTEST - _COLDEST) * _PER_KELVIN) + 1)
    can_grow = mould.is_growing(t, 1.0)
    start = np.where(can_grow, 1 / mould.start_time(np.maximum(t, 1e-3), 1.0), 0.0)
    columns = (
        moist_air.saturation_pressure(t),
        isotherm.isotherm_level(t),
        start,
        mould.dose_temperature_factor(t),
        np.where(can_grow, mould.critical_humidity(t), _NEVER),
        mould.isopleth(t),
    )
    return np.ascontiguousarray(np.stack(columns, axis=-1))


def _by_humidity() -> Array:
    """Columns START_DAMP, DOSE_DAMP of the kernel: the start time's humidity factor, the dose's."""
    rh = np.linspace(0, 1, _HUMIDITY_STEPS + 1)
    start = mould.start_time(20.0, 1.0) / mould.start_time(20.0, np.maximum(rh, 1e-6))
    wet = rh > mould.COEFFICIENTS["dose_wet"]
    dose = np.where(wet, mould.dose_humidity_factor(rh), mould.dose_dry_rate(rh))
    return np.ascontiguousarray(np.stack((start, dose), axis=-1))


def activity_table(exponent: ArrayLike) -> Array:
    """Water activity over moisture / (moisture + level), 0 to 1, for each exponent [..., step]."""
    share = np.linspace(0, 1, _ACTIVITY_STEPS + 1)[:-1]
    table = isotherm.activity_of_fill(share / (1 - share), np.asarray(exponent)[..., None])
    return np.concatenate((table, np.ones((*table.shape[:-1], 1))), axis=-1)


def outside(air: OutsideAir) -> Outside:
    """The weather outside as the kernel wants it, all seasons [season, hour]; whole, or refused."""
    shape = air.temperature.shape
    _refuse_gaps(air)
    ratio = moist_air.humidity_ratio(air.temperature, air.humidity, air.pressure)
    volume = moist_air.specific_volume(air.temperature, ratio, air.pressure)
    wind = wind_usual(*shape) if air.wind is None else air.wind
    dark = np.zeros(shape)
    rows = (air.temperature, ratio, volume, wind, _or(air.sun, dark), _or(air.sky, dark))
    return Outside(*(np.ascontiguousarray(values, dtype=float) for values in rows))


def _refuse_gaps(air: OutsideAir) -> None:
    """A missing night would spoil every hour after it without a word."""
    faults = [
        Fault(f"season {row + 1}", name, hours, "known in every hour", "Fill the gap first.")
        for name in ("temperature", "humidity", "wind", "sun", "sky")
        for row, hours in _gaps(getattr(air, name))
    ]
    if faults:
        raise InputError("weather at the barn", faults)


def _gaps(values: Array | None) -> list[tuple[int, str]]:
    """Seasons in which hours are missing, with how many and from which."""
    if values is None:
        return []
    missing = ~np.isfinite(values)
    return [
        (int(row), f"{missing[row].sum()} hours missing from hour {missing[row].argmax()}")
        for row in np.flatnonzero(missing.any(axis=1))
    ]


def _or(values: Array | None, fallback: Array) -> Array:
    return fallback if values is None else values


def new_state(batches: int, tiers: int) -> State:
    """Room for the kernel to work in."""
    return State(
        stage=np.zeros(batches, dtype=np.int8),
        moisture=np.zeros((batches, tiers, kernel.PARTS)),
        branch=np.ones((batches, tiers, kernel.PARTS)),
        mould=np.zeros((batches, tiers, kernel.MOULDS)),
        air=np.zeros((tiers, 2)),
        record=np.zeros((batches, kernel.RECORDS)),
        before=np.zeros(batches),
        gains=np.zeros((batches, tiers, kernel.PARTS, 2)),
        scratch=np.zeros((tiers, kernel.SCRATCH)),
    )


def new_trace(hours: int, batches: int, tiers: int) -> Trace:
    """Room for the hours the kernel is asked to keep; none for no hours."""
    return Trace(
        air=np.full((hours, tiers, 2), np.nan),
        moisture=np.full((hours, batches, tiers, kernel.PARTS), np.nan),
        mould=np.full((hours, batches, tiers), np.nan),
        place=np.zeros((hours, kernel.PLACE_HOURS)),
    )
