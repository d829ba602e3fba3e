"""Opening books: making them, and bringing older ones up to date, a backup first."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import sqlalchemy as sa

from tierpole.errors import StoreError
from tierpole.records import schema
from tierpole.records.chain import BEFORE_ALL
from tierpole.records.copies import backup, release_of
from tierpole.records.migrate import SCRIPTS, is_known, upgrade
from tierpole.records.store import Store, address


def open_store(
    where: str | Path,
    *,
    create: bool = False,
    backups: Path | None = None,
    scripts: Path = SCRIPTS,
    release: str = schema.RELEASE,
) -> Store:
    """Open the books in a file or at an address; with `create`, make them if there are none.

    Books of an older release are brought up to date, after a backup into the folder `backups`
    (beside the file unless said). Either all of an upgrade happens or nothing.
    """
    store = Store(address(where))
    if store.path is not None:
        _check(store.path, create)
    try:
        _bring_up(store, create, backups, scripts, release)
    except BaseException:
        store.close()
        raise
    return store


def _check(path: Path, create: bool) -> None:
    """A file that is there can be written, with the files that SQLite keeps beside it."""
    if path.exists():
        if not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
            raise StoreError(
                f"{path}: the file or its folder may only be read. "
                "Give leave to write both, or copy the file elsewhere."
            )
    elif not create:
        raise StoreError(f"{path}: there is no such file. Look at its name, or make new books.")


def _bring_up(
    store: Store, create: bool, backups: Path | None, scripts: Path, release: str
) -> None:
    found = release_of(store)
    if found == release:
        return
    if found is None and not create:
        raise StoreError(f"{store}: holds no books. Look at its name, or make new books there.")
    if found is not None:
        if not is_known(found, scripts):
            raise StoreError(f"{store}: was written by a newer Tierpole ({found}). Update yours.")
        backup(store, _place(store, backups, found))
    with store.writing() as connection:
        upgrade(connection, scripts)
        if connection.execute(sa.select(schema.head.c.id)).first() is None:
            first = {"id": 1, "farm": uuid4(), "seq": 0, "hash": BEFORE_ALL}
            connection.execute(sa.insert(schema.head).values(first))


def _place(store: Store, backups: Path | None, found: str) -> Path:
    """Where the backup before an upgrade goes."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    if store.path is not None:
        folder, name = backups or store.path.parent, store.path.stem
    elif backups is not None:
        folder, name = backups, str(store.url.database)
    else:
        raise StoreError(f"{store}: must be brought up to date; say where its backup is to go.")
    return folder / f"{name}-before-upgrade-from-{found}-{stamp}.db"
