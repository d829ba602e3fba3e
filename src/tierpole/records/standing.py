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
from tierpole.records.kinds import kind_named

_COLUMNS = tuple(column.name for column in schema.current.columns)


@dataclass(slots=True)
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


class Part:
    """A part of the journal that is added: its entries, and the nouns they move."""

    def __init__(self, connection: Connection, nouns: Collection[UUID]):
        self._connection = connection
        self._standing = _standings(connection, nouns)
        self._rows: list[dict[str, Any]] = []
        self._moved: dict[UUID, Standing] = {}
        self._old = set(self._standing)  # the nouns that stood before
        self._ended: list[int] = []

    def of(self, noun: UUID) -> Standing | None:
        """How a noun stands now."""
        return self._standing.get(noun)

    def add(self, row: dict[str, Any], noun: Noun | None) -> None:
        """Take the next entry: in force, unless it is contested; the rivals it corrects end."""
        before = self.of(row["noun"])
        rivals = before.rivals if before else {}
        corrected = (UUID(one) for one in row["corrects"].split())
        self._ended += [rivals.pop(one) for one in corrected if one in rivals]
        self._rows.append(row)
        if row["is_contested"]:
            rivals[row["id"]] = row["seq"]
        else:
            now = _after(row, noun, before, rivals)
            self._standing[now.noun] = self._moved[now.noun] = now

    def keep(self) -> None:
        """Write the entries down, and move what points to them."""
        if not self._rows:
            return
        rival, ours = schema.rival, self._connection
        ours.execute(sa.insert(schema.entry), self._rows)
        _keep(ours, list(self._moved.values()), self._old)
        contested = [row for row in self._rows if row["is_contested"]]
        if contested:
            rows = [{"seq": row["seq"], "noun": row["noun"]} for row in contested]
            ours.execute(sa.insert(rival), rows)
        if self._ended:
            ours.execute(sa.delete(rival).where(rival.c.seq.in_(self._ended)))


def _standings(connection: Connection, nouns: Collection[UUID]) -> dict[UUID, Standing]:
    """How these nouns stand, those of them that are in the books."""
    entry, current, rival = schema.entry, schema.current, schema.rival
    wanted = sa.select(current, entry.c.id.label("entry"), entry.c.revision).join(
        entry, entry.c.seq == current.c.seq
    )
    found = connection.execute(wanted.where(current.c.noun.in_(nouns))).mappings()
    by_noun = {row["noun"]: Standing(**row) for row in found}
    if not by_noun:
        return {}
    rivals = sa.select(rival.c.noun, entry.c.id, rival.c.seq).join(
        entry, entry.c.seq == rival.c.seq
    )
    for noun, id_, seq in connection.execute(rivals.where(rival.c.noun.in_(nouns))):
        by_noun[noun].rivals[id_] = seq
    return by_noun


def _after(
    row: dict[str, Any], noun: Noun | None, before: Standing | None, rivals: dict[UUID, int]
) -> Standing:
    """How a noun stands once the entry of a row is in force."""
    return Standing(
        noun=row["noun"],
        seq=row["seq"],
        first=before.first if before else row["seq"],
        kind=row["kind"],
        season=row["season"],
        is_withdrawn=noun is None,
        name=getattr(noun, "name", None),
        lot=getattr(noun, "lot", None),
        place=getattr(noun, "place", None),
        day=None if noun is None else kind_named(row["kind"]).day_of(noun),
        entry=row["id"],
        revision=row["revision"],
        rivals=rivals,
    )


def _keep(connection: Connection, moved: Collection[Standing], old: set[UUID]) -> None:
    """Write how these nouns stand now."""
    if not moved:
        return
    current = schema.current
    again = [one.noun for one in moved if one.noun in old]
    if again:
        connection.execute(sa.delete(current).where(current.c.noun.in_(again)))
    rows = [{name: getattr(one, name) for name in _COLUMNS} for one in moved]
    connection.execute(sa.insert(current), rows)
