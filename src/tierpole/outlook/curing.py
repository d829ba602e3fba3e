"""The season in the barn: a table of drying days, losses and mould, and how draws look into it."""

from __future__ import annotations

import hashlib
from collections.abc import MutableMapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from tierpole.barn import (
    BarnDraws,
    OutsideAir,
    draw_barn_parameters,
    dry_table,
    place_air,
    weather_at_barn,
)
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Lot
from tierpole.outlook.sky import Skies
from tierpole.outlook.streams import stream
from tierpole.progress import Tick
from tierpole.season import Season

Array = np.ndarray
Tables = MutableMapping[str, dict[str, Array]]

LOADS = np.array([0.1, 0.5, 1.0])
HANG_HOUR = 14  # of the day; sticks cut in the morning hang in the afternoon

CURING = Table(
    "Curing draws",
    (
        Value(
            "per_season", 2.0, "1", Mark.INFERENCE,
            "sets of drying parameters in each weather season; more change the bands by less than "
            "a day",
        ),
        Value(
            "usual_load", 0.8, "share", Mark.INFERENCE,
            "fill of a place that a plan reckons with before it has chosen one",
        ),
        Value(
            "stick_sold", 1.176, "kg", Mark.INFERENCE,
            "what a stick of 18 lb green, for which the table is made, sells at 10 % moisture",
            note="heavier sticks load a place more, lighter ones less",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Curing:
    """Drying of what is hung in each place on each day at each load, and each draw's own row."""

    drying_days: Array  # [barn_draw, place, cut_day, load]
    drying_loss: Array
    mould_risk: Array
    barn_row: Array  # [draw]
    season_row: Array  # [barn_draw]

    def loss_at(self, load: float | None = None) -> Array:
        """`drying_loss` of every draw at one load [draw, cut_day, place]."""
        at_load = at_one_load(self.drying_loss, load)
        return at_load[self.barn_row].transpose(0, 2, 1)


def at_one_load(table: Array, load: float | None = None) -> Array:
    """A table [..., load] read at one load, straight between the rows."""
    load = CURING["usual_load"] if load is None else load
    above = int(np.clip(np.searchsorted(LOADS, load), 1, len(LOADS) - 1))
    low, high = LOADS[above - 1], LOADS[above]
    part = np.clip((load - low) / (high - low), 0.0, 1.0)
    return table[..., above - 1] * (1.0 - part) + table[..., above] * part


def stick_weight(lot: Lot) -> float:
    """How much a lot's stick loads a place, as a share of the stick the table is made for [1]."""
    return lot.plant_yield * lot.plants_per_stick / CURING["stick_sold"]


def outside_air(season: Season, sky: Skies) -> OutsideAir:
    """The air round the farm's barns, hour by hour in every weather season."""
    return weather_at_barn(sky.daily, sky.hourly, season.farm.latitude, season.farm.elevation)


def barn_parameters(sky: Skies, seed: int) -> tuple[BarnDraws, Array]:
    """Sets of drying parameters, and the weather season of each [barn_draw]."""
    per_season = int(CURING["per_season"])
    season_row = np.repeat(np.arange(len(sky.daily)), per_season)
    return draw_barn_parameters(stream(seed, "barn"), season_row.size), season_row


def curing(
    season: Season, sky: Skies, cut_days: Array, seed: int, tables: Tables | None, tick: Tick
) -> Curing:
    """The drying table, taken from `tables` when the same one was made before."""
    draws, season_row = barn_parameters(sky, seed)
    air = outside_air(season, sky)
    places = [place_air(place) for place in season.places]
    key = _key(air, places, cut_days, seed)
    stored = tables.get(key) if tables is not None else None
    if stored is None:
        made = dry_table(
            air, places, draws, season_row, cut_days * 24 + HANG_HOUR, LOADS,
            tick=lambda share: tick("drying table", share),
        )  # fmt: skip
        names = ("drying_days", "drying_loss", "mould_risk")
        stored = {name: getattr(made, name) for name in names}
        if tables is not None:
            tables[key] = stored
    return Curing(**stored, barn_row=_barn_row(sky, seed), season_row=season_row)


def _barn_row(sky: Skies, seed: int) -> Array:
    """For each draw a barn draw of its own weather season, all used equally often."""
    per_season = int(CURING["per_season"])
    shuffled = np.lexsort((stream(seed, "barn row").permutation(sky.row.size), sky.row))
    number = np.empty_like(sky.row)  # of a draw among those of its weather season
    starts = np.searchsorted(sky.row[shuffled], sky.row[shuffled])
    number[shuffled] = np.arange(sky.row.size) - starts
    return sky.row * per_season + number % per_season


@cache
def _code() -> str:
    """A hash of the drying model's own source, so that a changed formula makes a new table."""
    digest = hashlib.sha256()
    root = resources.files("tierpole")
    barn = root / "barn"
    files = [root / "moist_air.py", *barn.iterdir(), *(barn / "kernel").iterdir()]
    for file in sorted((f for f in files if f.name.endswith(".py")), key=str):
        digest.update(file.read_bytes())
    return digest.hexdigest()


def _key(air: OutsideAir, places: list[Any], cut_days: Array, seed: int) -> str:
    """A hash of everything the table is made from, the code included."""
    digest = hashlib.sha256(f"{_code()} {seed} {air.pressure} {places}".encode())
    weather = (air.temperature, air.humidity, air.wind, air.sun, air.sky)
    for array in (*weather, cut_days, LOADS):
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()[:32]
