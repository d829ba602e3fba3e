"""One place to cure: what hangs there, when it is full, how drying goes, what may go wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
import xarray as xr

from tierpole import charts
from tierpole.barn.geometry import place_capacity
from tierpole.charts import Chart, words
from tierpole.charts.ground import TOOL_LIMIT
from tierpole.charts.places import fullest, open_from, place_plan
from tierpole.farm import Place, Reading
from tierpole.office.views.barn import BarnNow, barn_now, elevation_of, room_notes
from tierpole.office.views.parts import Head, NotHereError, Number, Phrase, head
from tierpole.outlook.summary import summarise
from tierpole.plan.result import PlacePlan, Plan
from tierpole.rulebook import Caution, cautions
from tierpole.season import Season
from tierpole.units import System, show


@dataclass(frozen=True)
class Hung:
    """Sticks of one hanging, how wet they last were and when they are dry."""

    lot: str
    sticks: int
    hung: str
    moisture: str
    dry: Number


@dataclass(frozen=True)
class ToHang:
    """Sticks the plan brings into the place on a day."""

    day: str
    lot: str
    sticks: int
    dry_by: str


@dataclass(frozen=True)
class PlacePage:
    """The page of one place."""

    head: Head
    name: str
    about: str
    sentence: str
    facts: tuple[tuple[str, Phrase], ...]
    hangs: tuple[Hung, ...]
    to_hang: tuple[ToHang, ...]
    side: Chart
    notes: tuple[str, ...]
    now: BarnNow | None
    load: Chart
    drying: Chart
    mould: Chart
    assumed: tuple[str, ...]
    cautions: tuple[Caution, ...]
    limits: tuple[str, ...]


def place_page(
    season: Season, outlook: xr.Dataset, plan: Plan, name: str, system: System
) -> PlacePage:
    """The view model of a place; `NotHereError` when there is none of that name."""
    if name not in [place.name for place in season.places]:
        raise NotHereError(name)
    load = place_plan(plan, name)
    place = season.places[season.place_index(name)]
    found, side = elevation_of(season, name)
    return PlacePage(
        head=head(season, plan),
        name=name,
        about=_about(place, system),
        sentence=_sentence(season, place, load),
        facts=tuple(_facts(season, outlook, place, load)),
        hangs=tuple(_hangs(season, outlook, name)),
        to_hang=tuple(_to_hang(plan, name)),
        side=side,
        notes=tuple(room_notes(season, outlook, found, system)),
        now=barn_now(season, outlook, name, system),
        load=charts.place_load(season, plan, name),
        drying=charts.drying(season, outlook, plan, name),
        mould=charts.mould(season, outlook, plan, name),
        assumed=tuple(_assumed(place)),
        cautions=cautions("barn"),
        limits=(NO_BARN_RECORD, TOOL_LIMIT),
    )


NO_BARN_RECORD = (
    "No measured record of hemp drying in an air-cured barn was found to check these days against. "
    "Weigh a few sticks or read their moisture and write it down: a reading moves the forecast."
)


def _about(place: Place, system: System) -> str:
    length = show(place.run_length, "a length", system, 2)
    return (
        f"{words.capital(str(place.kind))}: {words.counted(place.tiers, 'tier')}, "
        f"{words.counted(place.runs, 'run')} of {length}, room for "
        f"{words.counted(place_capacity(place), 'stick')}."
    )


def _sentence(season: Season, place: Place, load: PlacePlan) -> str:
    full = fullest(load)
    if open_from(season, place.name) > season.on:
        until = words.long_day(open_from(season, place.name))
        return (
            f"{place.name} holds {place.occupied_by or 'something else'} until {until}; it {full}."
        )
    room, hanging = float(load.capacity[0]), float(load.hanging[0])
    free = f"{max(0.0, room - hanging):,.0f} of {room:,.0f} sticks are free in {place.name} now"
    return f"{free}; it {full}."


def _facts(
    season: Season, outlook: xr.Dataset, place: Place, load: PlacePlan
) -> Iterator[tuple[str, Phrase]]:
    why = f"plan/room/{place.name}"
    yield "Hanging now", (Number(words.counted(float(load.hanging[0]), "stick"), why),)
    yield "Room now", (Number(words.counted(float(load.capacity[0]), "stick"), why),)
    opening = open_from(season, place.name)
    days = summarise(_half_full(outlook, place.name, opening))
    dry = Number(f"{days.low:.0f} to {days.high:.0f} days", f"plan/dry/{place.name}", True)
    yield f"Hung {words.short_day(opening)}, half full, dry in", (dry, " in 8 of 10 seasons")


def _half_full(outlook: xr.Dataset, place: str, day: date) -> np.ndarray:
    """Days until dry [barn_draw] of what is hung on the day nearest to `day`."""
    days = outlook["drying_days"].sel(place=place).sel(load=0.5, method="nearest")
    return np.asarray(days.sel(cut_day=np.datetime64(day), method="nearest").values, dtype=float)


def _hangs(season: Season, outlook: xr.Dataset, name: str) -> Iterator[Hung]:
    free = outlook["free_day"].values
    for number, row in enumerate(season.hanging_now()):
        if row.place != name:
            continue
        days = summarise(free[:, number])
        first, last = (season.day(round(day)) for day in (days.low, days.high))
        dry = Number(f"{words.span(first, last)} in 8 of 10", f"plan/hanging/{name}")
        reading = latest_reading(season, name, row.lot, row.hung_on)
        said = f"{100 * reading.moisture_flower:.0f} % on {words.day(reading.read_on)}" if (
            reading) else "not read yet"  # fmt: skip
        yield Hung(row.lot, row.sticks, words.day(row.hung_on), said, dry)


def latest_reading(season: Season, place: str, lot: str, hung_on: date) -> Reading | None:
    """The latest reading of one hanging."""
    found = [r for r in season.readings if (r.place, r.lot, r.hung_on) == (place, lot, hung_on)]
    return max(found, key=lambda reading: reading.read_on, default=None)


def _to_hang(plan: Plan, name: str) -> Iterator[ToHang]:
    for cut in plan.cuts:
        if cut.place == name:
            yield ToHang(words.day(cut.day), cut.lot, cut.sticks, words.short_day(cut.dry_on))


def _assumed(place: Place) -> Iterator[str]:
    if place.air_changes_day is None or place.air_changes_night is None:
        yield (
            f"The air exchange of {place.name} is taken from its kind ({place.kind}). A "
            "thermometer and a humidity gauge inside would tell more than any default."
        )
    if place.heat_gain_day is None:
        yield f"The sun's heat on {place.name} is taken from its kind."
