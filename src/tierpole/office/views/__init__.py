"""View models: what each page says, from season, outlook and plan alone.

The same model feeds the page, its JSON and, later, its paper. `VIEWS` names them for the office.
"""

from collections.abc import Callable, Iterator
from typing import Any

from tierpole.office.views.crew import crew_day, crew_place, crew_week
from tierpole.office.views.lot import LotPage, lot_page
from tierpole.office.views.papers import Papers, papers
from tierpole.office.views.parts import Head, NotHereError, Number, Phrase, plain
from tierpole.office.views.place import PlacePage, place_page
from tierpole.office.views.rules import Rules, rules
from tierpole.office.views.strip import SeasonPage, season_page
from tierpole.office.views.week import Week, week
from tierpole.office.views.why import Why, why_formula, why_outlook, why_plan, why_value
from tierpole.season import Season
from tierpole.units import System

VIEWS: dict[str, Callable[..., Any]] = {
    "week": week,
    "season": season_page,
    "lot": lot_page,
    "place": place_page,
    "crew_week": crew_week,
    "crew_day": crew_day,
    "crew_place": crew_place,
    "rules": rules,
    "papers": papers,
    "why_plan": why_plan,
    "why_outlook": why_outlook,
    "why_formula": why_formula,
    "why_value": why_value,
}


def pages(season: Season, system: System) -> Iterator[tuple[str, ...]]:
    """The name and arguments of every view behind a page, so that all can be made ahead."""
    yield "week", system
    yield from (("lot", lot.name, system) for lot in season.lots)
    yield from (("place", place.name, system) for place in season.places)
    yield "season", system
    yield ("rules",)
    yield ("papers",)


__all__ = [
    "VIEWS", "Head", "LotPage", "NotHereError", "Number", "Papers", "Phrase", "PlacePage", "Rules",
    "SeasonPage", "Week", "Why", "crew_day", "crew_place", "crew_week", "lot_page", "pages",
    "papers", "place_page", "plain", "rules", "season_page", "week", "why_formula",
    "why_outlook", "why_plan", "why_value",
]  # fmt: skip
