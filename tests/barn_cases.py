"""Plants, weather and places that the barn's tests hang and dry."""

from dataclasses import fields

import numpy as np

from tierpole.barn import BarnDraws, OutsideAir, PlaceAir

MEDIAN_PLANT = {
    "conductance_flower": 7e-9,
    "conductance_stem": 1.5e-9,
    "exposed": 1.0,
    "scale_flower": 1.0,
    "scale_stem": 1.0,
    "exponent": 2.3,
    "moisture_flower": 3.5,
    "moisture_stem": 2.3,
    "mass_flower": 1.29,
    "mass_stem": 0.79,
    "air_factor": 1.0,
    "heat_factor": 1.0,
    "mould_speed": 4.0,
    "mould_decline": 0.1,
    "mould_start": 0.0,
    "dose_critical": 5.0,
    "cannabinoid_loss": 0.02,
    "reading_error": 0.0,
}


def plants(**given):
    """Draws of the median plant; a list makes as many draws as it is long."""
    values = {**MEDIAN_PLANT, **given}
    count = max(np.size(value) for value in values.values())
    assert set(values) == {field.name for field in fields(BarnDraws)}
    return BarnDraws(
        **{k: np.broadcast_to(np.asarray(v, float), count).copy() for k, v in values.items()}
    )


def steady(temperature, humidity, days=46):
    """One season of unchanging air."""
    shape = (1, 24 * days)
    return OutsideAir(np.full(shape, temperature), np.full(shape, humidity))


def autumn(days=46, damp=0.0):
    """One season of made-up autumn: warm dry afternoons, damp nights, a week that is warmer."""
    hour = np.arange(24 * days)
    daily = np.cos(2 * np.pi * (hour - 15) / 24)
    weekly = np.sin(2 * np.pi * hour / (24 * 7))
    temperature = 16 + 6 * daily + 2 * weekly
    humidity = np.clip(0.72 + damp - 0.20 * daily + 0.05 * weekly, 0.3, 0.98)
    return OutsideAir(temperature[None], humidity[None], 98_000.0)


# air that plants cannot change, and a barn that they can
OPEN_AIR = PlaceAir(
    sticks=1e-4, volume=1000.0, air_changes_day=1.0, air_changes_night=1.0,
    heat_day=0.0, heat_night=0.0, walls=0.0,
)  # fmt: skip
BARN = PlaceAir(
    sticks=1000, volume=1450.0, air_changes_day=20 / 3600, air_changes_night=3 / 3600,
    heat_day=6000.0, heat_night=0.0, walls=2500.0,
)  # fmt: skip
