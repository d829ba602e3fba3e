"""The guided start: its first page, its steps, and the way from the last one to the plan."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from tierpole.errors import InputError, StoreError
from tierpole.office.start import (
    LAST,
    STEPS,
    TITLE_LAST,
    Beginning,
    Guide,
    NotTakenError,
    after,
    before,
    step_named,
)
from tierpole.office.start.asking import Sheet, Step
from tierpole.units import System
from tierpole.web.access import gate_of
from tierpole.web.asking import Sent
from tierpole.web.entry import uuid_of
from tierpole.web.render import Asked, start_page

routes = APIRouter()
NAME = "A farm begins"


def beginning_of(request: Request) -> Beginning:
    """The start, while there is no farm yet; after it, its pages lead to the farm's own."""
    if request.app.state.office is not None:
        raise HTTPException(303, headers={"Location": "/"})
    return request.app.state.beginning


Begun = Annotated[Beginning, Depends(beginning_of)]


@routes.get("/start")
def start(request: Request, begun: Begun) -> Response:
    """What one may begin with; a start that was broken off goes on where it stood."""
    if begun.guide is not None:
        return _go(begun.guide.stands_at())
    return _page(request, begun, "start.html", faults=(), said="")


@routes.post("/start")
def begin(request: Request, begun: Begun, sent: Sent) -> Response:
    """Begin a farm, take one in, or show the demo."""
    who = request.state.person.name
    try:
        if sent.texts.get("do") == "begin":
            return _go(begun.begin().stands_at())
        if sent.texts.get("do") == "demo":
            begun.show_demo(who)
        else:
            begun.take_in(sent.uploads, who)
    except InputError as error:
        return _page(request, begun, "start.html", 422, faults=error.faults, said="")
    except StoreError as error:
        return _page(request, begun, "start.html", 422, faults=(), said=str(error))
    return _to_the_farm(request, begun)


@routes.get("/start/{step}")
def step_page(request: Request, begun: Begun, step: str) -> Response:
    """A step, or what is known at the end of them."""
    guide = _guide(begun)
    if step == LAST:
        return _last_page(request, begun, guide)
    if (need := guide.needs(_step(step))) is not None:
        return _go(need.key)
    return _step_page(request, begun, guide.sheet(_step(step), _system(begun)))


@routes.post("/start/{step}")
def take(request: Request, begun: Begun, sent: Sent, step: str) -> Response:
    """Look at a step's answers, write them, skip the step; at the end, make the plan."""
    guide, do, who = _guide(begun), sent.texts.get("do", ""), request.state.person.name
    if step == LAST:
        lacks = guide.finish(who)
        return _last_page(request, begun, guide, 422) if lacks else _to_the_farm(request, begun)
    asked = _step(step)
    if do == "skip":
        guide.skip(asked, who)
        return _go(after(asked))
    answers = (asked, uuid_of(sent.texts.get("entry", "")), sent.texts, sent.uploads)
    if do == "look":
        return _step_page(request, begun, guide.look(*answers, _system(begun)))
    try:
        guide.take(*answers, who, _system(begun))
    except NotTakenError as error:
        return _step_page(request, begun, error.sheet, 422)
    return _go(f"{step}?more=1" if do == "more" else after(asked))


def error_page(request: Request, status: int, said: str) -> Response:
    """What is not there, or could not be made, while there is no farm."""
    told = said if said and said != "Not Found" else "There is no such page."
    return start_page(_asked(request), "start_error.html", status, farm=NAME, said=told)


def _guide(begun: Beginning) -> Guide:
    if begun.guide is None:
        raise HTTPException(303, headers={"Location": "/start"})
    return begun.guide


def _step(key: str) -> Step:
    found = step_named(key)
    if found is None:
        raise HTTPException(404)
    return found


def _go(step: str) -> Response:
    return RedirectResponse(f"/start/{step}", 303)


def _to_the_farm(request: Request, begun: Beginning) -> Response:
    """Open the farm's own pages, where the first plan is being made."""
    office = begun.open()
    if office is None:
        return _go(begun.begin().stands_at())
    gate_of(request).people = office.people
    request.app.state.office = office
    return RedirectResponse("/", 303)


def _system(begun: Beginning) -> System:
    return begun.settings.system


def _asked(request: Request, system: System = "us") -> Asked:
    return Asked(request, system, False, False)


def _page(
    request: Request, begun: Beginning, template: str, code: int = 200, **more: Any
) -> Response:
    known = begun.guide.known() if begun.guide else None
    farm = known.farm.name if known and known.farm else NAME
    asked = _asked(request, _system(begun))
    return start_page(asked, template, code, farm=farm, where=begun.where, **more)


def _progress(guide: Guide) -> list[tuple[str, str, str]]:
    """Every step for the list above it: its key, its title, how far it is."""
    return [(step.key, step.title, str(state)) for step, state in guide.states()] + [
        (LAST, TITLE_LAST, "")
    ]


def _step_page(request: Request, begun: Beginning, sheet: Sheet, code: int = 200) -> Response:
    return _page(
        request, begun, "start_step.html", code, sheet=sheet, step=sheet.step,
        steps=_progress(_guide(begun)), number=STEPS.index(sheet.step) + 1,
        back=before(sheet.step.key), units=_system(begun),
    )  # fmt: skip


def _last_page(request: Request, begun: Beginning, guide: Guide, code: int = 200) -> Response:
    lacks = guide.lacks() if code != 200 else ()
    return _page(
        request, begun, "start_last.html", code, states=guide.states(), lacks=lacks,
        steps=_progress(guide), number=len(STEPS) + 1, back=before(LAST),
    )  # fmt: skip
