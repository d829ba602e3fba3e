"""Every decision on who may do what, in one place: the table `ACCESS`, and what reads it.

A request is let through only if its route stands in the table under the role of whoever asks. What
changes something must also come from a page of ours: its form carries a token that only pages
shown to this browser hold, and its origin, where the browser tells it, is this address.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import time
from dataclasses import dataclass, field, replace
from enum import StrEnum
from http import HTTPStatus
from secrets import token_bytes
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException
from starlette.routing import Match
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tierpole.office.people import LANGUAGES, LOCAL, NOBODY, Limit, People, Person, Role

O, C, G, N = Role.OWNER, Role.CREW, Role.GUEST, Role.NOBODY  # noqa: E741 - columns of the table
R, W = Role.READER, Role.WRITER
API = "/api/"
AT_START = ("/start", "/static/", "/fonts/")  # what is there before there is a farm

# who may do what; what is not here is not there
ACCESS: dict[tuple[str, str], frozenset[Role]] = {
    (method, path): frozenset(roles)
    for roles, routes in (
        ((O, C, G, N), ("GET /static", "GET /fonts", "GET /sign-in", "POST /sign-in", "GET /pair",
                        "POST /pair", "GET /guest/{token}", "GET /offline.js",
                        "GET /calendar/{token}.ics")),
        ((O, C, G), ("POST /sign-out",)),
        ((O, G), ("GET /packet/{lot:path}", "GET /paper/packet/{lot:path}")),
        ((O, C), ("GET /health", "GET /crew", "GET /crew/day/{day}.pdf", "GET /crew/day/{day}",
                  "GET /crew/map/{name:path}", "GET /place/{name:path}", "GET /enter",
                  "GET /enter/{form}", "POST /enter/{form}", "GET /entered/{entry}",
                  "POST /entered/{entry}/undo", "POST /language", "GET /scan/{kind}/{lot}",
                  "GET /scan/{kind}/{lot}/{rest:path}")),
        ((O,), ("GET /", "GET /season", "GET /lot/{name:path}", "GET /rules",
                "GET /why/plan/{key}/{subject:path}", "GET /why/outlook/{name}",
                "GET /why/outlook/{name}/{subject:path}", "GET /why/formula/{name}",
                "GET /why/value/{name}", "POST /seen", "GET /plans", "GET /plans/{mark}",
                "GET /books", "GET /books/balance", "GET /books/check", "GET /books/noun/{noun}",
                "GET /books/backup.db", "GET /books/farm.zip", "GET /books/tables.xlsx",
                "GET /books/table/{kind}.csv",
                "POST /books/noun/{noun}/withdraw", "POST /books/noun/{noun}/decide",
                "GET /books/noun/{noun}/correct", "POST /books/noun/{noun}/correct",
                "GET /content/{key}", "GET /people", "POST /people/code", "POST /people/guest",
                "POST /people/calendar", "POST /people/away", "GET /certificates",
                "POST /certificates", "POST /certificates/map",
                "GET /certificates/paper/{key}", "POST /certificates/paper/{key}",
                "GET /certificates/paper/{key}/{page}.png",
                "GET /acres", "GET /sales", "GET /sales/{name:path}", "GET /papers",
                "GET /paper/{kind}.pdf", "GET /tables.xlsx", "GET /table/{name}.csv",
                "GET /calendar.ics", "GET /start", "POST /start", "GET /start/{step}",
                "POST /start/{step}")),
        ((R, W), ("GET /api/v1", "GET /api/v1/openapi.json", "GET /api/v1/{kind}",
                  "GET /api/v1/season-plan", "GET /api/v1/this-week", "GET /api/v1/deadlines",
                  "GET /api/v1/content/{key}", "GET /api/v1/{kind}/{noun}",
                  "GET /api/v1/{kind}/{noun}/history")),
        ((W,), ("POST /api/v1/{kind}", "POST /api/v1/content", "PUT /api/v1/{kind}/{noun}",
                "POST /api/v1/{kind}/{noun}/withdraw")),
    )
    for method, path in (route.split(" ", 1) for route in routes)
}  # fmt: skip

SESSION, GUEST, VISIT = "session", "guest", "visit"  # cookies
TOO_OLD = "This form is of another browser or too old. Open it again."
SAFE = ("GET", "HEAD")
HOSTS = ("127.0.0.1", "localhost", "[::1]")
MOST = 13_000_000  # bytes of a request
TOO_LARGE = f"That is too large: {MOST // 1_000_000} MB at most in one request."
READS_ONLY = "This token only reads. One that may also enter is made with --write."


class Verdict(StrEnum):
    """What is decided on a request."""

    ALLOWED = "allowed"
    SIGN_IN = "sign in first"
    FORBIDDEN = "forbidden"
    ABSENT = "not there"


def decide(person: Person, method: str, route: str | None, subject: str = "") -> Verdict:
    """Whether a person may use a route; a guest only for the one lot of the link."""
    roles = ACCESS.get(("GET" if method == "HEAD" else method, route or ""))
    if roles is None:
        return Verdict.SIGN_IN if person.role is N else Verdict.ABSENT
    if person.role not in roles:
        return Verdict.SIGN_IN if person.role is N else Verdict.FORBIDDEN
    if person.role is G and N not in roles and method in SAFE and subject != person.lot:
        return Verdict.FORBIDDEN
    return Verdict.ALLOWED


@dataclass
class Gate:
    """The door of one application: who may come in, and how often they may knock.

    Without `people` or while `is_open` is false only this computer is listened to, and whoever sits
    at it is the owner.
    """

    people: People | None = None
    is_open: bool = False
    key: bytes = field(default_factory=lambda: token_bytes(32))  # of forms before there are books
    knocks: Limit = field(default_factory=lambda: Limit(5, 60.0, time.monotonic))
    knocks_in_all: Limit = field(default_factory=lambda: Limit(30, 60.0, time.monotonic))
    reads: Limit = field(default_factory=lambda: Limit(20, 60.0, time.monotonic))
    writes: Limit = field(default_factory=lambda: Limit(600, 60.0, time.monotonic))

    def person(self, request: Request) -> Person:
        """Who asks. A program shows its token wherever it runs; pages on other sites have none."""
        if request.url.path.startswith(API):
            scheme, _, token = request.headers.get("authorization", "").partition(" ")
            is_bearer = self.people is not None and scheme.lower() == "bearer"
            return self.people.of_program(token) if self.people and is_bearer else NOBODY
        if not self.is_open or self.people is None:
            language = request.cookies.get("language", "en")
            return Person(LOCAL.name, LOCAL.role, language)
        person = self.people.of_device(request.cookies.get(SESSION, ""))
        if person is NOBODY:
            return self.people.of_guest(request.cookies.get(GUEST, ""))
        return person

    def host_is_ours(self, request: Request) -> bool:
        """While only this computer is listened to, no other name may lead here."""
        host = request.headers.get("host", "")
        return self.is_open or re.sub(r":\d+$", "", host) in HOSTS

    def form_token(self, visit: str) -> str:
        """What a form shown to this browser carries."""
        if self.people is not None:
            return self.people.form_token(visit)
        return hmac.new(self.key, visit.encode(), hashlib.sha256).hexdigest()

    def may_knock(self, request: Request) -> bool:
        """Count a try at the passphrase or a code: so many from one address, and in all."""
        address = request.client.host if request.client else ""
        return self.knocks_in_all.allows("") and self.knocks.allows(address)

    def may_read(self, request: Request) -> bool:
        """Count a look at what a link alone opens and what takes work to make."""
        return self.reads.allows(request.client.host if request.client else "")


def gate_of(request: Request) -> Gate:
    """The door a request came through."""
    return request.app.state.gate


def route_of(request: Request) -> tuple[str | None, str]:
    """The route a request matches, as the table writes it, and what it is about."""
    for route in request.app.state.routes:
        match, found = route.matches(request.scope)
        if match is Match.FULL:
            params = found.get("path_params", {})
            return route.path, str(params.get("lot", ""))
    return None, ""


class Guard:
    """Lets a request through, or says why not."""

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Decide on a request; a browser seen for the first time gets a name for its forms."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        visit = request.cookies.get(VISIT) or uuid4().hex
        answer = _stopped(request, visit) or self.app
        is_known = VISIT in request.cookies or request.method not in SAFE
        await answer(scope, receive, send if is_known else _naming(visit, send))


def _naming(visit: str, send: Send) -> Send:
    """Answers that give the browser its name."""
    cookie = Response()
    cookie.set_cookie(VISIT, visit, max_age=31_536_000, httponly=True, samesite="strict")
    named = [pair for pair in cookie.raw_headers if pair[0] == b"set-cookie"]

    async def send_named(message: Message) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [*message["headers"], *named]
        await send(message)

    return send_named


def _stopped(request: Request, visit: str) -> Response | None:
    """Why a request is not let through; None when it may go on. Notes who asks."""
    gate = gate_of(request)
    if not gate.host_is_ours(request) or not _is_from_here(request):
        return refused(request, 403, "This address is not ours, or the form is of another page.")
    if request.app.state.office is None and not request.url.path.startswith(AT_START):
        return RedirectResponse("/start", 303)
    person = gate.person(request)
    if person is NOBODY:  # a phone that is to be paired speaks its own language until then
        asked_for = request.headers.get("accept-language", "")[:2].lower()
        person = replace(NOBODY, language=asked_for if asked_for in LANGUAGES else "en")
    request.state.person, request.state.form_token = person, gate.form_token(visit)
    route, subject = route_of(request)
    verdict = decide(person, request.method, route, subject)
    is_write = verdict is Verdict.ALLOWED and request.method not in SAFE
    if is_write and not gate.writes.allows(_writer(request, person, visit)):
        return refused(request, 429, "Too many entries at once. Wait a minute.")
    return _answer(verdict, request)


def _writer(request: Request, person: Person, visit: str) -> str:
    """By what the entries of somebody are counted: a program has no browser that would be known."""
    is_program = request.url.path.startswith(API)
    return person.name + ("" if is_program else request.cookies.get(SESSION, visit))


def _answer(verdict: Verdict, request: Request) -> Response | None:
    if verdict is Verdict.SIGN_IN:
        if request.method in SAFE and "text/html" in request.headers.get("accept", ""):
            return RedirectResponse("/sign-in", 303)
        return refused(request, 401, "Sign in first.")
    if verdict is Verdict.FORBIDDEN:
        if request.state.person.role is C and request.url.path == "/":
            return RedirectResponse("/crew", 303)
        is_reader = request.state.person.role is R
        return refused(request, 403, READS_ONLY if is_reader else "That is for others.")
    return None


# what a program is told beside the words (RFC 9110, sections 10.2.3 and 11.6.1)
_TOLD_TOO = {401: {"WWW-Authenticate": "Bearer"}, 429: {"Retry-After": "60"}}


def refused(request: Request, status: int, said: str, **more: Any) -> Response:
    """A refusal: to a program as its standard has it (RFC 9457), else in plain JSON."""
    if not request.url.path.startswith(API):
        return JSONResponse({"error": said}, status)
    told = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status,
            "detail": said, **more}  # fmt: skip
    headers = _TOLD_TOO.get(status)
    return JSONResponse(told, status, headers, media_type="application/problem+json")


def _is_from_here(request: Request) -> bool:
    """Whether what changes something was sent by a page of this address, as far as it is told."""
    if request.method in SAFE:
        return True
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = request.headers.get("origin")
    return origin in (None, "null") or urlsplit(origin).netloc == request.headers.get("host")


def check_form(request: Request, token: str) -> None:
    """Refuse a form that was not shown to this browser by us."""
    if not token or token != request.state.form_token:
        raise HTTPException(403, TOO_OLD)


class BodyLimit:
    """Requests larger than they may be are refused before they are read."""

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, counting what comes."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        said = dict(scope["headers"]).get(b"content-length", b"0")
        if not said.isdigit() or int(said) > MOST:
            await refused(Request(scope), 413, TOO_LARGE)(scope, receive, send)
            return
        read = 0

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > MOST:
                raise HTTPException(413, TOO_LARGE)
            return message

        await self.app(scope, counted, send)
