"""Templates and JSON: how a view model becomes a response."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined
from pydantic_core import to_jsonable_python

from tierpole.charts import words
from tierpole.office.people import Person
from tierpole.units import System
from tierpole.web.files import file_address
from tierpole.web.languages import translator
from tierpole.web.office import Office

PIECES = ("said", "chart", "table", "facts")  # macros of parts.html that every template may use
SEEN = "seen"  # the cookie that holds the mark of the plan a reader saw last
WAIT = 3  # seconds after which a page that waits looks again


@dataclass(frozen=True)
class Asked:
    """How a page was asked for: its units, and whether they are not the office's own."""

    request: Request
    units: System
    other_units: bool
    as_json: bool

    def link(self, path: str, **query: str) -> str:
        """An address inside the pages that keeps the units the reader chose."""
        kept = {"units": self.units} if self.other_units else {}
        asked = urlencode({**kept, **query}, quote_via=quote)
        return quote(path, safe="/:") + (f"?{asked}" if asked else "")

    @property
    def person(self) -> Person:
        """Who asks."""
        return self.request.state.person

    @property
    def form_token(self) -> str:
        """What every form carries, so that only our own pages can send one."""
        return self.request.state.form_token

    @property
    def t(self) -> Callable[[str], str]:
        """What says a text in the language of whoever asks."""
        return translator(self.person.language)

    @property
    def seen(self) -> str:
        """The mark of the plan this reader saw last, as the browser keeps it."""
        return self.request.cookies.get(SEEN, "")

    @property
    def here(self) -> str:
        """The path of this page."""
        return self.request.url.path


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("tierpole.web"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, finalize=_tied, auto_reload=False,
    )  # fmt: skip
    environment.globals["file"] = file_address
    environment.filters["as_data"] = _as_data
    pieces = environment.get_template("parts.html").module
    environment.globals |= {name: getattr(pieces, name) for name in PIECES}
    return environment


_SPLIT = re.compile(rf"(?<=\d) (?=%|°[CF]|(?:{'|'.join(words.MONTHS)})\b)")


def _tied(value: Any) -> Any:
    """Text whose numbers stay with their sign, unit or month; what is markup is left alone."""
    if type(value) is not str:
        return value
    return _SPLIT.sub("\u00a0", value).replace("−$", "−\u2060$")


def _as_data(value: Any) -> str:
    """Plain data to stand inside a script element."""
    text = json.dumps(to_jsonable_python(value), separators=(",", ":"), ensure_ascii=False)
    return text.replace("<", "\\u003c")


def _html(asked: Asked, template: str, code: int, **context: Any) -> HTMLResponse:
    shown = _environment().get_template(template)
    return HTMLResponse(shown.render(asked=asked, link=asked.link, code=code, **context), code)


def page(asked: Asked, office: Office, template: str, view: Any) -> Response:
    """A view model as a page."""
    status = office.status()
    return _html(
        asked, template, 200, view=view, head=view.head, status=status,
        changes=office.changes_since(asked.seen), age=age(status.planned_at),
        has_books=office.desk is not None, mark=office.mark,
        assumed=office.ledger.assumed() if office.ledger and template == "week.html" else (),
    )  # fmt: skip


def desk_page(asked: Asked, template: str, code: int = 200, **context: Any) -> Response:
    """A page of the desk, which needs no plan: forms, books, people."""
    return _html(asked, template, code, t=asked.t, **context)


def start_page(asked: Asked, template: str, code: int = 200, **context: Any) -> Response:
    """A page of the start, where there is no farm yet."""
    return _html(asked, template, code, t=asked.t, **context)


def state_page(asked: Asked, office: Office) -> Response:
    """The page shown while there is no plan: what is being worked on, or what failed."""
    status = office.status()
    failed = status.state == "failed"
    if asked.as_json:
        return JSONResponse({"state": status.state, "message": status.message}, 503)
    response = _html(asked, "failed.html" if failed else "working.html", 503,
                     farm=office.season.farm.name, status=status, wait=WAIT,
                     has_books=office.desk is not None)  # fmt: skip
    if not failed:
        response.headers["Retry-After"] = str(WAIT)
    return response


def error_page(asked: Asked, office: Office, status: int, said: str = "") -> Response:
    """A page that is not there, or that could not be made; `said` is why, when it is known."""
    if asked.as_json:
        told = said or ("not found" if status == 404 else "failed")
        return JSONResponse({"error": told}, status)
    season = office.season
    return _html(asked, "error.html", status, farm=season.farm.name, season=season, said=said)


def plain_json(model: Any) -> JSONResponse:
    """A view model as JSON: dates as ISO days, charts with spec, sentence and table."""
    return JSONResponse(to_jsonable_python(asdict(model)))


def age(planned_at: datetime | None) -> str:
    """How old a plan is, in words: `plan of 06:10`, `plan of 31 Aug, 06:10`."""
    if planned_at is None:
        return ""
    clock = f"{planned_at:%H:%M}"
    if datetime.now(planned_at.tzinfo) - planned_at < timedelta(hours=20):
        return f"plan of {clock}"
    return f"plan of {words.short_day(planned_at.date())}, {clock}"
