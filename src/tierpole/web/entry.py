"""Entering: the list of forms, each form, what was entered, and taking it back."""

from __future__ import annotations

from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import FileResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from tierpole.errors import InputError
from tierpole.office.entry import FORMS, SELLING, Asked, Form, NotKeptError, RefusedError
from tierpole.office.entry.desk import by_hand
from tierpole.office.entry.forms import form_named
from tierpole.office.entry.groups import grouped
from tierpole.office.people import Role
from tierpole.web.asking import Asking, Query, Sent
from tierpole.web.files import STATIC

routes = APIRouter()
IN_USE = "It was not taken back: what was written since names it. Take that back first."
NOT_OWN = "Somebody else entered this."


@routes.get("/enter")
def forms(query: Asking) -> Response:
    """What can be entered."""
    query.desk  # noqa: B018 - says so when the season is a scenario
    is_owner = query.person.role is Role.OWNER
    selling, others = (SELLING, grouped(by_hand())) if is_owner else ((), [])
    return query.desk_page("enter.html", forms=FORMS, selling=selling, others=others)


@routes.get("/enter/{form}")
def form(query: Asking, form: str) -> Response:
    """One form, with what was said last."""
    found, start = _form(query, form), dict(query.asked.request.query_params)
    if only := query.desk.only_one(found):
        return RedirectResponse(query.asked.link(f"/books/noun/{only}/correct"), 303)
    return _form_page(query, query.desk.hand_out(found, start, query.units))


@routes.post("/enter/{form}")
def enter(query: Asking, form: str, sent: Sent) -> Response:
    """Take a form's answers into the books."""
    found = _form(query, form)
    if only := query.desk.only_one(found):
        return RedirectResponse(query.asked.link(f"/books/noun/{only}/correct"), 303)
    asked = Asked(found, uuid_of(sent.texts.get("entry", "")), sent.texts, {})
    if more := sent.texts.get("more"):
        return _form_page(query, query.desk.hand_again(asked.with_more(more)))
    try:
        query.desk.enter(asked, sent.uploads, query.person.name, query.units)
    except RefusedError as error:
        return _form_page(query, error.asked, code_of(error))
    return RedirectResponse(query.asked.link(f"/entered/{asked.entry}"), 303)


@routes.get("/entered/{entry}")
def entered(query: Asking, entry: str) -> Response:
    """What a form wrote, with a way to take it back."""
    return _entered_page(query, entry)


def _entered_page(query: Query, entry: str, fault: str = "", code: int = 200) -> Response:
    found = query.desk.entered(uuid_of(entry))
    if not found:
        raise HTTPException(404)
    told = [(one, query.desk.told(one, query.units)) for one in found]
    doubts = query.desk.doubts(found) if query.person.role is Role.OWNER else ()
    is_taken_back = all(query.desk.is_taken_back(one) for one in found)
    return query.desk_page(
        "entered.html", code, entry=entry, told=told, is_taken_back=is_taken_back, fault=fault,
        doubts=doubts,
        may_undo=not is_taken_back and _is_own(query, found[0].who),
    )  # fmt: skip


@routes.post("/entered/{entry}/undo")
def undo(query: Asking, entry: str, sent: Sent) -> Response:  # noqa: ARG001 - its token is checked
    """Take back what a form wrote; the crew only what they wrote themselves."""
    found = query.desk.entered(uuid_of(entry))
    if not found:
        raise HTTPException(404)
    if not _is_own(query, found[0].who):
        raise HTTPException(403, NOT_OWN)
    try:
        query.desk.take_back(uuid_of(entry), query.person.name)
    except InputError:
        return _entered_page(query, entry, IN_USE, 422)
    return RedirectResponse(query.asked.link(f"/entered/{entry}"), 303)


@routes.get("/offline.js")
def offline() -> Response:
    """The script that starts the entry pages without a signal; it must stand at the root."""
    return FileResponse(STATIC / "offline.js", media_type="text/javascript")


def _form(query: Query, key: str) -> Form:
    found = form_named(key)
    if found is None or not (found.is_quick or query.person.role is Role.OWNER):
        raise HTTPException(404)
    return found


def _form_page(query: Query, asked: Asked, code: int = 200) -> Response:
    return query.desk_page("form.html", code, form=asked, why=None, units=query.units)


def code_of(error: RefusedError) -> int:
    """What tells a browser to mend a form, or to keep it and send it again later."""
    return 503 if isinstance(error, NotKeptError) else 422


def _is_own(query: Query, who: str) -> bool:
    return query.person.role is Role.OWNER or query.person.name == who


def uuid_of(text: str) -> UUID:
    """An id out of an address or a form; anything else is not there."""
    try:
        return UUID(text)
    except ValueError:
        raise HTTPException(404) from None
