"""Coming in: signing in, pairing a phone, a guest's link, and who may do so.

What lets somebody in is shown once, on the answer to the form that made it, which no browser
keeps. A phone's code stands behind `#` in the address its picture holds: that part is read by the
page's own script and never sent, so no log on the way can hold it, and the script takes it out of
the phone's address at once. Whoever has no script types the code.
"""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from tierpole.farm.measure import Label
from tierpole.office.people import LANGUAGES, People, Role
from tierpole.web.access import GUEST, SESSION, gate_of
from tierpole.web.address import code_picture, phones_address
from tierpole.web.asking import Asking, Query, Sent
from tierpole.web.languages import NAMES

routes = APIRouter()
LASTS = 60 * 86_400  # seconds a browser keeps its token
NEVER_KEPT = {"Cache-Control": "no-store"}
NO_CODE = "That code is not, or not any more. Ask for a new one."
TOO_MANY = "Too many tries. Wait a minute."


@routes.get("/sign-in")
def sign_in_page(query: Asking) -> Response:
    """Where the owner signs in, and the crew pairs a phone."""
    return query.desk_page("sign_in.html", fault="")


@routes.post("/sign-in")
def sign_in(query: Asking, sent: Sent) -> Response:
    """Let the owner in by the passphrase."""
    if not gate_of(query.asked.request).may_knock(query.asked.request):
        return query.desk_page("sign_in.html", 429, fault=TOO_MANY)
    token = _people(query).sign_in(sent.texts.get("passphrase", ""))
    if token is None:
        return query.desk_page("sign_in.html", 403, fault="That is not the passphrase.")
    return _let_in(query, token, "/")


@routes.post("/sign-out")
def sign_out(query: Asking, sent: Sent) -> Response:  # noqa: ARG001 - its token is checked
    """Forget this browser."""
    response = RedirectResponse("/sign-in", 303)
    for cookie in (SESSION, GUEST):
        response.delete_cookie(cookie)
    return response


@routes.get("/pair")
def pair_page(query: Asking) -> Response:
    """Where a phone's code is typed; from its picture it stands there already."""
    return query.desk_page("pair.html", fault="")


@routes.post("/pair")
def pair(query: Asking, sent: Sent) -> Response:
    """Let a phone in by its code."""
    if not gate_of(query.asked.request).may_knock(query.asked.request):
        return query.desk_page("pair.html", 429, fault=TOO_MANY)
    token = _people(query).pair(sent.texts.get("code", ""))
    if token is None:
        return query.desk_page("pair.html", 403, fault=NO_CODE)
    return _let_in(query, token, "/")


@routes.get("/guest/{token}")
def guest(query: Asking, token: str) -> Response:
    """A guest's link: to the packet of one lot."""
    if not gate_of(query.asked.request).may_knock(query.asked.request):
        raise HTTPException(429, TOO_MANY)
    person = _people(query).of_guest(token)
    if person.role is not Role.GUEST:
        raise HTTPException(404)
    return _with_cookie(query, GUEST, token, f"/packet/{person.lot}")


@routes.post("/language")
def language(query: Asking, sent: Sent) -> Response:
    """Choose the language of the crew's screens."""
    chosen = sent.texts.get("language", "")
    if chosen not in LANGUAGES:
        raise HTTPException(422, "There is no such language.")
    request = query.asked.request
    if query.office.people is not None and SESSION in request.cookies:
        query.office.people.speak(request.cookies[SESSION], chosen)
    return _with_cookie(query, "language", chosen, "/crew")


# --- who may come in ------------------------------------------------------------------------------


@routes.get("/people")
def people(query: Asking) -> Response:
    """Everybody who may come in."""
    return _people_page(query)


@routes.post("/people/code")
def code(query: Asking, sent: Sent) -> Response:
    """A code for one phone."""
    role = Role.OWNER if sent.texts.get("role") == Role.OWNER else Role.CREW
    spoken = sent.texts.get("language", "en")
    name = _name(sent)
    if name is None or spoken not in LANGUAGES:
        return _people_page(query, "Write a name.", code=422)
    given = _people(query).new_code(name, role, spoken)
    address = _phones_address(query)
    shown = code_picture(f"{address}pair#{given}") if address else ""
    return _people_page(query, said=Shown("code", name, given, f"{address}pair", shown))


@routes.post("/people/guest")
def new_guest(query: Asking, sent: Sent) -> Response:
    """A link to one lot."""
    lot, name = sent.texts.get("lot", ""), _name(sent)
    if lot not in query.ledger.lots() or name is None:
        return _people_page(query, "Choose a lot, and write who the link is for.", code=422)
    token = _people(query).new_guest(name, lot)
    return _people_page(query, said=_shown_link(query, "guest", name, f"guest/{token}"))


@routes.post("/people/calendar")
def new_calendar(query: Asking, sent: Sent) -> Response:
    """An address of the calendar for a program that cannot sign in."""
    name = _name(sent)
    if name is None:
        return _people_page(query, "Write whose calendar it is.", code=422)
    token = _people(query).new_feed(name)
    return _people_page(query, said=_shown_link(query, "calendar", name, f"calendar/{token}.ics"))


@routes.post("/people/away")
def away(query: Asking, sent: Sent) -> Response:
    """Let somebody in no more."""
    _people(query).send_away(sent.texts.get("who", ""))
    return RedirectResponse("/people", 303)


@routes.get("/packet/{lot:path}")
def packet(query: Asking, lot: str) -> Response:
    """All that the books say of one lot, for an inspection."""
    found = query.ledger.packet(lot, query.units)
    if found is None:
        raise HTTPException(404)
    return query.desk_page("packet.html", view=found)


@dataclass(frozen=True)
class Shown:
    """What lets somebody in, shown once: a code or a link, where it leads, and its picture."""

    kind: str
    name: str
    secret: str
    address: str
    picture: str


def _shown_link(query: Query, kind: str, name: str, path: str) -> Shown:
    address = _phones_address(query)
    link = (address or str(query.asked.request.base_url)) + path
    return Shown(kind, name, link, link, code_picture(link) if address else "")


def _phones_address(query: Query) -> str:
    request = query.asked.request
    return phones_address(request, gate_of(request).is_open)


def _people(query: Query) -> People:
    if query.office.people is None:
        raise HTTPException(404)
    return query.office.people


def _name(sent: Sent) -> str | None:
    """A name as the books take one."""
    name = sent.texts.get("name", "").strip()
    return name if Label().is_sound(name) else None


def _people_page(
    query: Query, fault: str = "", said: Shown | None = None, code: int = 200
) -> Response:
    who = _people(query)
    response = query.desk_page(
        "people.html", code, fault=fault, said=said, devices=who.devices(), guests=who.guests(),
        feeds=who.feeds(), tokens=who.api_tokens(), lots=query.ledger.lots(), languages=NAMES,
        is_open=gate_of(query.asked.request).is_open,
    )  # fmt: skip
    response.headers.update(NEVER_KEPT)
    return response


def _let_in(query: Query, token: str, to: str) -> Response:
    return _with_cookie(query, SESSION, token, to)


def _with_cookie(query: Query, name: str, value: str, to: str) -> Response:
    response = RedirectResponse(to, 303)
    is_safe = query.asked.request.url.scheme == "https"
    # a guest may only read, and often follows the link from a page of its mail
    site = "lax" if name == GUEST else "strict"
    response.set_cookie(name, value, max_age=LASTS, httponly=True, samesite=site, secure=is_safe)
    return response
