"""The JSON interface: every kind of noun, by a token; its description stands beside it."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any
from uuid import UUID, uuid4, uuid5

from fastapi import APIRouter, Depends, Path, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import ValidationError
from pydantic_core import to_jsonable_python
from starlette.exceptions import HTTPException

from tierpole.errors import InputError
from tierpole.office.entry.uploads import Upload, fault_of, media_type
from tierpole.office.interface import (
    ASKED,
    BASE,
    CONTENT,
    LONGEST_KEY,
    MOST,
    Interface,
    Said,
    described,
    is_written_by_programs,
    told_plan,
    told_receipt,
    told_week,
)
from tierpole.records import KINDS, Kind, Receipt, Wanted
from tierpole.web.access import refused
from tierpole.web.office import Office

routes = APIRouter(prefix=BASE)
KEYS = UUID("0b8b1a0e-7d53-5f0c-8a44-3f2c52a0d7aa")  # ours, to make ids of other keys


def _interface(request: Request) -> Interface:
    desk = request.app.state.office.desk
    if desk is None:
        raise HTTPException(404, "A scenario keeps no books.")
    return Interface(desk.store, desk.look)


async def _said(request: Request) -> Said:
    """What was sent; what is no such JSON is refused."""
    try:
        return Said.model_validate_json(await request.body())
    except ValidationError as error:
        one = error.errors()[0]
        where = ".".join(map(str, one["loc"])) or "the body"
        raise HTTPException(422, f"{where}: {one['msg']}") from None


async def _data(request: Request) -> bytes:
    return await request.body()


def _planned(request: Request) -> Office:
    office: Office = request.app.state.office
    _interface(request)
    if office.plan is None:
        raise HTTPException(503, "The plan is still being made.", {"Retry-After": "5"})
    return office


def _kind(request: Request, kind: str) -> Kind:
    found = _interface(request).kind(kind)
    if found is None:
        raise HTTPException(404, f"There is no kind {kind[:40]!r}.")
    return found


def _written_kind(kind: Annotated[Kind, Depends(_kind)]) -> Kind:
    if not is_written_by_programs(kind):
        raise HTTPException(405, "Only Tierpole itself writes these.", {"Allow": "GET"})
    return kind


def _narrowed(request: Request) -> None:
    """A slip in the name of a filter would else answer everything."""
    if strangers := request.query_params.keys() - set(ASKED):
        said = f"{min(strangers)[:40]}: a list is narrowed by {', '.join(ASKED)}."
        raise HTTPException(422, said)


def _entry(request: Request) -> UUID:
    """The entry's id: the caller's key, so that a call sent again writes nothing twice."""
    key = request.headers.get("idempotency-key")
    if key is None:
        return uuid4()
    if not 1 <= len(key.strip()) <= LONGEST_KEY:
        raise HTTPException(422, f"Idempotency-Key: must be of 1 to {LONGEST_KEY} characters.")
    try:
        return UUID(key)
    except ValueError:
        return uuid5(KEYS, f"{request.state.person.name}/{key}")


Planned = Annotated[Office, Depends(_planned)]
Books = Annotated[Interface, Depends(_interface)]
OfKind = Annotated[Kind, Depends(_kind)]
Writable = Annotated[Kind, Depends(_written_kind)]
Body = Annotated[Said, Depends(_said)]
Entry = Annotated[UUID, Depends(_entry)]


@routes.get("")
def kinds() -> dict[str, Any]:
    """The kinds of nouns, and where the description stands."""
    paths = {kind.name: f"{BASE}/{kind.name}" for kind in KINDS}
    return {"kinds": paths, "openapi": f"{BASE}/openapi.json"}


@routes.get("/openapi.json")
def description() -> dict[str, Any]:
    """The interface in the words of OpenAPI."""
    return described()


@routes.get("/season-plan")
def season_plan(office: Planned) -> dict[str, Any]:
    """The plan in force, and the mark and inputs' hash it is kept by."""
    kept = office.kept(office.mark)
    if kept is None:
        raise HTTPException(503, "The plan is still being made.", {"Retry-After": "5"})
    return told_plan(kept)


