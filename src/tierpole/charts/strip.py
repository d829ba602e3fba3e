"""The season strip: every lot, every place and the frost on one axis of days.

All rows share one coordinate system, so that one rule can mean today for everything and a line
can lead from a cut to the place it hangs in. Vertical units are rows: a lot takes one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
import xarray as xr

from tierpole.charts import strip_marks as marks
from tierpole.charts import words
from tierpole.charts.chart import Chart, Table, finish
from tierpole.charts.reading import (
    as_dates,
    chance_frozen,
    chance_over,
    coldest_offset,
    dates,
    first_at,
    of_lot,
    runs,
)
from tierpole.farm import Lot, Place
from tierpole.outlook.summary import summarise
from tierpole.plan.result import LotPlan, PlacePlan, Plan, PlannedCut
from tierpole.season import Season
from tierpole.units import System

ROW = 66  # pixels a lot's row takes
TIMELINE = 0.78  # where in its row a lot's line of time lies
BLOCK = 0.46  # height of the largest day's cutting
RIBBON = 0.13  # height of the shading
PLACE = 0.92  # rows a place takes
FROST = 1.25  # rows the frost takes
SHADES = 10  # steps of the shading
FREEZING = 0.0  # °C, 32 °F


@dataclass(frozen=True)
class _Scene:
    """What is drawn, and where its rows lie."""

    season: Season
    outlook: xr.Dataset
    plan: Plan
    system: System

    @property
    def first(self) -> date:
        """The left edge: a few days before the first lot was set."""
        return min(lot.set_on for lot in self.season.lots) - timedelta(days=4)

    @property
    def last(self) -> date:
        """The right edge: ten days after the last stick is dry, at the latest the season's end."""
        ends = [cut.dry_on for cut in self.plan.cuts]
        ends += [plan.window[1] for plan in self.plan.lots if plan.window]
        end = max(ends, default=self.season.on) + timedelta(days=10)
        return min(end, date(self.season.year, 12, 31))

    @property
    def places_top(self) -> float:
        """Where the rows of the places begin."""
        return len(self.season.lots) + 0.25

    @property
    def frost_top(self) -> float:
        """Where the row of the frost begins."""
        return self.places_top + PLACE * len(self.season.places) + 0.2

    @property
    def height(self) -> float:
        """Rows in all."""
        return self.frost_top + FROST

    @cached_property
    def days(self) -> list[date]:
        """The calendar days of the season."""
        return dates(self.outlook, "day")

    @cached_property
    def most_cut(self) -> int:
        """The most sticks of one lot cut in one day: the full height of a block."""
        planned = [cut.sticks for cut in self.plan.cuts]
        return max([*planned, *(cut.sticks for cut in self.season.cuts)], default=1)

    def line_of(self, lot: str) -> float:
        """The height of a lot's line of time."""
        return self.season.lot_index(lot) + TIMELINE

    def floor_of(self, place: str) -> float:
        """The height of a place's floor."""
        return self.places_top + PLACE * (self.season.place_index(place) + 1) - 0.06


def season_strip(season: Season, outlook: xr.Dataset, plan: Plan, system: System = "us") -> Chart:
    """Every lot from setting to stripping, every place's load and the frost, on one time axis."""
    scene = _Scene(season, outlook, plan, system)
    layers = [
        *marks.ground(scene.first, scene.last, season.on),
        *marks.growing([_growing(scene, lot) for lot in season.lots], scene.height),
        marks.ribbon([row for lot in season.lots for row in _shades(scene, lot)]),
        *marks.crossings([row for lot in season.lots for row in _crossing(scene, lot)]),
        *marks.brackets([row for lot in plan.lots for row in _bracket(scene, lot)]),
        *marks.tails([*_planned_tails(scene), *_hanging_tails(scene)]),
        *marks.blocks([*_past_blocks(scene), *_planned_blocks(scene)]),
        *marks.samples([row for lot in plan.lots for row in _sample(scene, lot)]),
        *marks.rooms([row for place in plan.places for row in _load(scene, place)],
                     [row for place in plan.places for row in _capacity(scene, place)],
                     [row for place in season.places for row in _tobacco(scene, place)]),
        *marks.names([*_lot_names(scene), *_place_names(scene)]),
        *marks.frost(_frost(scene), _frost_labels(scene), scene.frost_top + FROST - 0.1),
        *marks.links(_links(scene)),
    ]  # fmt: skip
    return finish(layers, round(ROW * scene.height), _sentence(scene), _table(scene))


