"""The crew's sheet for a day: what to cut and where to hang it, in large print, two languages."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from datetime import date
from functools import cache
from importlib.resources import files
from math import ceil
from typing import Any

import xarray as xr

from tierpole.charts import words
from tierpole.charts.reading import as_dates
from tierpole.compliance import LotState
from tierpole.documents.parts import Order, head
from tierpole.documents.tiers import tier_days
from tierpole.documents.typeset import Draft, Language, file_name
from tierpole.outlook.summary import summarise
from tierpole.plan.harvest import HARVEST
from tierpole.plan.result import Plan, PlannedCut
from tierpole.rulebook import cautions
from tierpole.season import Season

CAUTIONS = ("rails-break", "falls", "heat-and-ladders", "dust")


def crew_sheet(season: Season, outlook: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """The cut sheet of a day; without one of the next day on which something is cut."""
    day = order.day or next((cut.day for cut in plan.cuts), season.on)
    say = crew_words(order.language)
    cuts = [cut for cut in plan.cuts if cut.day == day]
    title = f"{say['title']}: {_date(say, day)}"
    return Draft(
        template="crew_sheet",
        name=file_name("cut-sheet", day.isoformat(), order.language),
        title=title,
        made_on=season.on,
        size=order.size,
        language=order.language,
        data={
            "head": {
                **head(season),
                "seen": _date(say, season.on),
                "invented": _invented(season, say),
            },
            "say": say,
            "heading": words.capital(_date(say, day)),
            "rows": list(_rows(season, plan, cuts, say)),
            "sticks": f"{sum(cut.sticks for cut in cuts):,}",
            "facts": list(_facts(season, outlook, plan, cuts, day, say)),
            "down": list(_down(plan, day, say)),
            "cautions": list(_cautions(order.language)),
        },
    )


@cache
def crew_words(language: Language) -> dict[str, Any]:
    """The words of the sheet in a language."""
    text = (files("tierpole.documents") / "crew_words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)[language]


def _rows(
    season: Season, plan: Plan, cuts: list[PlannedCut], say: dict[str, Any]
) -> Iterator[dict[str, Any]]:
    for cut in cuts:
        top = season.places[season.place_index(cut.place)].tiers
        day = next(day for day in tier_days(season, plan, cut.place) if day.day == cut.day)
        hung = [bundle for bundle in day.hung if bundle.lot == cut.lot]
        yield {
            "lot": cut.lot,
            "sticks": f"{cut.sticks:,}",
            "place": cut.place,
            "tiers": [f"{_tier(b.tier, top, say)}: {b.sticks:,}" for b in hung],
        }


def _tier(tier: int | None, top: int, say: dict[str, Any]) -> str:
    if tier is None:
        return say["tier_any"]
    return say["tier_top"].format(tier=tier) if tier == top > 1 else str(tier)


def _facts(
    season: Season, outlook: xr.Dataset, plan: Plan, cuts: list[PlannedCut], day: date,
    say: dict[str, Any],
) -> Iterator[dict[str, Any]]:  # fmt: skip
    """What the crew must know before it starts; `stops` marks what forbids cutting."""
    for name in dict.fromkeys(cut.lot for cut in cuts):
        lot = plan.lot(name)
        if lot.state is not LotState.PASSED:
            yield {"text": say["waits"].format(lot=name), "stops": True}
        elif lot.window is not None:
            last = _date(say, lot.window[1])
            yield {"text": say["passed"].format(lot=name, last=last), "stops": False}
    for name in dict.fromkeys(cut.lot for cut in cuts):
        plants = season.lots[season.lot_index(name)].plants_per_stick
        yield {"text": say["plants"].format(lot=name, plants=plants), "stops": False}
    if cuts:
        hours = ceil(sum(cut.hours for cut in cuts))
        yield {"text": say["hours"].format(hours=hours), "stops": False}
    wet = summarise(outlook["rain"].values[:, season.index(day)] >= HARVEST["rain_stops"]).mean
    yield {"text": say["rain"].format(odds=_odds(wet, say)), "stops": False}


def _down(plan: Plan, day: date, say: dict[str, Any]) -> Iterator[str]:
    for place in plan.places:
        for when, sticks in zip(as_dates(place.days), place.taken_down, strict=True):
            if when == day and sticks >= 1:
                yield say["down_row"].format(sticks=f"{sticks:,.0f}", place=place.place)


def _cautions(language: Language) -> Iterator[str]:
    own = crew_words(language).get("caution")
    for caution in cautions("barn"):
        if caution.key in CAUTIONS:
            yield own[caution.key] if own else caution.says


def _invented(season: Season, say: dict[str, Any]) -> str:
    """What is not real, in the words of the sheet."""
    farm = say["invented_farm"] if season.farm.is_invented else ""
    year = season.stand_in_year
    return f"{farm} {say['stand_in'].format(year=year) if year else ''}".strip()


def _odds(chance: float, say: dict[str, Any]) -> str:
    """A chance as `5 of 20` in the words of the sheet."""
    said = words.short_odds(chance)
    for phrase, own in (("fewer than", "fewer"), ("more than", "more"), ("of", "of")):
        said = said.replace(f"{phrase} ", f"{say[own]} ")
    return said


def _date(say: dict[str, Any], day: date) -> str:
    weekday, month = say["weekdays"][day.weekday()], say["months"][day.month - 1]
    return say["date"].format(weekday=weekday, day=day.day, month=month)
