"""The books as a program reads and writes them: every kind of noun in JSON, quantities in SI."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tierpole._version import __version__
from tierpole.compliance import Due
from tierpole.errors import Fault, InputError, StoreError
from tierpole.farm import Noun
from tierpole.farm.books import ReportKind, WeatherSource
from tierpole.farm.measure import GRACE
from tierpole.office.document import PlanDocument
from tierpole.office.entry.desk import Desk, known_from
from tierpole.office.entry.forms import NOT_BY_HAND
from tierpole.office.entry.uploads import media_type
from tierpole.office.gates import check_gates
from tierpole.office.kept import Kept
from tierpole.office.views.parts import plain
from tierpole.office.views.week import Item, Week
from tierpole.records import (
    KINDS,
    Change,
    Entry,
    Kind,
    Receipt,
    Store,
    Wanted,
    check_weather,
    content_key,
    history,
    json_schema,
    kind_named,
    last_day,
    nouns,
    read_content,
    seasons,
    setting_id,
    standing,
    write_with,
)

MOST = 500  # nouns in one answer
BASE = "/api/v1"
CONTENT = "^[0-9a-f]{64}$"  # the hash of a content
CONTENTS = (
    "content",
    "paper",
    "photo",
    "supplier_paper",
    "station_content",
    "listed",
    "forecast_content",
)  # fields that name one


class Said(BaseModel):
    """What a program writes: a noun's fields, and why; `corrects` are the entries it has seen."""

    model_config = ConfigDict(extra="forbid")

    value: dict[str, Any] = {}
    corrects: list[UUID] = []
    why: str = ""
    known_on: date | None = None
    season: Annotated[int, Field(ge=1990, le=2100)] | None = None


@dataclass(frozen=True)
class Interface:
    """What programs may ask of a farm's books; `look` is told after each entry."""

    store: Store
    look: Callable[[], None]

    def kind(self, name: str) -> Kind | None:
        """A kind of noun by its name."""
        return kind_named(name) if name in {kind.name for kind in KINDS} else None

    def page(self, wanted: Wanted) -> dict[str, Any]:
        """Nouns as they stand, and where the next page begins."""
        found = nouns(self.store, wanted)
        is_full = wanted.limit is not None and len(found) == wanted.limit
        return {
            "items": [told(one.entry) for one in found],
            "next": str(found[-1].first) if is_full else None,
        }

    def one(self, kind: Kind, noun: UUID) -> dict[str, Any] | None:
        """A noun as it stands; None when there is none of the kind."""
        stored = standing(self.store, noun)
        return told(stored.entry) if stored and stored.entry.kind == kind.name else None

    def history(self, kind: Kind, noun: UUID) -> list[dict[str, Any]]:
        """Every entry of a noun, oldest first."""
        return [told(one) for one in history(self.store, noun) if one.kind == kind.name]

    def add(self, kind: Kind, said: Said, entry: UUID, who: str) -> Receipt:
        """Write a new noun; the same entry handed in twice is written once."""
        season = said.season
        if kind.is_single and not kind.is_lasting:
            season = season or max(seasons(self.store), default=None)
        noun = self._noun(kind, said.value)
        check_gates(self.store, [noun])
        known_on = self._known_on(said, noun, is_new=True)
        change = Change(noun, why=said.why, known_on=known_on, season=season, id=entry)
        if kind.is_single:
            of = setting_id(kind.name, None if kind.is_lasting else season)
            change = Change(noun, of, tuple(said.corrects), said.why, known_on, season, entry)
        return self._write(change, who)

    def correct(self, kind: Kind, noun: UUID, said: Said, entry: UUID, who: str) -> Receipt:
        """Write a correction of what was seen."""
        value, seen = self._noun(kind, said.value), tuple(said.corrects)
        check_gates(self.store, [value])
        known_on = self._known_on(said, value)
        return self._write(Change(value, noun, seen, said.why, known_on, said.season, entry), who)

    def withdraw(self, noun: UUID, said: Said, entry: UUID, who: str) -> Receipt:
        """Say that a noun is no more."""
        seen = tuple(said.corrects)
        known_on = self._known_on(said, None)
        return self._write(Change(None, noun, seen, said.why, known_on, id=entry), who)

    def keep(self, data: bytes, who: str) -> tuple[dict[str, Any], bool]:
        """Keep a photo or paper; what it is asked for by, and whether it is new."""
        is_new = self.content(content_key(data)) is None
        if is_new:
            write_with(self.store, [], [data], who)
        return {
            "hash": content_key(data),
            "size": len(data),
            "media_type": media_type(data),
        }, is_new

    def content(self, key: str) -> bytes | None:
        """A photo or paper by its hash; None when it is not there."""
        try:
            return read_content(self.store, key)
        except StoreError:
            return None

    def _noun(self, kind: Kind, value: dict[str, Any]) -> Noun:
        """A noun that says nothing false of itself and names only contents that are there."""
        noun = _noun(kind, value)
        fields = [(name, getattr(noun, name)) for name in CONTENTS if name in value]
        faults = [
            Fault(kind.name, name, key, "the hash of a content: send it to /content first")
            for name, key in fields
            if key is not None and self.content(key) is None
        ]
        if faults:
            raise InputError(kind.name, faults)
        if isinstance(noun, WeatherSource):
            check_weather(self.store, noun, {})
        return noun

    def _known_on(self, said: Said, noun: Noun | None, *, is_new: bool = False) -> date | None:
        """When what is said became known: as said, but not on a day to come; else as by a form."""
        if said.known_on is None:
            return known_from(noun, Desk(self.store, self.look).season, is_new=is_new)
        if said.known_on > last_day(self.store) + GRACE:
            fault = Fault("entry", "known_on", said.known_on, "today or before")
            raise InputError("entry", [fault])
        return said.known_on

    def _write(self, change: Change, who: str) -> Receipt:
        (receipt,) = write_with(self.store, [change], [], who)
        self.look()
        return receipt


