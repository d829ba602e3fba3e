"""The crew's sheet for a day: what to cut and where to hang it, in large print, two languages."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from math import ceil
from typing import Any

import xarray as xr

from tierpole.charts import words
from tierpole.charts.reading import as_dates
from tierpole.compliance import LotState
from tierpole.documents.crew_words import (
    Say,
    crew_cautions,
    crew_head,
    crew_words,
    said_bents,
    said_date,
    said_odds,
    said_tiers,
)
from tierpole.documents.parts import Order
from tierpole.documents.tiers import TierDay, tier_days
from tierpole.documents.typeset import Draft, file_name
from tierpole.errors import Fault, InputError
from tierpole.outlook.summary import summarise
from tierpole.plan.harvest import HARVEST
from tierpole.plan.result import Plan, PlannedCut
from tierpole.season import Season

CAUTIONS = ("rails-break", "falls", "heat-and-ladders", "dust")


def crew_sheet(season: Season, outlook: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """The cut sheet of a day; without one of the next day on which something is cut.

    Raises `InputError` for a day that is not of the season.
    """
    day = order.day or next((cut.day for cut in plan.cuts), season.on)
    last = season.day(len(season.days) - 1)
    if not season.first_day <= day <= last:
        allowed = f"a day of the season, from {season.first_day} to {last}"
        raise InputError("paper", [Fault("paper", "day", str(day), allowed)])
    say = crew_words(order.language)
    cuts = [cut for cut in plan.cuts if cut.day == day]
    there = {cut.place: _place_on(season, plan, cut.place, day) for cut in cuts}
    return Draft(
        template="crew_sheet",
        name=file_name("cut-sheet", day.isoformat(), order.language),
        title=f"{say['title']}: {said_date(say, day)}",
        made_on=season.on,
        size=order.size,
        language=order.language,
        data={
            "head": crew_head(season, say),
            "say": say,
            "heading": words.capital(said_date(say, day)),
            "rows": [_row(season, cut, there[cut.place], say) for cut in cuts],
            "sticks": f"{sum(cut.sticks for cut in cuts):,}",
            "facts": list(_facts(season, outlook, plan, cuts, day, say)),
            "there": [
                line for place, on in there.items() for line in _there(season, place, on, say)
            ],
            "down": list(_down(plan, day, say)),
            "cautions": list(crew_cautions(order.language, CAUTIONS)),
        },
    )


def _place_on(season: Season, plan: Plan, place: str, day: date) -> TierDay:
    return next(one for one in tier_days(season, plan, place) if one.day == day)


def _row(season: Season, cut: PlannedCut, day: TierDay, say: Say) -> dict[str, Any]:
    hung = [bundle for bundle in day.hung if bundle.lot == cut.lot]
    return {
        "lot": cut.lot,
        "sticks": f"{cut.sticks:,}",
        "place": cut.place,
        "tiers": said_tiers(say, hung, _top(season, cut.place)),
        "bents": said_bents(say, hung),
    }


def _top(season: Season, place: str) -> int:
    return season.places[season.place_index(place)].tiers


def _there(season: Season, place: str, day: TierDay, say: Say) -> Iterator[str]:
    """What hangs in a place before the day's sticks come, lot by lot."""
    before = [bundle for bundle in day.hanging if bundle not in day.hung]
    for lot in dict.fromkeys(bundle.lot for bundle in before):
        own = [bundle for bundle in before if bundle.lot == lot]
        tiers = ", ".join(said_tiers(say, own, _top(season, place)))
        yield say["there_row"].format(place=place, lot=lot, tiers=tiers, bents=said_bents(say, own))


def _facts(
    season: Season, outlook: xr.Dataset, plan: Plan, cuts: list[PlannedCut], day: date,
    say: Say,
) -> Iterator[dict[str, Any]]:  # fmt: skip
    """What the crew must know before it starts; `stops` marks what forbids cutting."""
    for name in dict.fromkeys(cut.lot for cut in cuts):
        lot = plan.lot(name)
        if lot.state is not LotState.PASSED:
            yield {"text": say["waits"].format(lot=name), "stops": True}
        elif lot.window is not None:
            last = said_date(say, lot.window[1])
            yield {"text": say["passed"].format(lot=name, last=last), "stops": False}
    for name in dict.fromkeys(cut.lot for cut in cuts):
        plants = season.lots[season.lot_index(name)].plants_per_stick
        yield {"text": say["plants"].format(lot=name, plants=plants), "stops": False}
    if cuts:
        hours = ceil(sum(cut.hours for cut in cuts))
        yield {"text": say["hours"].format(hours=hours), "stops": False}
    wet = summarise(outlook["rain"].values[:, season.index(day)] >= HARVEST["rain_stops"]).mean
    yield {"text": say["rain"].format(odds=said_odds(say, wet)), "stops": False}


def _down(plan: Plan, day: date, say: Say) -> Iterator[str]:
    for place in plan.places:
        for when, sticks in zip(as_dates(place.days), place.taken_down, strict=True):
            if when == day and sticks >= 1:
                yield say["down_row"].format(sticks=f"{sticks:,.0f}", place=place.place)
