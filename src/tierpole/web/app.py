"""The application: each route parses the address, asks the office for a view and shows it."""

from __future__ import annotations

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tierpole._version import __version__
from tierpole.errors import StoreError
from tierpole.office.people import Role
from tierpole.office.start import Beginning
from tierpole.web import (
    api,
    books,
    certificates,
    crew,
    entry,
    papers,
    people,
    sales,
    start,
)  # fmt: skip
from tierpole.web.access import API, BodyLimit, Gate, Guard, refused
from tierpole.web.asking import Asking, query_of
from tierpole.web.files import add_files
from tierpole.web.office import Office
from tierpole.web.render import error_page

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
# the chart library compiles its expressions and styles its own marks
CHARTS_POLICY = POLICY.replace(
    "script-src 'self'; style-src 'self'",
    "script-src 'self' 'unsafe-eval'; style-src 'self' 'unsafe-inline'",
)
CHARTS = ("/season", "/lot/", "/place/", "/acres")


def create_app(
    office: Office | None, gate: Gate | None = None, beginning: Beginning | None = None
) -> FastAPI:
    """The pages of one office as an ASGI application; `gate` says who may come in.

    Without an office there is only the start, by which `beginning` makes a farm and its office.
    """
    app = FastAPI(
        title="Tierpole", version=__version__, docs_url=None, redoc_url=None, openapi_url=None,
    )  # fmt: skip
    app.state.office = office
    app.state.beginning = beginning
    app.state.gate = gate or Gate(office.people if office else None)
    add_files(app)
    app.state.routes = [*app.routes]  # what the door knows one by one
    parts = (entry, crew, books, people, certificates, sales, papers, api, start)
    for router in (pages, *(part.routes for part in parts)):
        app.include_router(router)
        app.state.routes += router.routes
    app.add_exception_handler(HTTPException, _not_shown)
    app.add_exception_handler(StoreError, _not_shown)
    app.add_exception_handler(500, _not_shown)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_middleware(Guard)
    app.add_middleware(_Headers)
    app.add_middleware(GZipMiddleware, minimum_size=1_000, compresslevel=6)
    app.add_middleware(BodyLimit)
    return app


class _Headers:
    """Headers that keep a page to itself: nothing from elsewhere, never framed, never guessed."""

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and add to the head of its answer."""

        async def send_kept(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.setdefault("Cache-Control", "no-cache")
                policy = CHARTS_POLICY if scope["path"].startswith(CHARTS) else POLICY
                headers.setdefault("Content-Security-Policy", policy)
                headers["X-Content-Type-Options"] = "nosniff"
                headers["Referrer-Policy"] = "same-origin"
            await send(message)

        await self.app(scope, receive, send_kept)


async def _not_shown(request: Request, error: Exception) -> Response:
    status, said = 500, ""
    if isinstance(error, HTTPException):
        status, said = error.status_code, error.detail
    elif isinstance(error, StoreError):  # the disk is full, the server of the database is away
        status, said = 503, str(error)
    if request.url.path.startswith(API):
        response = refused(request, status, said)
        response.headers.update(getattr(error, "headers", None) or {})
        return response
    if isinstance(error, HTTPException) and status == 303:
        return RedirectResponse((error.headers or {})["Location"], 303)
    said = "" if said == "Not Found" else said
    if not hasattr(request.state, "person"):  # something failed before anybody was asked
        return JSONResponse({"error": said or "failed"}, status)
    if request.app.state.office is None:
        return start.error_page(request, status, said)
    query = query_of(request, format=request.query_params.get("format", "html"))
    response = error_page(query.asked, query.office, status, said)
    response.headers.update(getattr(error, "headers", None) or {})
    return response


async def _not_understood(request: Request, error: Exception) -> Response:
    """An address whose parts are not what they must be."""
    faults = error.errors() if isinstance(error, RequestValidationError) else []
    said = "; ".join(f"{one['loc'][-1]}: {one['msg']}" for one in faults)
    return refused(request, 422, said)


# --- routes -------------------------------------------------------------------------------------

pages = APIRouter()


@pages.get("/")
def this_week(query: Asking) -> Response:
    """What to decide and to do now."""
    return query.show("week.html", "week", query.units)


@pages.get("/season")
def season_strip(query: Asking) -> Response:
    """The whole season on one line of days."""
    return query.show("season.html", "season", query.units)


@pages.get("/lot/{name:path}")
def lot(query: Asking, name: str) -> Response:
    """One lot by its name."""
    return query.show("lot.html", "lot", name, query.units)


@pages.get("/place/{name:path}")
def place(query: Asking, name: str) -> Response:
    """One place to cure by its name; the crew sees what hangs and comes there, and no money."""
    if query.person.role is Role.CREW:
        return crew.place_page(query, name)
    return query.show("place.html", "place", name, query.units)


@pages.get("/rules")
def rules(query: Asking) -> Response:
    """The rulebook in force."""
    return query.show("rules.html", "rules")


@pages.get("/why/plan/{key}/{subject:path}")
def why_plan(query: Asking, key: str, subject: str) -> Response:
    """First step down: a number of the plan."""
    return query.show("why.html", "why_plan", key, subject)


@pages.get("/why/outlook/{name}")
def why_outlook(query: Asking, name: str) -> Response:
    """Second step down: a variable of the outlook."""
    return query.show("why.html", "why_outlook", name)


@pages.get("/why/outlook/{name}/{subject:path}")
def why_outlook_of_lot(query: Asking, name: str, subject: str) -> Response:
    """Second step down: a variable of the outlook, for one lot."""
    return query.show("why.html", "why_outlook", name, subject)


@pages.get("/why/formula/{name}")
def why_formula(query: Asking, name: str) -> Response:
    """Third step down: a formula with its equation and source."""
    return query.show("why.html", "why_formula", name)


@pages.get("/why/value/{name}")
def why_value(query: Asking, name: str) -> Response:
    """Last step down: a coefficient and where it comes from."""
    return query.show("why.html", "why_value", name)


@pages.get("/health")
def health(query: Asking) -> JSONResponse:
    """How the work stands, for the waiting page and for a watchman."""
    status = query.office.status()
    at = status.planned_at.isoformat(timespec="seconds") if status.planned_at else None
    return JSONResponse({
        "state": status.state, "step": status.step, "share": round(status.share, 3),
        "message": status.message, "planned_at": at, "has_plan": query.office.plan is not None,
        "kept_plan": query.office.mark,
    })  # fmt: skip