@routes.get("/this-week")
def this_week(office: Planned) -> dict[str, Any]:
    """What is to decide and to do, soonest first, with the numbers behind it in words."""
    return told_week(office.season.on, office.view("week", "us"), office.changes_since(""))


@routes.get("/deadlines")
def deadlines(office: Planned) -> list[dict[str, Any]]:
    """The days to keep, soonest first, each with its rule."""
    return [to_jsonable_python(one) for one in office.deadlines()]


@routes.post("/content")
def put_content(request: Request, books: Books, data: Annotated[bytes, Depends(_data)]) -> Response:
    """Keep a photo, a paper or a table (as text/csv); the same one twice is kept once."""
    is_table = request.headers.get("content-type", "").startswith("text/csv") and b"," in data
    if fault := fault_of(Upload("", data), is_table):
        return refused(request, 422, f"The body {fault}.")
    told, is_new = books.keep(data, request.state.person.name)
    return JSONResponse(told, 201 if is_new else 200)


@routes.get("/content/{key}")
def content(books: Books, key: Annotated[str, Path(pattern=CONTENT)]) -> Response:
    """A photo or paper by its hash."""
    data = books.content(key)
    if data is None:
        raise HTTPException(404, "There is none.")
    return Response(data, media_type=media_type(data) or "application/octet-stream")


@routes.get("/{kind}", dependencies=[Depends(_narrowed)])
def page(
    books: Books, kind: OfKind,
    season: Annotated[int | None, Query(ge=0, le=9999)] = None,
    lot: str | None = None, place: str | None = None,
    since: date | None = None, until: date | None = None,
    cursor: Annotated[str, Query(pattern=r"^[0-9]{1,18}$")] = "0",
    limit: Annotated[int, Query(ge=1, le=MOST)] = 100,
) -> dict[str, Any]:  # fmt: skip
    """Nouns of a kind as they stand, oldest first, a page at a time."""
    return books.page(
        Wanted(kind.name, season, lot, place, since=since, until=until, after=int(cursor),
               limit=limit)
    )  # fmt: skip


@routes.post("/{kind}")
def add(request: Request, books: Books, kind: Writable, said: Body, entry: Entry) -> Response:
    """Write a new noun."""
    return _answer(request, lambda who: books.add(kind, said, entry, who))


@routes.get("/{kind}/{noun}")
def one(books: Books, kind: OfKind, noun: UUID) -> dict[str, Any]:
    """A noun as it stands."""
    found = books.one(kind, noun)
    if found is None:
        raise HTTPException(404, "There is none, or it was withdrawn.")
    return found


@routes.get("/{kind}/{noun}/history")
def past(books: Books, kind: OfKind, noun: UUID) -> list[dict[str, Any]]:
    """Every entry of a noun, oldest first."""
    found = books.history(kind, noun)
    if not found:
        raise HTTPException(404, "There is none.")
    return found


@routes.put("/{kind}/{noun}")
def correct(
    request: Request, books: Books, kind: Writable, noun: UUID, said: Body, entry: Entry
) -> Response:
    """Correct a noun as it was seen; if somebody else did before, both are kept."""
    if books.one(kind, noun) is None:
        raise HTTPException(404, "There is none, or it was withdrawn.")
    return _answer(request, lambda who: books.correct(kind, noun, said, entry, who))


@routes.post("/{kind}/{noun}/withdraw")
def withdraw(
    request: Request, books: Books, kind: Writable, noun: UUID, said: Body, entry: Entry
) -> Response:
    """Withdraw a noun as it was seen."""
    if not books.history(kind, noun):
        raise HTTPException(404, "There is none.")
    return _answer(request, lambda who: books.withdraw(noun, said, entry, who))


def _answer(request: Request, make: Any) -> Response:
    """A receipt, or everything that was wrong."""
    try:
        receipt: Receipt = make(request.state.person.name)
    except InputError as error:
        faults = [
            {"place": one.place, "field": one.field, "value": one.value and str(one.value),
             "allowed": one.allowed}
            for one in error.faults
        ]  # fmt: skip
        detail = " ".join(map(str, error.faults))
        is_taken = any(one.field == "id" for one in error.faults)  # the key, by another entry
        return refused(request, 409 if is_taken else 422, detail, faults=faults)
    return JSONResponse(told_receipt(receipt), 201 if receipt.is_new else 200)