# --- rows of the lots ---------------------------------------------------------------------------


def _growing(scene: _Scene, lot: Lot) -> marks.Row:
    flowers = summarise(of_lot(scene.outlook, "flower_day", lot.name))
    start, end = (scene.season.day(round(day)) for day in (flowers.low, flowers.high))
    return {
        "day": lot.set_on, "to": _last_day(scene, lot.name), "y": scene.line_of(lot.name),
        "low": start, "high": end,
        "says": f"{lot.name}: set {words.short_day(lot.set_on)}, flowers {words.span(start, end)} "
        "in 8 of 10 seasons",
    }  # fmt: skip


def _shades(scene: _Scene, lot: Lot) -> Iterator[marks.Row]:
    """The shading of one lot: stretches of days with the same step of chance."""
    line = scene.line_of(lot.name)
    chances = chance_over(scene.season, scene.outlook, lot.name)
    end = _last_day(scene, lot.name)
    for first, last, step in runs(np.round(chances * SHADES).astype(int)):
        start, stop = scene.days[first], min(scene.days[last] + timedelta(days=1), end)
        if step and start < end:
            yield {
                "day": start, "to": stop, "y": line, "y2": line + RIBBON, "shade": step / SHADES,
                "says": f"{lot.name}: over the limit in about {2 * step} of 20 seasons "
                f"({words.span(start, stop)})",
            }  # fmt: skip


def _last_day(scene: _Scene, lot: str) -> date:
    """Where a lot's shading ends: with its window or its last cut, whichever is later."""
    plan = scene.plan.lot(lot)
    ends = [cut.day for cut in plan.cuts] + ([plan.window[1]] if plan.window else [])
    return max(ends, default=scene.last) + timedelta(days=1)


def _crossing(scene: _Scene, lot: Lot) -> Iterator[marks.Row]:
    half = first_at(chance_over(scene.season, scene.outlook, lot.name), 0.5, scene.days)
    if half is not None and half <= _last_day(scene, lot.name):
        yield {
            "day": half, "y": scene.line_of(lot.name) + RIBBON, "up": scene.line_of(lot.name),
            "says": f"over the limit in half the seasons from {words.short_day(half)}",
            "short": f"half over: {words.short_day(half)}",
        }  # fmt: skip


def _bracket(scene: _Scene, lot: LotPlan) -> Iterator[marks.Row]:
    if lot.window is None:
        return
    first, last = lot.window
    top = scene.line_of(lot.lot) - BLOCK - 0.06
    yield {
        "day": first, "to": last + timedelta(days=1), "y": top, "y2": top + 0.1,
        "says": f"{lot.lot}: may be cut {words.span(first, last)}",
    }  # fmt: skip


def _sample(scene: _Scene, lot: LotPlan) -> Iterator[marks.Row]:
    if lot.sample_on is None:
        return
    passes = f", passes in {words.odds(lot.p_pass)}" if lot.p_pass is not None else ""
    yield {
        "day": lot.sample_on, "y": scene.line_of(lot.lot) - 0.12,
        "done": lot.sample_on < scene.season.on,
        "says": f"{lot.lot}: official sample {words.day(lot.sample_on)}{passes}",
    }  # fmt: skip


def _planned_blocks(scene: _Scene) -> list[marks.Row]:
    return [
        _block(scene, cut.lot, cut.day, cut.sticks, f"to {cut.place}", f"cut-{number}")
        for number, cut in enumerate(scene.plan.cuts)
    ]


def _past_blocks(scene: _Scene) -> list[marks.Row]:
    return [_block(scene, cut.lot, cut.cut_on, cut.sticks, "(done)", "")
            for cut in scene.season.cuts]  # fmt: skip


