"""The books as an open package, and back without loss.

A zip as the Data Package standard (version 2) describes it: ``datapackage.json`` lists all that
is in it. ``journal.csv`` is the journal itself, every entry with its hash; ``contents/`` holds
photos and papers by their hash. From these two the books are made again. ``tables/`` shows each
kind of noun as it stands, for people and spreadsheets, in the units of its columns, and
``schemas/`` says in JSON Schema what each noun may say.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import IO, Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.errors import StoreError
from tierpole.records import schema
from tierpole.records.copies import whole
from tierpole.records.kinds import KINDS, Kind
from tierpole.records.reading import noun_of
from tierpole.records.schemas import Column, columns, json_schema
from tierpole.records.store import Store

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
DESCRIPTOR, JOURNAL = "datapackage.json", "journal.csv"
AT_ONCE = 1_000
KEPT = tuple(column.name for column in schema.entry.columns)
_TYPES = {"seq": "integer", "revision": "integer", "season": "integer"} | {
    "known_on": "date",
    "is_contested": "boolean",
}
_SAYS = ("seq", "kind", "payload")
_ABOUT = ("noun", "season", "known_on", "entered_at", "who", "why")
_FORMULA = frozenset("'=+-@\t\r")  # what a spreadsheet runs, and the sign that stops it


def export_package(store: Store, path: Path) -> Path:
    """Write the books as they are at this moment into one new zip."""
    if path.exists():
        raise StoreError(f"{path}: is there already. Name another file.")
    with (
        whole(path) as part,
        store.reading() as connection,
        zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive,
    ):
        described = _described(connection, list(_resources(connection, archive)))
        archive.writestr(DESCRIPTOR, json.dumps(described, indent=1, ensure_ascii=False))
    return path


def _described(connection: Connection, resources: list[dict[str, Any]]) -> dict[str, Any]:
    head = connection.execute(sa.select(schema.head)).mappings().one()
    return {
        "$schema": PROFILE,
        "name": f"farm-books-{head['farm']}",
        "title": "A farm's books",
        "created": datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        "release": schema.RELEASE,
        "farm": str(head["farm"]),
        "seal": {"seq": head["seq"], "hash": head["hash"]},
        "resources": resources,
    }


def _resources(connection: Connection, archive: zipfile.ZipFile) -> Iterator[dict[str, Any]]:
    journal = connection.execute(sa.select(schema.entry).order_by(schema.entry.c.seq))
    fields = [{"name": name, "type": _TYPES.get(name, "string")} for name in KEPT]
    lines = (list(map(_cell, row)) for row in journal.yield_per(AT_ONCE))
    yield _table(archive, "journal", JOURNAL, fields, lines, "seq")
    for kind in KINDS:
        rows = connection.execute(_standing(kind)).yield_per(AT_ONCE)
        yield _sheet(archive, kind, rows)
        text = json.dumps(json_schema(kind.noun), indent=1, ensure_ascii=False)
        yield _file(archive, f"schema-{kind.name}", f"schemas/{kind.name}.json", text.encode())
    kept = connection.execute(sa.select(schema.content).order_by(schema.content.c.hash))
    for row in kept.yield_per(8).mappings():
        yield _file(archive, f"content-{row['hash']}", f"contents/{row['hash']}", row["bytes"])


def _standing(kind: Kind) -> sa.Select[Any]:
    entry, current = schema.entry.c, schema.current.c
    wanted = sa.select(*(entry[name] for name in (*_SAYS, *_ABOUT)))
    wanted = wanted.join(schema.current, current.seq == entry.seq)
    return wanted.where(current.kind == kind.name, ~current.is_withdrawn).order_by(current.first)


def _sheet(archive: zipfile.ZipFile, kind: Kind, rows: Iterable[Any]) -> dict[str, Any]:
    """A kind of noun as it stands, for people."""
    own = columns(kind.noun)
    about = [{"name": f"entry_{name}", "type": _TYPES.get(name, "string")} for name in _ABOUT]
    fields = [*(column.described for column in own), *about]
    lines = ([*_said(own, row), *map(_cell, row[len(_SAYS) :])] for row in rows)
    return _table(archive, kind.name, f"tables/{kind.name}.csv", fields, lines, "entry_noun")


def _said(own: list[Column], row: Any) -> Iterator[str]:
    noun = noun_of(*row[: len(_SAYS)])
    for column in own:
        value = column.shown(noun)
        if column.kind == "array":
            value = json.dumps(noun.model_dump(mode="json")[column.field], ensure_ascii=False)
        yield str(value) if column.kind == "number" and value is not None else _cell(value)


def _cell(value: Any) -> str:
    """A value as text; what a spreadsheet would run as a formula begins with an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = str(value)
    return f"'{text}" if text[:1] in _FORMULA else text


def _table(
    archive: zipfile.ZipFile,
    name: str,
    path: str,
    fields: list[dict[str, Any]],
    lines: Iterator[list[str]],
    key: str,
) -> dict[str, Any]:
    """Write a table and describe it."""
    counted = _Counted()
    with archive.open(path, "w", force_zip64=True) as file:
        while part := list(islice(lines, AT_ONCE)):
            counted.write(
                file, _csv(part if counted.size else [[f["name"] for f in fields], *part])
            )
        if not counted.size:
            counted.write(file, _csv([[f["name"] for f in fields]]))
    described = {"name": name, "type": "table", "path": path, "format": "csv"}
    described |= {"mediatype": "text/csv", "encoding": "utf-8", **counted.said}
    return {**described, "schema": {"fields": fields, "primaryKey": [key]}}


def _csv(lines: Iterable[list[str]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(lines)
    return text.getvalue().encode()


def _file(archive: zipfile.ZipFile, name: str, path: str, data: bytes) -> dict[str, Any]:
    """Write a file and describe it."""
    counted = _Counted()
    with archive.open(path, "w", force_zip64=True) as file:
        counted.write(file, data)
    return {"name": name, "path": path, **counted.said}


class _Counted:
    """Bytes that were written, and their hash."""

    def __init__(self) -> None:
        self.size = 0
        self._digest = hashlib.sha256()

    def write(self, file: IO[bytes], data: bytes) -> None:
        """Write and count."""
        file.write(data)
        self.size += len(data)
        self._digest.update(data)

    @property
    def said(self) -> dict[str, Any]:
        """Size and hash as the standard writes them."""
        return {"bytes": self.size, "hash": f"sha256:{self._digest.hexdigest()}"}
