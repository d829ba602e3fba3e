"""Plants, weather and places that the barn's tests hang and dry."""

from dataclasses import fields

import numpy as np

from tierpole.barn import BarnDraws, OutsideAir, PlaceAir

MEDIAN_PLANT = {
    "conductance_flower": 7e-9,
    "conductance_leaf": 1e-8,
    "conductance_stem": 1.5e-9,
    "exposed": 1.0,
    "scale_flower": 1.0,
    "scale_stem": 1.0,
    "exponent": 2.3,
    "loop": 0.01,
    "moisture_flower": 3.5,
    "moisture_leaf": 3.5,
    "moisture_stem": 2.3,
    "mass_flower": 0.84,
    "mass_leaf": 0.45,
    "mass_stem": 0.79,
    "vents": 0.42,
    "shelter": 0.6,
    "canopy": 0.8,
    "leaks": 0.012,
    "heat_factor": 1.0,
    "mould_speed": 4.0,
    "mould_decline": 0.1,
    "mould_start": 0.0,
    "dose_critical": 5.0,
    "cannabinoid_loss": 0.02,
    "decarboxylation": 6e-4,
    "ageing": 85e3,
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


def steady(temperature, humidity, days=46, **given):
    """One season of unchanging air, dark and under cloud."""
    shape = (1, 24 * days)
    rows = {key: np.full(shape, float(value)) for key, value in given.items()}
    return OutsideAir(np.full(shape, temperature), np.full(shape, humidity), **rows)


def autumn(days=46, damp=0.0):
    """One season of made-up autumn: warm dry afternoons, damp nights, a week that is warmer."""
    hour = np.arange(24 * days)
    daily = np.cos(2 * np.pi * (hour - 15) / 24)
    weekly = np.sin(2 * np.pi * hour / (24 * 7))
    temperature = 16 + 6 * daily + 2 * weekly
    humidity = np.clip(0.72 + damp - 0.20 * daily + 0.05 * weekly, 0.3, 0.98)
    sun = np.maximum(600 * np.cos(2 * np.pi * (hour + 0.5 - 12) / 24), 0.0)
    sky = np.full(hour.size, 45.0)
    wind = 2.8 + 0.7 * daily
    return OutsideAir(temperature[None], humidity[None], 98_000.0, wind[None], sun[None], sky[None])


# air that plants cannot change, and a barn that they can
OPEN_AIR = PlaceAir(sticks=1e-4, volume=1000.0, leaks=1.0, wall_area=1e4)
BARN = PlaceAir(
    sticks=1000, volume=1450.0, tiers=3, vent_area=18.0, leaks=1.0, wall_area=350.0, height=6.0,
    walls=2500.0, roof=265.0, sun=0.12, transmittance=4.0, store=5e6, floor=3e-6,
)  # fmt: skip
SHED = PlaceAir(
    sticks=1000, volume=900.0, tiers=2, leaks=1.0, wall_area=250.0, fan_flow=10.0, fan_speed=0.3,
    heater=5e3, walls=1500.0, roof=190.0, sun=0.12, transmittance=4.0, store=3e6,
    fans_by_night=0.25,
)  # fmt: skip


def moisture_of(trace, part):
    """Moisture of "flower", "leaf" or "stem", mean over tiers hung evenly [draw, batch, hour]."""
    return trace.moisture[:, :, :, ("flower", "leaf", "stem").index(part)].mean(axis=2)
