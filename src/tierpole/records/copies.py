"""Backups of books that are open and being written, and books made again from a backup.

A backup is one SQLite file that holds everything, whatever the books themselves live in, and is
itself a farm's books: it can be opened. It has its name only once it is whole and on the disk.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Generator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.errors import StoreError
from tierpole.records.audit import Verdict, verify
from tierpole.records.migrate import upgrade
from tierpole.records.store import Store, address
from tierpole.records.trouble import told

AT_ONCE = 1_000
VERSION = "alembic_version"


def release_of(store: Store) -> str | None:
    """The release of the tables in the books; None for an empty file or database."""
    with store.reading() as connection:
        names = set(sa.inspect(connection).get_table_names())
        if VERSION not in names:
            if names:
                raise StoreError(f"{store}: is something else, not a farm's books.")
            return None
        return connection.execute(sa.text(f"SELECT version_num FROM {VERSION}")).scalar()  # noqa: S608


def holds_books(where: str) -> bool:
    """Whether there are books at an address; `StoreError` when it cannot be told."""
    with Store(address(where)) as store:
        return release_of(store) is not None


def backup(store: Store, target: Path) -> Path:
    """Copy the books, as they are at this moment, into one new file; writers go on meanwhile."""
    if target.exists():
        raise StoreError(f"{target}: is there already. Name another file for the backup.")
    with whole(target) as part:
        _write_copy(store, part)
    return target


def restore(source: Path, where: str | Path, *, replace: bool = False) -> Verdict:
    """Make a farm's books again from a backup, once its chain has been checked.

    Books that are there are only replaced when asked for, and are then kept beside, under a name
    with the time. A database server must be given an empty database.
    """
    if not source.exists():
        raise StoreError(f"{source}: there is no such file.")
    with Store(address(source)) as backed_up, Store(address(where)) as target:
        verdict = _checked(backed_up)
        if target.path is None:
            _copy(backed_up, target)
            return verdict
        if target.path.exists() and not replace:
            raise StoreError(f"{target}: is there already. Ask for it to be replaced.")
        with whole(target.path) as part:
            _write_copy(backed_up, part)
            _set_aside(target.path)
    return verdict


@contextmanager
def whole(target: Path) -> Generator[Path]:
    """A file to write beside the target; it becomes the target once it is whole and on the disk."""
    part = target.with_name(f".{target.name}.{uuid4().hex}.part")
    try:
        with _on_disk(target):
            yield part
            _sync(part)
            part.replace(target)
            _sync(target.parent)
    finally:
        for suffix in ("", "-wal", "-shm", "-journal"):
            part.with_name(part.name + suffix).unlink(missing_ok=True)


@contextmanager
def _on_disk(target: Path) -> Generator[None]:
    try:
        yield
    except OSError as error:
        raise StoreError(f"{target}: could not be written ({error.strerror}).") from None


def _sync(path: Path) -> None:
    """Wait until a file, or what a folder holds, is on the disk."""
    if os.name == "nt" and path.is_dir():
        return
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _write_copy(store: Store, part: Path) -> None:
    if not store.is_file:
        with Store(address(part)) as target:
            _copy(store, target)
        return
    with told(part, "The copy was not made"), closing(store.engine.raw_connection()) as raw:
        raw.cursor().execute("VACUUM INTO ?", (str(part),))


def _checked(backed_up: Store) -> Verdict:
    if release_of(backed_up) is None:
        raise StoreError(f"{backed_up}: is empty, not a backup of a farm's books.")
    verdict = verify(backed_up)
    if verdict.is_sound:
        return verdict
    raise StoreError(f"{backed_up}: cannot be trusted: {verdict.broken}. Take another backup.")


def _set_aside(path: Path) -> None:
    """Rename books that are replaced, with what SQLite keeps beside them."""
    if path.exists():
        _be_alone(path)
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    aside = path.with_name(f"{path.stem}-before-restore-{stamp}{path.suffix}")
    for suffix in ("", "-wal", "-shm"):  # the file first: what is left of it must not be opened
        with suppress(FileNotFoundError):
            path.with_name(path.name + suffix).rename(aside.with_name(aside.name + suffix))


def _be_alone(path: Path) -> None:
    """Refuse while another program has the books open; damaged books cannot be asked."""
    with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as connection:
        try:
            connection.execute("PRAGMA locking_mode = EXCLUSIVE")
            connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                raise StoreError(f"{path}: is open in another program. Stop it first.") from None
        except sqlite3.DatabaseError:
            return


def _copy(source: Store, target: Store) -> None:
    """Copy every row, whatever release and kind of database, into an empty one."""
    release = release_of(source)
    with source.reading() as old, target.writing() as new:
        if sa.inspect(new).get_table_names():
            raise StoreError(f"{target}: is not empty.")
        upgrade(new, release=release or "head")
        theirs, ours = sa.MetaData(), sa.MetaData()
        theirs.reflect(old)
        ours.reflect(new)
        for table in ours.sorted_tables:
            if table.name != VERSION:
                _copy_table(old, theirs.tables[table.name], new, table)


def _copy_table(old: Connection, source: sa.Table, new: Connection, target: sa.Table) -> None:
    rows = old.execute(sa.select(source)).yield_per(AT_ONCE).mappings()
    for part in rows.partitions():
        new.execute(sa.insert(target), [_fitted(row, target) for row in part])


def _fitted(row: Any, target: sa.Table) -> dict[str, Any]:
    """A row as the other kind of database takes it: ids are its own type there, text here."""
    return {column.name: _id(row[column.name], column.type) for column in target.columns}


def _id(value: Any, kind: sa.types.TypeEngine[Any]) -> Any:
    if isinstance(kind, sa.Uuid):
        return value if isinstance(value, UUID) else UUID(value)
    return value.hex if isinstance(value, UUID) else value
