"""Books made again from an open package: its journal and contents, every hash checked."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from datetime import date
from itertools import islice
from pathlib import Path
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from pydantic import ValidationError
from sqlalchemy.engine import Connection

from tierpole.errors import Fault, InputError, StoreError
from tierpole.farm import Noun
from tierpole.records import schema
from tierpole.records.audit import Seal, Verdict, verify_in
from tierpole.records.contents import put
from tierpole.records.copies import release_of, whole
from tierpole.records.kinds import kind_named
from tierpole.records.migrate import is_known, upgrade
from tierpole.records.package import AT_ONCE, DESCRIPTOR, JOURNAL, KEPT
from tierpole.records.standing import Part
from tierpole.records.store import Store, address

MOST = 4_000_000_000  # bytes that a package may unpack to
PACKED = 200  # times it may be larger unpacked, once it is larger than
SMALL = 100_000_000

LONGEST_CELL = 10_000_000  # characters; an attached note or photo stands in one cell


def import_package(path: Path, where: str | Path) -> Verdict:
    """Make a farm's books again from a package, in a new file or an empty database.

    Every entry is read, the chain and the seal of the package are checked; else nothing is made.
    """
    target = Store(address(where))
    with target, _opened(path) as (archive, described):
        if target.path is None:
            if release_of(target) is not None:
                raise StoreError(f"{target}: is not empty.")
            return _fill(target, path, archive, described)
        if target.path.exists():
            raise StoreError(f"{target}: is there already. Name a new file.")
        with whole(target.path) as part, Store(address(part)) as made:
            return _fill(made, path, archive, described)


@contextmanager
def _opened(path: Path) -> Generator[tuple[zipfile.ZipFile, dict[str, Any]]]:
    """A package that is one, of a size to be unpacked, and what it says of itself."""
    try:
        with zipfile.ZipFile(path) as archive:
            size = sum(one.file_size for one in archive.infolist())
            if size > MOST or size > max(SMALL, PACKED * path.stat().st_size):
                raise _refused(path, f"{size:,} bytes unpacked", "a package of a farm's own size")
            described = json.loads(archive.read(DESCRIPTOR))
            found = described.get("release")
            if not is_known(found):  # in every release until now the journal says the same
                raise _refused(path, found, f"of release {schema.RELEASE} or an earlier one")
            yield archive, described
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror or error}).") from None
    except (zipfile.BadZipFile, KeyError, TypeError, ValueError) as error:
        raise _refused(path, str(error) or None, "a package of a farm's books") from None


def _refused(path: Path, found: object, allowed: str) -> InputError:
    return InputError(path.name, [Fault("the package", "", found, allowed)])


def _fill(store: Store, path: Path, archive: zipfile.ZipFile, described: dict[str, Any]) -> Verdict:
    seal = Seal(**described["seal"])
    with store.writing() as connection:
        upgrade(connection)
        _contents(connection, archive)
        _journal(connection, archive, path)
        first = {"id": 1, "farm": UUID(described["farm"]), "seq": seal.seq, "hash": seal.hash}
        connection.execute(sa.insert(schema.head).values(first))
        verdict = verify_in(connection, [seal])
        if not verdict.is_sound:
            raise _refused(path, verdict.broken, "whole and unchanged")
    return verdict


def _contents(connection: Connection, archive: zipfile.ZipFile) -> None:
    for name in archive.namelist():
        if name.startswith("contents/"):
            put(connection, [archive.read(name)])


@contextmanager
def _long_cells() -> Generator[None]:
    """Let the CSV reader take long cells, for everybody in the process, only meanwhile."""
    before = csv.field_size_limit(LONGEST_CELL)
    try:
        yield
    finally:
        csv.field_size_limit(before)


def _journal(connection: Connection, archive: zipfile.ZipFile, path: Path) -> None:
    """Add every entry, and bring each noun to where its last one left it."""
    with archive.open(JOURNAL) as file:
        rows = _rows(csv.DictReader(io.TextIOWrapper(file, "utf-8", newline="")), path)
        while pairs := list(islice(rows, AT_ONCE)):
            part = Part(connection, [row["noun"] for row, _ in pairs])
            for row, noun in pairs:
                part.add(row, noun)
            part.keep()


def _rows(lines: csv.DictReader[str], path: Path) -> Iterator[tuple[dict[str, Any], Noun | None]]:
    """The entries of a journal, each with its noun, read and checked."""
    if tuple(lines.fieldnames or ()) != KEPT:
        raise _refused(path, ",".join(lines.fieldnames or ()) or None, ",".join(KEPT))
    for line in lines:
        row = {name: _uncelled(text) for name, text in line.items()}
        payload = row["payload"] or None
        try:
            kind = kind_named(row["kind"]).noun
            yield _typed(row, payload), kind.model_validate_json(payload) if payload else None
        except (ValidationError, ValueError, TypeError):
            fault = Fault(f"{JOURNAL}, entry {row['seq']}", "", row["payload"], "a sound entry")
            raise InputError(path.name, [fault]) from None


def _uncelled(text: str) -> str:
    """What a cell holds, without the apostrophe that kept a spreadsheet from running it."""
    return text.removeprefix("'")


def _typed(row: dict[str, str], payload: str | None) -> dict[str, Any]:
    return row | {
        "seq": int(row["seq"]),
        "id": UUID(row["id"]),
        "noun": UUID(row["noun"]),
        "revision": int(row["revision"]),
        "payload": payload,
        "season": int(row["season"]) if row["season"] else None,
        "known_on": date.fromisoformat(row["known_on"]),
        "is_contested": row["is_contested"] == "true",
    }
