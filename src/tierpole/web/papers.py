"""Papers, labels, tables and the calendar by their addresses."""

from __future__ import annotations

from datetime import date
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends
from fastapi import Query as Field
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from tierpole.documents import PAPERS, Language, Order, csv_text, file_name, workbook
from tierpole.office.people import Role
from tierpole.web.access import gate_of
from tierpole.web.address import phones_address
from tierpole.web.asking import Asking, Query
from tierpole.web.copies import WORKBOOK

routes = APIRouter()

# the form each kind of label is for, and what beside the lot the label knows
FORMS = {"lots": ("cut", ""), "sticks": ("hung", "place"), "bags": ("bag", "name")}
TOO_OFTEN = "Too many looks at once. Wait a minute."
NOT_YET = "The farm's computer is still making its first plan. Try again in a minute."
MOST_LABELS = 500
ADDRESS = r"^(https?://[A-Za-z0-9.:\[\]-]+(/[A-Za-z0-9._~/-]*)?)?$"


@routes.get("/papers")
def list_of_papers(query: Asking) -> Response:
    """What can be printed or taken away."""
    return query.show("papers.html", "papers")


def _order(
    query: Asking,
    of: Annotated[str, Field(max_length=200)] = "",
    day: date | None = None,
    language: Language = "en",
    address: Annotated[str, Field(pattern=ADDRESS, max_length=200)] = "",
    count: Annotated[int, Field(ge=1, le=MOST_LABELS)] = 10,
) -> Order:
    request = query.asked.request
    leads = address or phones_address(request, gate_of(request).is_open)
    return Order(of, day, language, query.units, leads, count)


@routes.get("/paper/{kind}.pdf")
def paper(query: Asking, kind: str, order: Annotated[Order, Depends(_order)]) -> Response:
    """A paper as PDF."""
    if kind not in PAPERS:
        raise HTTPException(404)

    def made() -> Response:
        found = query.office.paper(kind, order)
        return _file(found.pdf, "application/pdf", f"{found.name}.pdf", "inline")

    return query.given(made)


@routes.get("/paper/packet/{lot:path}")
def packet_paper(query: Asking, lot: str) -> Response:
    """The packet of one lot as PDF, with the proof of the books' chain, for whoever may see it."""
    _count(query)
    if query.office.plan is None:
        raise HTTPException(503, NOT_YET, {"Retry-After": "60"})
    return paper(query, "packet", Order(of=lot, system=query.units))


@routes.get("/tables.xlsx")
def all_tables(query: Asking) -> Response:
    """Every table in one workbook."""
    season = query.office.season
    name = file_name("tables", str(season.year), season.on.isoformat())

    def made() -> Response:
        book = workbook(query.office.tables(), season.farm.name, season.on)
        return _file(book, WORKBOOK, f"{name}.xlsx")

    return query.given(made)


@routes.get("/table/{name}.csv")
def table(query: Asking, name: str) -> Response:
    """One table as CSV, with the mark by which a spreadsheet knows its letters."""

    def made() -> Response:
        for sheet in query.office.tables():
            if sheet.name == name:
                text = csv_text(sheet).encode("utf-8-sig")
                return _file(text, "text/csv; charset=utf-8", f"{file_name(name)}.csv")
        raise HTTPException(404)

    return query.given(made)


@routes.get("/calendar.ics")
def calendar(query: Asking) -> Response:
    """The days to keep, to read once or to follow."""
    return query.given(lambda: _calendar(query))


@routes.get("/calendar/{token}.ics")
def calendar_feed(query: Asking, token: str) -> Response:
    """The same for a calendar that cannot sign in, by an address only it was given."""
    _count(query)
    if query.office.people is None or not query.office.people.is_feed(token):
        raise HTTPException(404)
    if query.office.plan is None:
        raise HTTPException(503, NOT_YET, {"Retry-After": "60"})
    return _calendar(query)


def _calendar(query: Query) -> Response:
    text = query.office.calendar().encode()
    return _file(text, "text/calendar; charset=utf-8", "days-to-keep.ics", "inline")


def _count(query: Query) -> None:
    """Refuse who looks too often, by a link alone, at what takes work to make."""
    request = query.asked.request
    if query.person.role is not Role.OWNER and not gate_of(request).may_read(request):
        raise HTTPException(429, TOO_OFTEN, {"Retry-After": "60"})


@routes.get("/scan/{kind}/{lot}")
@routes.get("/scan/{kind}/{lot}/{rest:path}")
def scanned(query: Asking, kind: str, lot: str, rest: str = "") -> Response:
    """Where a label leads now: the form it is for, of a scenario its lot's page.

    Labels outlive the addresses of forms and pages.
    """
    if kind not in FORMS:
        raise HTTPException(404)
    if query.office.desk is None:
        return RedirectResponse(query.asked.link(f"/lot/{lot}"), 303)
    form, key = FORMS[kind]
    known = f"{lot} #{rest}" if kind == "bags" else rest.rpartition("/")[2]
    told = {"lot": lot, **({key: known} if key else {})}
    return RedirectResponse(query.asked.link(f"/enter/{form}", **told), 303)


def _file(body: bytes, kind: str, name: str, how: str = "attachment") -> Response:
    shown = f"{how}; filename*=UTF-8''{quote(name)}"
    return Response(body, media_type=kind, headers={"Content-Disposition": shown})