def is_written_by_programs(kind: Kind) -> bool:
    """Whether a program may write a kind; some only Tierpole itself does."""
    return kind.name not in NOT_BY_HAND


def told(entry: Entry) -> dict[str, Any]:
    """An entry as a program reads it; `value` is null when it withdraws."""
    noun = entry.noun
    return {
        "id": str(entry.of),
        "kind": entry.kind,
        "entry": str(entry.id),
        "revision": entry.revision,
        "corrects": [str(one) for one in entry.corrects],
        "value": None if noun is None else noun.model_dump(mode="json", exclude_unset=True),
        "season": entry.season,
        "known_on": str(entry.known_on),
        "entered_at": entry.entered_at,
        "who": entry.who,
        "why": entry.why,
        "is_contested": entry.is_contested,
        "hash": entry.hash,
    }


def told_receipt(receipt: Receipt) -> dict[str, Any]:
    """A receipt as a program reads it."""
    return {
        "id": str(receipt.noun),
        "entry": str(receipt.entry),
        "seq": receipt.seq,
        "hash": receipt.hash,
        "is_new": receipt.is_new,
        "is_contested": receipt.is_contested,
    }


def told_plan(kept: Kept) -> dict[str, Any]:
    """A kept plan as a program reads it."""
    return {
        "mark": kept.mark,
        "inputs": kept.inputs,
        "made_at": kept.made_at.isoformat(timespec="seconds"),
        "entries": kept.document.entries,
        "plan": kept.document.plan.model_dump(mode="json", exclude_unset=True),
    }


def told_week(on: date, week: Week, changes: tuple[str, ...]) -> dict[str, Any]:
    """What is to decide and to do as a program reads it, and what the last plan changed."""
    return {
        "on": str(on),
        "sentence": week.sentence,
        "decide": [_told_item(item) for item in week.decide],
        "todo": [_told_item(item) for item in week.todo],
        "changes": list(changes),
    }


def _told_item(item: Item) -> dict[str, Any]:
    return {
        "kind": item.kind,
        "by": str(item.by),
        "what": item.what,
        "facts": [plain(fact) for fact in item.facts],
        "lot": item.lot or None,
        "place": item.place or None,
        "waiting_costs": item.waiting_costs,
    }


def _noun(kind: Kind, value: dict[str, Any]) -> Noun:
    try:
        return kind.noun.model_validate(value)
    except ValidationError as error:
        faults = [
            Fault(kind.name, ".".join(map(str, one["loc"])), _short(one.get("input")), one["msg"])
            for one in error.errors()
        ]
        raise InputError(kind.name, faults) from None


def _short(value: Any) -> str | None:
    return None if value is None or isinstance(value, dict) else str(value)[:60]


# --- its description ------------------------------------------------------------------------------