def _block(scene: _Scene, lot: str, when: date, sticks: int, where: str, key: str) -> marks.Row:
    line = scene.line_of(lot)
    return {
        "day": when, "to": when + timedelta(days=1), "y": line,
        "y2": line - BLOCK * sticks / scene.most_cut, "id": key, "done": not key,
        "says": f"{lot}: {words.counted(sticks, 'stick')} cut {words.day(when)} {where}",
    }  # fmt: skip


def _planned_tails(scene: _Scene) -> list[marks.Row]:
    return [_tail(scene, cut.lot, cut.day, cut.dry_on) for cut in scene.plan.cuts]


def _hanging_tails(scene: _Scene) -> list[marks.Row]:
    dry = scene.outlook["free_day"].values
    hanging = scene.season.hanging_now()
    return [
        _tail(scene, row.lot, row.hung_on, scene.season.day(round(summarise(dry[:, k]).high)))
        for k, row in enumerate(hanging)
    ]


def _tail(scene: _Scene, lot: str, hung: date, dry: date) -> marks.Row:
    return {
        "day": hung, "to": dry, "y": scene.line_of(lot) - 0.035,
        "says": f"{lot}: hung {words.day(hung)}, dry by {words.day(dry)} in 8 of 10 seasons",
    }  # fmt: skip


def _lot_names(scene: _Scene) -> list[marks.Row]:
    return [
        {"y": number + 0.14, "name": lot.name, "more": lot.variety}
        for number, lot in enumerate(scene.season.lots)
    ]


# --- rows of the places and of the frost --------------------------------------------------------


def _load(scene: _Scene, place: PlacePlan) -> Iterator[marks.Row]:
    """The corners of a place's stepped load."""
    floor, most, days = scene.floor_of(place.place), _most(place), as_dates(place.days)
    sticks, last = 0, days[-1] + timedelta(days=1)
    for first, _, sticks in runs(np.round(place.hanging).astype(int)):
        yield {"day": days[first], "y": floor - 0.55 * sticks / most, "y2": floor,
               "place": place.place}  # fmt: skip
    yield {"day": last, "y": floor - 0.55 * sticks / most, "y2": floor, "place": place.place}


def _capacity(scene: _Scene, place: PlacePlan) -> Iterator[marks.Row]:
    floor, most, days = scene.floor_of(place.place), _most(place), as_dates(place.days)
    for first, last, room in runs(np.round(place.capacity).astype(int)):
        if room:
            yield {
                "day": days[first], "to": days[last] + timedelta(days=1),
                "y": floor - 0.55 * room / most, "says": f"room for {room:,} sticks",
            }  # fmt: skip


def _tobacco(scene: _Scene, place: Place) -> list[marks.Row]:
    """The stretch in which something else hangs in a place, hatched."""
    free = place.free_from or scene.first
    floor = scene.floor_of(place.name)
    return marks.hatch(scene.first, max(free, scene.first), floor, floor - 0.55)


def _place_names(scene: _Scene) -> Iterator[marks.Row]:
    for plan in scene.plan.places:
        place = scene.season.places[scene.season.place_index(plan.place)]
        until = place.free_from is not None and place.free_from > scene.season.on
        held = f", {place.occupied_by or 'taken'} until {words.short_day(place.free_from)}" if (
            until and place.free_from) else ""  # fmt: skip
        yield {
            "y": scene.floor_of(plan.place) - PLACE + 0.16, "name": plan.place,
            "more": f"{words.counted(_most(plan), 'stick')} of room{held}",
        }  # fmt: skip


def _most(place: PlacePlan) -> int:
    return max(1, round(float(place.capacity.max())), round(float(place.hanging.max())))


def _frost(scene: _Scene) -> list[marks.Row]:
    floor = scene.frost_top + FROST - 0.1
    season = scene.season
    shown = range(season.index(date(season.year, 9, 1)), season.index(scene.last))
    courses = [
        chance_frozen(season, scene.outlook, offset, FREEZING) for offset in _offsets(season)
    ]
    return [
        {"day": scene.days[number], "y": floor - 0.8 * chances[number], "kind": kind}
        for kind, chances in enumerate(courses)
        for number in shown
    ]


