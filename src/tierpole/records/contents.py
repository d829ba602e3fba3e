"""Photos, papers and weather files, kept in the books by their own hash."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime
from uuid import UUID, uuid4

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.errors import StoreError
from tierpole.farm.books import Attachment
from tierpole.records import schema
from tierpole.records.chain import sha256
from tierpole.records.journal import Change, Receipt, write_all
from tierpole.records.store import Store


def put(connection: Connection, contents: Iterable[bytes]) -> list[str]:
    """Keep contents, each once however often it is handed in; their hashes."""
    kept = {sha256(one): one for one in contents}
    have = sa.select(schema.content.c.hash).where(schema.content.c.hash.in_(kept))
    new = kept.keys() - set(connection.execute(have).scalars())
    rows = [{"hash": key, "size": len(kept[key]), "bytes": kept[key]} for key in sorted(new)]
    if rows:
        connection.execute(sa.insert(schema.content), rows)
    return list(kept)


def get(connection: Connection, key: str) -> bytes:
    """The content of a hash."""
    found = connection.execute(
        sa.select(schema.content.c.bytes).where(schema.content.c.hash == key)
    ).scalar()
    if found is None:
        raise StoreError(f"The content {key} is not in the books.")
    return bytes(found)


def attach(
    store: Store,
    data: bytes,
    name: str,
    media_type: str,
    who: str,
    *,
    on: date | None = None,
    lot: str | None = None,
    place: str | None = None,
    note: str = "",
    id_: UUID | None = None,
) -> Receipt:
    """Keep a photo or paper with what it is called and what it is about, in one transaction."""
    at = datetime.now(UTC)
    day = on or at.astimezone().date()
    said = {"lot": lot, "place": place, "note": note or None}
    about = {key: value for key, value in said.items() if value is not None}
    with store.writing() as connection:
        key = put(connection, [data])[0]
        noun = Attachment(
            name=name, media_type=media_type, content=key, size=len(data), added_on=day, **about
        )
        return write_all(connection, [Change(noun, id=id_ or uuid4())], who, at)[0]


def read_content(store: Store, key: str) -> bytes:
    """A photo or paper by its hash."""
    with store.reading() as connection:
        return get(connection, key)