def described() -> dict[str, Any]:
    """The whole interface in the words of OpenAPI 3.1."""
    paths: dict[str, Any] = {}
    schemas: dict[str, Any] = dict(_SCHEMAS)
    plan = PlanDocument.model_json_schema(mode="serialization")
    schemas |= plan.pop("$defs", {}) | {"PlanDocument": plan}
    paths |= _paths_beside()
    for kind in KINDS:
        schema = json_schema(kind.noun)
        schemas |= schema.pop("$defs", {})
        schemas[kind.name] = {k: v for k, v in schema.items() if k != "$schema"}
        paths |= _paths(kind)
    return _moved({
        "openapi": "3.1.0",
        "info": {
            "title": "A farm's books", "version": __version__,
            "description": "Quantities are in SI, or written with their unit in text. "
            "Nothing is written over: a correction names the entries it has seen.",
        },
        "security": [{"token": []}],
        "paths": paths,
        "components": {
            "schemas": schemas,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    })  # fmt: skip


def _moved(value: Any) -> Any:
    """References into the components, where the parts of every noun stand."""
    if isinstance(value, dict):
        return {
            key: one.replace("#/$defs/", "#/components/schemas/") if key == "$ref" else _moved(one)
            for key, one in value.items()
        }
    return [_moved(one) for one in value] if isinstance(value, list) else value


def _paths(kind: Kind) -> dict[str, Any]:
    """The paths of one kind of noun."""
    many: dict[str, Any] = {"get": _operation(f"list_{kind.name}", "Page", _QUERY)}
    one: dict[str, Any] = {"get": _operation(f"get_{kind.name}", "Entry", [_ID])}
    past = {"get": _operation(f"history_{kind.name}", "History", [_ID])}
    paths = {f"{BASE}/{kind.name}": many, f"{BASE}/{kind.name}/{{noun}}": one,
             f"{BASE}/{kind.name}/{{noun}}/history": past}  # fmt: skip
    if is_written_by_programs(kind):
        value = {"value": {"$ref": f"#/components/schemas/{kind.name}"}}
        told = {"properties": value, "required": ["value"]}
        body = {"allOf": [{"$ref": "#/components/schemas/Said"}, told]}
        many["post"] = _operation(f"add_{kind.name}", "Receipt", [_KEY], body)
        one["put"] = _operation(f"correct_{kind.name}", "Receipt", [_ID, _KEY], body)
        seen = {"$ref": "#/components/schemas/Said"}
        withdraw = _operation(f"withdraw_{kind.name}", "Receipt", [_ID, _KEY], seen)
        paths[f"{BASE}/{kind.name}/{{noun}}/withdraw"] = {"post": withdraw}
    return paths


def _paths_beside() -> dict[str, Any]:
    """The paths of what is no noun: the plan, the days to keep, photos and papers."""
    raw = {"schema": {"type": "string", "format": "binary"}}
    kinds = dict.fromkeys(
        ("image/jpeg", "image/png", "image/webp", "application/pdf", "text/csv"), raw
    )
    key = _parameter("key", "path", {"type": "string", "pattern": CONTENT})
    got, put = _operation("get_content", "Content", [key]), _operation("add_content", "Content", [])
    got["responses"]["200"] = {"description": "done", "content": {"*/*": raw}}
    put["responses"]["201"] = put["responses"]["200"]
    put["requestBody"] = {"required": True, "content": kinds}
    return {
        f"{BASE}/season-plan": {"get": _operation("get_season_plan", "SeasonPlan", [])},
        f"{BASE}/this-week": {"get": _operation("get_this_week", "ThisWeek", [])},
        f"{BASE}/deadlines": {"get": _operation("list_deadlines", "Deadlines", [])},
        f"{BASE}/content": {"post": put},
        f"{BASE}/content/{{key}}": {"get": got},
    }


def _operation(name: str, answer: str, parameters: list[Any], body: Any = None) -> dict[str, Any]:
    schema = {"schema": {"$ref": f"#/components/schemas/{answer}"}}
    good = {"description": "done", "content": {"application/json": schema}}
    problem = {"schema": {"$ref": "#/components/schemas/Problem"}}
    bad = {"description": "refused", "content": {"application/problem+json": problem}}
    said: dict[str, Any] = {"operationId": name, "parameters": parameters}
    said["responses"] = {"200": good, "default": bad}
    if body is not None:
        said["requestBody"] = {"required": True, "content": {"application/json": {"schema": body}}}
        said["responses"]["201"] = good
    return said


def _parameter(name: str, where: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": where, "required": where == "path", "schema": schema}


_TEXT, _UUID = {"type": "string"}, {"type": "string", "format": "uuid"}
_DAY = {"type": "string", "format": "date"}
_ITEMS = {"type": "array", "items": {"$ref": "#/components/schemas/Item"}}
_ID = _parameter("noun", "path", _UUID)
LONGEST_KEY = 200  # characters of an Idempotency-Key
_KEY = _parameter(
    "Idempotency-Key", "header", {"type": "string", "minLength": 1, "maxLength": LONGEST_KEY}
)
_QUERY = [
    _parameter("season", "query", {"type": "integer", "minimum": 0, "maximum": 9999}),
    _parameter("lot", "query", _TEXT),
    _parameter("place", "query", _TEXT),
    _parameter("since", "query", {"type": "string", "format": "date"}),
    _parameter("until", "query", {"type": "string", "format": "date"}),
    _parameter("cursor", "query", {"type": "string", "pattern": "^[0-9]{1,18}$"}),
    _parameter("limit", "query", {"type": "integer", "minimum": 1, "maximum": MOST}),
]
ASKED = tuple(one["name"] for one in _QUERY)  # by what a list may be narrowed
_ENTRY = {
    "type": "object",
    "required": ["id", "kind", "entry", "value", "known_on", "who"],
    "properties": {"id": _UUID, "kind": _TEXT, "entry": _UUID, "revision": {"type": "integer"},
                   "value": {"type": ["object", "null"]}, "who": _TEXT, "why": _TEXT},
}  # fmt: skip
_SCHEMAS: dict[str, Any] = {
    "Said": Said.model_json_schema(),
    "Entry": _ENTRY,
    "History": {"type": "array", "items": {"$ref": "#/components/schemas/Entry"}},
    "Page": {
        "type": "object", "required": ["items", "next"],
        "properties": {"items": {"type": "array", "items": {"$ref": "#/components/schemas/Entry"}},
                       "next": {"type": ["string", "null"]}},
    },
    "Receipt": {
        "type": "object", "required": ["id", "entry", "seq", "hash", "is_new", "is_contested"],
        "properties": {"id": _UUID, "entry": _UUID, "seq": {"type": "integer"}, "hash": _TEXT,
                       "is_new": {"type": "boolean"}, "is_contested": {"type": "boolean"}},
    },
    "SeasonPlan": {
        "type": "object", "required": ["mark", "inputs", "made_at", "entries", "plan"],
        "properties": {"mark": _TEXT, "inputs": {"type": "string", "pattern": CONTENT},
                       "made_at": {"type": "string", "format": "date-time"},
                       "entries": {"type": "integer"},
                       "plan": {"$ref": "#/components/schemas/PlanDocument"}},
    },
    "ThisWeek": {
        "type": "object", "required": ["on", "sentence", "decide", "todo", "changes"],
        "properties": {"on": _DAY, "sentence": _TEXT, "decide": _ITEMS, "todo": _ITEMS,
                       "changes": {"type": "array", "items": _TEXT}},
    },
    "Item": {
        "type": "object", "description": "`waiting_costs` are the dollars a week's wait costs.",
        "required": ["kind", "by", "what", "facts", "lot", "place", "waiting_costs"],
        "properties": {"kind": _TEXT, "by": _DAY, "what": _TEXT,
                       "facts": {"type": "array", "items": _TEXT},
                       "lot": {"type": ["string", "null"]}, "place": {"type": ["string", "null"]},
                       "waiting_costs": {"type": "number"}},
    },
    "Deadlines": {"type": "array", "items": {"$ref": "#/components/schemas/Deadline"}},
    "Deadline": {
        "type": "object",
        "required": ["day", "due", "what", "why", "citation", "verify", "subject"],
        "properties": {"day": {"type": "string", "format": "date"}, "verify": {"type": "boolean"},
                       "due": {"enum": list(Due)}, "what": _TEXT, "why": _TEXT,
                       "citation": _TEXT, "subject": _TEXT,
                       "report": {"enum": [*ReportKind, None]},
                       "was_due": {"type": ["string", "null"], "format": "date"},
                       "is_at_once": {"type": "boolean"}},
    },
    "Content": {
        "type": "object", "required": ["hash", "size", "media_type"],
        "properties": {"hash": {"type": "string", "pattern": CONTENT},
                       "size": {"type": "integer"}, "media_type": _TEXT},
    },
    "Problem": {
        "type": "object", "required": ["type", "title", "status", "detail"],
        "properties": {"type": _TEXT, "title": _TEXT, "status": {"type": "integer"},
                       "detail": _TEXT, "faults": {"type": "array"}},
    },
}  # fmt: skip