def _offsets(season: Season) -> list[float]:
    """The station's nights and, where a field is colder, the coldest field's."""
    coldest = coldest_offset(season)
    return [0.0, coldest] if coldest < 0 else [0.0]


def _frost_labels(scene: _Scene) -> list[marks.Row]:
    return [
        {"day": half, "y": scene.frost_top + 0.18 + 0.2 * kind, "kind": kind, "says": says,
         "short": says.replace("half the seasons by", "half by").replace(" than the station", "")}
        for kind, (half, says) in enumerate(_frost_words(scene))
    ]  # fmt: skip


def _frost_words(scene: _Scene) -> Iterator[tuple[date, str]]:
    """For each level of cold, when half the seasons have had it and how that is said."""
    cold = words.temperature(FREEZING, scene.system)
    for offset in _offsets(scene.season):
        chances = chance_frozen(scene.season, scene.outlook, offset, FREEZING)
        half = first_at(chances, 0.5, scene.days) or scene.last
        where = _coldest_name(scene.season) if offset else "the station"
        apart = f" ({words.offset(offset, scene.system)})" if offset else ""
        yield half, f"{cold} at {where}{apart}: half the seasons by {words.short_day(half)}"


def _coldest_name(season: Season) -> str:
    return min(season.fields, key=lambda field: field.night_offset).name


def _links(scene: _Scene) -> list[marks.Row]:
    return [
        {
            "day": cut.day, "to": cut.day + timedelta(days=1), "y": scene.line_of(cut.lot),
            "y2": scene.floor_of(cut.place) - 0.3, "id": f"cut-{number}", "says": cut.place,
        }
        for number, cut in enumerate(scene.plan.cuts)
    ]  # fmt: skip


# --- said and written ---------------------------------------------------------------------------


def _sentence(scene: _Scene) -> str:
    cuts = scene.plan.cuts
    if not cuts:
        return "Nothing is left to cut this season."
    left = sum(lot.sticks_left for lot in scene.plan.lots)
    sticks = words.counted(sum(cut.sticks for cut in cuts), "stick")
    ending = f"; {words.counted(left, 'stick')} stay in the field" if left else ""
    return (
        f"{sticks} are cut between {words.short_day(cuts[0].day)} and "
        f"{words.short_day(cuts[-1].day)} and the last is dry by "
        f"{words.short_day(max(cut.dry_on for cut in cuts))}{ending}."
    )


def _table(scene: _Scene) -> Table:
    rows = [row for lot in scene.season.lots for row in _lot_rows(scene, lot)]
    rows += [row for place in scene.plan.places for row in _place_rows(place)]
    rows += [("Frost", "", "", says) for _, says in _frost_words(scene)]
    return Table(("Lot or place", "What", "When", "How much"), tuple(rows))


def _lot_rows(scene: _Scene, lot: Lot) -> Iterator[tuple[str, str, str, str]]:
    plan = scene.plan.lot(lot.name)
    flowers = summarise(of_lot(scene.outlook, "flower_day", lot.name))
    days = (scene.season.day(round(day)) for day in (flowers.low, flowers.high))
    yield lot.name, "flowers", words.span(*days), "in 8 of 10 seasons"
    if plan.sample_on is not None and plan.p_pass is not None:
        yield lot.name, "official sample", words.day(plan.sample_on), words.odds(plan.p_pass)
    if plan.window is not None:
        yield lot.name, "may be cut", words.span(*plan.window), ""
    for row in _crossing(scene, lot):
        yield lot.name, "limit", words.short_day(row["day"]), row["says"]
    for cut in plan.cuts:
        yield lot.name, "cut", words.day(cut.day), _cut_words(cut)


def _cut_words(cut: PlannedCut) -> str:
    return (
        f"{words.counted(cut.sticks, 'stick')} to {cut.place}, dry by {words.short_day(cut.dry_on)}"
    )


def _place_rows(place: PlacePlan) -> Iterator[tuple[str, str, str, str]]:
    days, most = as_dates(place.days), int(np.argmax(place.hanging))
    hanging = words.counted(float(place.hanging[most]), "stick")
    yield place.place, "fullest", words.day(days[most]), f"{hanging} of {_most(place):,}"
