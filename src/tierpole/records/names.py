"""Names in the books: what is named is there, what is new is new, what is used stays."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.errors import Fault
from tierpole.farm import Noun
from tierpole.records import schema
from tierpole.records.kinds import KINDS, REFERENCES, Kind, kind_named, references

_CURRENT = schema.current.c
_FIELD_OF = {kind: field for field, kinds in REFERENCES.items() for kind in kinds}


class Names:
    """The names in force while one transaction writes; each is looked up once."""

    def __init__(self, connection: Connection):
        self.connection = connection
        self._found: dict[tuple[str, str], dict[UUID, int | None]] = {}
        self._gone: set[UUID] = set()  # withdrawn meanwhile, whatever the tables still say

    def faults(
        self, kind: Kind, of: UUID, noun: Noun | None, old: str | None, season: int | None
    ) -> Iterator[Fault]:
        """What is wrong with the names of a noun that is written, whose name was `old`."""
        new = getattr(noun, "name", None)
        for field, name in references(noun) if noun else ():
            if not any(self._of(one, name) for one in REFERENCES[field]):
                allowed = f"the name of a {REFERENCES[field][0]} in the books"
                yield Fault(_place(kind, new), field, name, allowed)
        if kind.name not in _FIELD_OF:
            return
        if new is not None and new != old and self._is_taken(kind, of, new, season):
            yield Fault(_place(kind, new), "name", new, f"different from the other {kind.name}s")
        if old is not None and new != old and (user := self._user(kind, old, season)):
            allowed = f"left as it is, for a {user} names it"
            yield Fault(_place(kind, old), "name", new or "withdrawn", allowed)

    def season_of(self, noun: Noun, day: date | None) -> int | None:
        """The season of the first thing a noun names that has one: the latest not after its day."""
        for field, name in references(noun):
            found = (self._of(kind, name).values() for kind in REFERENCES[field])
            seasons = sorted(one for seasons in found for one in seasons if one is not None)
            begun = [one for one in seasons if day is None or one <= day.year]
            if seasons:
                return begun[-1] if begun else seasons[0]
        return None

    def moved(
        self, kind: str, of: UUID, old: str | None, new: str | None, season: int | None
    ) -> None:
        """A noun's name was `old` and is `new`; None where it has none."""
        if old is not None:
            self._of(kind, old).pop(of, None)
        if new is not None:
            self._of(kind, new)[of] = season

    def withdrawn(self, of: UUID) -> None:
        """A noun is no more, and names nothing any more."""
        self._gone.add(of)

    def _of(self, kind: str, name: str) -> dict[UUID, int | None]:
        """The nouns in force of a kind that bear a name, with their seasons."""
        if (kind, name) not in self._found:
            wanted = sa.select(_CURRENT.noun, _CURRENT.season).where(
                _CURRENT.kind == kind, _CURRENT.name == name, ~_CURRENT.is_withdrawn
            )
            self._found[kind, name] = {
                row.noun: row.season for row in self.connection.execute(wanted)
            }
        return self._found[kind, name]

    def _is_taken(self, kind: Kind, of: UUID, name: str, season: int | None) -> bool:
        alike = REFERENCES[_FIELD_OF[kind.name]]
        bearers = [pair for one in alike for pair in self._of(one, name).items()]
        return any(noun != of and year == season for noun, year in bearers)

    def _user(self, kind: Kind, name: str, season: int | None) -> str | None:
        """The kind of something that names a noun, if there is any."""
        field = _FIELD_OF[kind.name]
        using = [one.name for one in KINDS if field in one.noun.model_fields]
        wanted = sa.select(_CURRENT.noun, _CURRENT.kind, schema.entry.c.payload).join(
            schema.entry, schema.entry.c.seq == _CURRENT.seq
        )
        wanted = wanted.where(_CURRENT.kind.in_(using), ~_CURRENT.is_withdrawn)
        if field in _CURRENT:
            wanted = wanted.where(_CURRENT[field] == name)
        if season is not None:
            wanted = wanted.where(_CURRENT.season == season)
        for of, user, payload in self.connection.execute(wanted):
            noun = kind_named(user).noun.model_validate_json(payload)
            if of not in self._gone and (field, name) in references(noun):
                return user
        return None


def _place(kind: Kind, name: str | None) -> str:
    return f'{kind.name} "{name}"' if name else kind.name
