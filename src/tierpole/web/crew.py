"""The crew's own pages and papers, in the language of whoever asks: to do, a day, a place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from tierpole.documents import Language, Order
from tierpole.office.entry import FORMS
from tierpole.office.views.barn import NEVER_ALONE, alarm_words, rule_words
from tierpole.office.views.crew import CrewPlace
from tierpole.web.asking import Asking, Query
from tierpole.web.papers import paper

routes = APIRouter()


@routes.get("/crew")
def crew(query: Asking) -> Response:
    """What the crew is to do, where, and what it can enter."""
    query.desk  # noqa: B018 - says so when the season is a scenario
    week = query.office.view("crew_week", query.language) if query.office.plan else None
    return query.desk_page("crew.html", view=week, forms=FORMS)


@routes.get("/crew/day/{day}.pdf")
def day_paper(query: Asking, day: date, language: Language | None = None) -> Response:
    """The cut sheet of a day to print; the owner may ask for another language."""
    spoken = language or query.language
    return paper(query, "crew", Order(day=day, language=spoken, system=query.units))


@routes.get("/crew/day/{day}")
def day_page(query: Asking, day: date) -> Response:
    """The cut sheet of a day."""

    def shown() -> Response:
        view = query.office.view("crew_day", day, query.language, query.units)
        return query.desk_page("crew_day.html", view=view)

    return _given(query, shown)


@routes.get("/crew/map/{name:path}")
def map_paper(query: Asking, name: str, language: Language | None = None) -> Response:
    """The hanging map of a place to print."""
    order = Order(of=name, language=language or query.language, system=query.units)
    return paper(query, "map", order)


def place_page(query: Query, name: str) -> Response:
    """A place as the crew sees it."""

    def shown() -> Response:
        view: CrewPlace = query.office.view("crew_place", name, query.language, query.units)
        return query.desk_page("crew_place.html", view=view, airing=_airing(query, view))

    return _given(query, shown)


def _given(query: Query, make: Callable[[], Response]) -> Response:
    """An answer that needs a plan; until there is one, the crew's first page says so."""
    if query.office.plan is None and not query.asked.as_json:
        return RedirectResponse(query.asked.link("/crew"), 303)
    return query.given(make)


def _airing(query: Query, view: CrewPlace) -> tuple[str, ...]:
    """What to do with vents and fans: an alarm first, a heater never without its caution."""
    t, rule = query.asked.t, view.airing
    said = [alarm_words(view.alarm, t)]
    if rule is not None:
        said.append(f"{rule_words(rule, view.has_vents, t)}.")
        said += [t(NEVER_ALONE)] if rule.heat_above < 1 else []
    return tuple(text for text in said if text)
