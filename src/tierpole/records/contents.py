"""Photos, papers and weather files, kept in the books by their own hash."""

from __future__ import annotations

from collections.abc import Iterable

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.errors import StoreError
from tierpole.records import schema
from tierpole.records.chain import sha256
from tierpole.records.days import check_days
from tierpole.records.journal import Change, Receipt, write_all
from tierpole.records.store import Store


def put(connection: Connection, contents: Iterable[bytes]) -> list[str]:
    """Keep contents, each once however often it is handed in; their hashes."""
    given = [(sha256(one), one) for one in contents]
    kept = dict(given)
    have = sa.select(schema.content.c.hash).where(schema.content.c.hash.in_(kept))
    new = kept.keys() - set(connection.execute(have).scalars())
    rows = [{"hash": key, "size": len(kept[key]), "bytes": kept[key]} for key in sorted(new)]
    if rows:
        connection.execute(sa.insert(schema.content), rows)
    return [key for key, _ in given]


def get(connection: Connection, key: str) -> bytes:
    """The content of a hash."""
    found = connection.execute(
        sa.select(schema.content.c.bytes).where(schema.content.c.hash == key)
    ).scalar()
    if found is None:
        raise StoreError(f"The content {key} is not in the books.")
    return bytes(found)


def content_key(data: bytes) -> str:
    """The hash a content is kept and asked for by."""
    return sha256(data)


def write_with(
    store: Store, changes: Iterable[Change], contents: Iterable[bytes], who: str
) -> tuple[Receipt, ...]:
    """Write changes down together with the contents they name, all or nothing.

    For the few changes of one form or call: whoever else writes just now shares the transaction.
    Raises `InputError` also for what is said to have happened on a day to come.
    """
    every, named = list(changes), list(contents)
    check_days(store, (change.noun for change in every))

    def both(connection: Connection) -> tuple[Receipt, ...]:
        if named:
            put(connection, named)
        return write_all(connection, every, who)

    return store.write_together(both)


def read_content(store: Store, key: str) -> bytes:
    """A photo or paper by its hash."""
    with store.reading() as connection:
        return get(connection, key)
