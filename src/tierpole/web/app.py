"""The application: each route parses the address, asks the office for a view and shows it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, FastAPI, Request
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from tierpole._version import __version__
from tierpole.office.views import NotHereError
from tierpole.units import System
from tierpole.web.files import add_files
from tierpole.web.office import Office
from tierpole.web.render import Asked, error_page, page, plain_json, state_page

# the chart library compiles its expressions and styles its own marks
POLICY = (
    "default-src 'none'; script-src 'self' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
    "font-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)


def create_app(office: Office) -> FastAPI:
    """The pages of one office as an ASGI application; read-only."""
    app = FastAPI(
        title="Tierpole", version=__version__, docs_url=None, redoc_url=None,
        description="A page's view model as JSON stands at the page's address with format=json.",
    )  # fmt: skip
    app.state.office = office
    add_files(app)
    app.include_router(pages)
    app.add_exception_handler(HTTPException, _not_shown)
    app.add_exception_handler(500, _not_shown)
    app.middleware("http")(_guard)
    return app


async def _guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """Headers that keep a page to itself: nothing from elsewhere, never framed, never guessed."""
    response = await call_next(request)
    response.headers.setdefault("Cache-Control", "no-cache")
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "no-referrer"
    return response


@dataclass(frozen=True)
class Query:
    """What every page takes besides its name: `units` (us, metric) and `format` (html, json)."""

    office: Office
    asked: Asked

    @property
    def units(self) -> System:
        """The units the reader chose, else the office's own."""
        return self.asked.units

    def show(self, template: str, view: str, *args: Any) -> Response:
        """The view as a page or as JSON; a page that says what is awaited when there is no plan."""
        if self.office.plan is None:
            return state_page(self.asked, self.office)
        try:
            model = self.office.view(view, *args)
        except NotHereError:
            raise HTTPException(404) from None
        if self.asked.as_json:
            return plain_json(model)
        return page(self.asked, self.office, template, model)


def _query(request: Request, units: System | None = None, format: str = "html") -> Query:  # noqa: A002
    office: Office = request.app.state.office
    chosen = units or office.system
    return Query(office, Asked(request, chosen, chosen != office.system, format == "json"))


async def _not_shown(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    query = _query(request, format=request.query_params.get("format", "html"))
    return error_page(query.asked, query.office, status)


# --- routes -------------------------------------------------------------------------------------

Asking = Annotated[Query, Depends(_query)]
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
    """One place to cure by its name."""
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
    })  # fmt: skip
