"""The books: the journal, a noun's history, balances, the chain, and plans as they were made."""

from __future__ import annotations

from functools import partial
from typing import Annotated

from fastapi import APIRouter
from fastapi import Query as Field
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from tierpole.errors import InputError, StoreError
from tierpole.office.book_sheets import write_kind, write_workbook
from tierpole.office.entry import Asked, RefusedError
from tierpole.office.entry.uploads import media_type
from tierpole.office.looking_back import as_of
from tierpole.records import KINDS, NOW, backup, export_package
from tierpole.web.access import refused
from tierpole.web.asking import Asking, Query, Sent
from tierpole.web.copies import WORKBOOK, copy_of
from tierpole.web.entry import code_of, uuid_of
from tierpole.web.render import SEEN

routes = APIRouter()
A_YEAR = 31_536_000
Seq = Annotated[int, Field(ge=1, le=2_000_000_000)]


@routes.get("/books")
def book(
    query: Asking, before: Seq | None = None, kind: str = "", lot: str = "", on: str = "",
    seal: str = "",
) -> Response:  # fmt: skip
    """The journal, newest first: now, as known on a day, or as it stood under a seal."""
    fault, code, then = "", 200, NOW
    try:
        then = as_of(query.ledger.store, on.strip(), seal.strip())
    except InputError as error:
        fault, code = " ".join(map(str, error.faults)), 422
    view = query.ledger.book(before, kind, lot, query.units, then)
    if fault and query.asked.as_json:
        return refused(query.asked.request, code, fault)
    asked = {"kind": kind, "lot": lot, "on": on, "seal": seal}
    return query.desk_page("books.html", code, view=view, wanted=asked, fault=fault)


@routes.get("/books/balance")
def balance(query: Asking) -> Response:
    """The mass balance of every lot."""
    return query.desk_page("balance.html", view=query.ledger.balances(query.units))


@routes.get("/books/check")
def check(query: Asking) -> Response:
    """Check every link of the chain."""
    return query.desk_page("check.html", view=query.ledger.check())


@routes.get("/books/backup.db")
def backup_file(query: Asking) -> Response:
    """The books as they are at this moment, one file that is itself a farm's books."""
    return copy_of(partial(backup, query.ledger.store), "db", "application/vnd.sqlite3")


@routes.get("/books/farm.zip")
def package_file(query: Asking) -> Response:
    """The books as they are at this moment, as the open package."""
    return copy_of(partial(export_package, query.ledger.store), "zip", "application/zip")


@routes.get("/books/tables.xlsx")
def workbook_file(query: Asking) -> Response:
    """Every kind of thing in the books as it stands, for a spreadsheet."""
    return copy_of(partial(write_workbook, query.ledger.store, query.units), "xlsx", WORKBOOK)


@routes.get("/books/table/{kind}.csv")
def table_file(query: Asking, kind: str) -> Response:
    """One kind of thing in the books as it stands, as CSV."""
    found = next((one for one in KINDS if one.name == kind), None)
    if found is None:
        raise HTTPException(404)
    make = partial(write_kind, query.ledger.store, found, query.units)
    return copy_of(make, "csv", "text/csv; charset=utf-8", kind)


@routes.get("/books/noun/{noun}")
def story(query: Asking, noun: str) -> Response:
    """All that was ever said of one thing."""
    return _story_page(query, noun)


@routes.get("/books/noun/{noun}/correct")
def correct(query: Asking, noun: str) -> Response:
    """The form of one thing, to be corrected."""
    asked = query.desk.hand_back(uuid_of(noun), query.units)
    if asked is None:
        raise HTTPException(404)
    return _correction_page(query, noun, asked, "")


@routes.post("/books/noun/{noun}/correct")
def corrected(query: Asking, noun: str, sent: Sent) -> Response:
    """Take a correction into the books."""
    found = query.desk.hand_back(uuid_of(noun), query.units)
    if found is None:
        raise HTTPException(404)
    seen, why = str(uuid_of(sent.texts.get("seen", ""))), sent.texts.get("why", "").strip()
    entry = uuid_of(sent.texts.get("entry", ""))
    asked = Asked(found.form, entry, sent.texts, found.options, seen=seen)
    if more := sent.texts.get("more"):
        return _correction_page(query, noun, asked.with_more(more), why)
    if not why:
        asked = Asked(
            found.form, entry, sent.texts, found.options, {}, ("Say why it is corrected.",), seen
        )
        return _correction_page(query, noun, asked, why, 422)
    try:
        query.desk.enter(asked, sent.uploads, query.person.name, query.units, why)
    except RefusedError as error:
        return _correction_page(query, noun, error.asked, why, code_of(error))
    return RedirectResponse(query.asked.link(f"/books/noun/{noun}"), 303)


@routes.post("/books/noun/{noun}/withdraw")
def withdraw(query: Asking, noun: str, sent: Sent) -> Response:
    """Say that something is no more, and why."""
    why, seen = sent.texts.get("why", "").strip(), uuid_of(sent.texts.get("seen", ""))
    if not why:
        return _story_page(query, noun, "Say why it is withdrawn.", 422)
    try:
        query.ledger.withdraw(uuid_of(noun), seen, query.person.name, why)
    except InputError as error:
        return _story_page(query, noun, " ".join(map(str, error.faults)), 422)
    return RedirectResponse(query.asked.link(f"/books/noun/{noun}"), 303)


@routes.post("/books/noun/{noun}/decide")
def decide(query: Asking, noun: str, sent: Sent) -> Response:
    """Of two who corrected the same at once, take one."""
    chosen = uuid_of(sent.texts.get("chosen", ""))
    query.ledger.decide(uuid_of(noun), chosen, query.person.name)
    return RedirectResponse(query.asked.link(f"/books/noun/{noun}"), 303)


@routes.get("/content/{key}")
def content(query: Asking, key: str) -> Response:
    """A photo or paper, shown and never run."""
    try:
        data = query.ledger.content(key)
    except StoreError:
        raise HTTPException(404) from None
    kind = media_type(data)
    headers = {"Content-Security-Policy": "default-src 'none'; sandbox"}
    if kind is None:
        headers["Content-Disposition"] = "attachment"
    return Response(data, media_type=kind or "application/octet-stream", headers=headers)


@routes.get("/plans")
def plans(query: Asking) -> Response:
    """Every plan that was made this season."""
    query.ledger  # noqa: B018 - says so when the season is a scenario
    return query.desk_page("plans.html", view=query.office.kept_plans())


@routes.get("/plans/{mark}")
def plan(query: Asking, mark: str) -> Response:
    """A plan as it was made."""
    kept = query.office.kept(mark)
    if kept is None:
        raise HTTPException(404)
    return query.desk_page("plan.html", kept=kept)


@routes.post("/seen")
def seen(query: Asking, sent: Sent) -> Response:  # noqa: ARG001 - its token is checked
    """Remember in this browser which plan its reader has seen."""
    response = RedirectResponse(query.asked.link("/"), 303)
    response.set_cookie(SEEN, query.office.mark, max_age=A_YEAR, httponly=True, samesite="strict")
    return response


def _story_page(query: Query, noun: str, fault: str = "", code: int = 200) -> Response:
    found = query.ledger.story(uuid_of(noun), query.units)
    if found is None:
        raise HTTPException(404)
    return query.desk_page("noun.html", code, view=found, fault=fault)


def _correction_page(query: Query, noun: str, asked: Asked, why: str, code: int = 200) -> Response:
    return query.desk_page("form.html", code, form=asked, why=why, noun=noun, units=query.units)
