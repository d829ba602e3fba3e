"""Where each noun stands: the entry in force, and the rivals nobody has decided on."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.farm import Noun
from tierpole.records import schema
from tierpole.records.kinds import Kind, kind_named

_COLUMNS = tuple(column.name for column in schema.current.columns)


@dataclass
class Standing:
    """One noun: what `current` says of it, the id and revision of the entry in force, rivals."""

    noun: UUID
    seq: int
    first: int
    kind: str
    season: int | None
    is_withdrawn: bool
    name: str | None
    lot: str | None
    place: str | None
    day: date | None
    entry: UUID
    revision: int
    rivals: dict[UUID, int] = field(default_factory=dict)


def standings(connection: Connection, nouns: Collection[UUID]) -> dict[UUID, Standing]:
    """How these nouns stand, those of them that are in the books."""
    entry, current, rival = schema.entry, schema.current, schema.rival
    wanted = sa.select(current, entry.c.id.label("entry"), entry.c.revision).join(
        entry, entry.c.seq == current.c.seq
    )
    found = connection.execute(wanted.where(current.c.noun.in_(nouns))).mappings()
    by_noun = {row["noun"]: Standing(**row) for row in found}
    rivals = sa.select(rival.c.noun, entry.c.id, rival.c.seq).join(
        entry, entry.c.seq == rival.c.seq
    )
    for noun, id_, seq in connection.execute(rivals.where(rival.c.noun.in_(nouns))):
        by_noun[noun].rivals[id_] = seq
    return by_noun


def after(row: dict[str, Any], noun: Noun | None, before: Standing | None) -> Standing:
    """How a noun stands once the entry of a row is in force."""
    kind = kind_named(row["kind"])
    return Standing(
        noun=row["noun"],
        seq=row["seq"],
        first=before.first if before else row["seq"],
        kind=kind.name,
        season=row["season"],
        is_withdrawn=noun is None,
        name=getattr(noun, "name", None),
        lot=getattr(noun, "lot", None),
        place=getattr(noun, "place", None),
        day=_day(kind, noun),
        entry=row["id"],
        revision=row["revision"],
        rivals=before.rivals if before else {},
    )


def keep(connection: Connection, moved: Collection[Standing]) -> None:
    """Write how these nouns stand now."""
    if not moved:
        return
    current = schema.current
    nouns = [one.noun for one in moved]
    connection.execute(sa.delete(current).where(current.c.noun.in_(nouns)))
    rows = [{name: getattr(one, name) for name in _COLUMNS} for one in moved]
    connection.execute(sa.insert(current), rows)


def _day(kind: Kind, noun: Noun | None) -> date | None:
    return None if noun is None else kind.day_of(noun)
