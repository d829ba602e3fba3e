"""What the crew sees, in its language: the days of cutting, a day's sheet, a place. No money."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import xarray as xr

from tierpole.barn.advice import Rule
from tierpole.charts import words
from tierpole.documents import Language, Order
from tierpole.documents.crew_sheet import crew_sheet
from tierpole.documents.crew_words import (
    Say,
    crew_words,
    said_date,
    said_sticks,
    short_date,
)
from tierpole.documents.hanging_map import hanging_map
from tierpole.office.views.parts import NotHereError, week_from
from tierpole.office.views.place import latest_reading
from tierpole.outlook.summary import summarise
from tierpole.outlook.watch import Alarm, watch
from tierpole.plan.result import Plan
from tierpole.season import Season
from tierpole.units import System

DAYS_AHEAD = 6  # days of cutting whose sheets are offered


@dataclass(frozen=True)
class CrewCut:
    """A line of the week's cut list."""

    day: str
    lot: str
    sticks: str
    place: str


@dataclass(frozen=True)
class CrewWeek:
    """What is to be cut this week, and the days whose sheets can be printed."""

    sentence: str
    cuts: tuple[CrewCut, ...]
    sheets: tuple[tuple[str, str], ...]
    places: tuple[str, ...]


@dataclass(frozen=True)
class CrewDay:
    """The cut sheet of a day, as the paper has it."""

    day: str
    sentence: str
    sheet: dict[str, Any]


@dataclass(frozen=True)
class CrewHung:
    """What hangs in a place: whose, since when, how wet it last was, when it is likely dry."""

    lot: str
    sticks: str
    hung: str
    moisture: str
    dry: tuple[str, str]


@dataclass(frozen=True)
class CrewPlace:
    """A place as its map has it, with how to air it; `alarm` when mould is near."""

    name: str
    sentence: str
    map: dict[str, Any]
    hangs: tuple[CrewHung, ...]
    airing: Rule | None
    has_vents: bool
    alarm: Alarm | None


def crew_week(season: Season, _: xr.Dataset, plan: Plan, language: Language) -> CrewWeek:
    """The view model of the crew's first page."""
    say = crew_words(language)
    _first, last = week_from(season.on)
    ahead = [cut for cut in plan.cuts if cut.day <= last]
    sticks = said_sticks(say, sum(cut.sticks for cut in ahead))
    sentence = say["week"].format(sticks=sticks) if ahead else say["week_none"]
    cuts = tuple(
        CrewCut(short_date(say, cut.day), cut.lot, f"{cut.sticks:,}", cut.place) for cut in ahead
    )
    days = list(dict.fromkeys(cut.day for cut in plan.cuts))[:DAYS_AHEAD]
    sheets = tuple((day.isoformat(), words.capital(said_date(say, day))) for day in days)
    return CrewWeek(sentence, cuts, sheets, tuple(place.name for place in season.places))


def crew_day(
    season: Season, outlook: xr.Dataset, plan: Plan, day: date, language: Language, system: System
) -> CrewDay:
    """The view model of a day's cut sheet."""
    order = Order(day=day, language=language, system=system)
    sheet = crew_sheet(season, outlook, plan, order).data
    return CrewDay(day.isoformat(), f"{sheet['heading']}.", sheet)


def crew_place(
    season: Season, outlook: xr.Dataset, plan: Plan, name: str, language: Language, system: System
) -> CrewPlace:
    """The view model of a place for the crew; `NotHereError` when there is none of that name."""
    if name not in [place.name for place in season.places]:
        raise NotHereError(name)
    drawn = hanging_map(season, outlook, plan, Order(of=name, language=language, system=system))
    found = watch(season, outlook, name)
    best = found.advice if found else None
    return CrewPlace(
        name=name,
        sentence=drawn.data["sentence"],
        map=drawn.data,
        hangs=tuple(_hangs(season, outlook, name, crew_words(language))),
        airing=(best.rule if best.is_worth_it else best.simple) if best else None,
        has_vents=found.has_vents if found else True,
        alarm=found.alarm if found else None,
    )


def _hangs(season: Season, outlook: xr.Dataset, name: str, say: Say) -> Iterator[CrewHung]:
    free = outlook["free_day"].values
    for number, row in enumerate(season.hanging_now()):
        if row.place != name:
            continue
        days = summarise(free[:, number])
        first, last = (short_date(say, season.day(round(day))) for day in (days.low, days.high))
        read = latest_reading(season, name, row.lot, row.hung_on)
        wet = f"{100 * read.moisture_flower:.0f} %, {short_date(say, read.read_on)}" if read else ""
        yield CrewHung(row.lot, f"{row.sticks:,}", short_date(say, row.hung_on), wet, (first, last))
