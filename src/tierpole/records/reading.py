"""Reading the books: nouns as they stand or stood, their history, and what waits for a decision."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple
from uuid import UUID
from weakref import WeakValueDictionary

import sqlalchemy as sa
from pydantic import ValidationError
from sqlalchemy.engine import Connection

from tierpole.errors import StoreError
from tierpole.farm import Noun
from tierpole.records import schema
from tierpole.records.kinds import kind_named
from tierpole.records.store import Store

_ENTRY = schema.entry.c
_CURRENT = schema.current.c


@dataclass(frozen=True)
class Entry:
    """An entry of the journal; `noun` is None when it withdraws."""

    seq: int
    id: UUID
    kind: str
    of: UUID
    revision: int
    corrects: tuple[UUID, ...]
    noun: Noun | None
    season: int | None
    known_on: date
    entered_at: str
    who: str
    why: str
    is_contested: bool
    hash: str


@dataclass(frozen=True)
class Wanted:
    """Which nouns are wanted; `after` is the `seq` of the first entry of the last one seen."""

    kind: str
    season: int | None = None
    lot: str | None = None
    place: str | None = None
    name: str | None = None
    since: date | None = None
    until: date | None = None
    after: int = 0
    limit: int | None = None


@dataclass(frozen=True)
class Stored:
    """A noun as it stands: the entry in force, and `first`, its place among all nouns."""

    entry: Entry
    first: int

    @property
    def noun(self) -> Any:
        """What the noun says."""
        return self.entry.noun


class Known(NamedTuple):
    """A noun as it was known on a day, and its season."""

    kind: str
    season: int | None
    noun: Noun


@dataclass(frozen=True)
class Conflict:
    """A noun that several people corrected at once: the entry in force, and its rivals."""

    in_force: Entry
    rivals: tuple[Entry, ...]


def nouns(store: Store, wanted: Wanted) -> list[Stored]:
    """Nouns as they stand, without those withdrawn, in the order they were first written."""
    query = sa.select(schema.entry, _CURRENT.first).join(schema.current, _CURRENT.seq == _ENTRY.seq)
    query = query.where(*_conditions(wanted)).order_by(_CURRENT.first).limit(wanted.limit)
    with store.reading() as connection:
        found = connection.execute(query).mappings()
        return [Stored(entry_of(row), row["first"]) for row in found]


def _conditions(wanted: Wanted) -> Iterator[sa.ColumnElement[bool]]:
    yield _CURRENT.kind == wanted.kind
    yield ~_CURRENT.is_withdrawn
    for name in ("season", "lot", "place", "name"):
        if (value := getattr(wanted, name)) is not None:
            yield _CURRENT[name] == value
    if wanted.since is not None:
        yield _CURRENT.day >= wanted.since
    if wanted.until is not None:
        yield _CURRENT.day <= wanted.until
    if wanted.after:
        yield _CURRENT.first > wanted.after


def latest(
    store: Store, kind: str, *, lot: str | None = None, place: str | None = None
) -> Stored | None:
    """The noun of a kind with the latest own day, of a lot or place: what a form starts from."""
    conditions = _conditions(Wanted(kind, lot=lot, place=place))
    query = (
        sa.select(schema.entry, _CURRENT.first)
        .join(schema.current, _CURRENT.seq == _ENTRY.seq)
        .where(*conditions)
        .order_by(_CURRENT.day.desc(), _CURRENT.first.desc())
        .limit(1)
    )
    with store.reading() as connection:
        row = connection.execute(query).mappings().first()
    return Stored(entry_of(row), row["first"]) if row else None


def history(store: Store, noun: UUID) -> list[Entry]:
    """Every entry of a noun, oldest first: each old value with who, when and why."""
    query = sa.select(schema.entry).where(_ENTRY.noun == noun).order_by(_ENTRY.seq)
    with store.reading() as connection:
        return [entry_of(row) for row in connection.execute(query).mappings()]


def entries(store: Store, after: int = 0, limit: int = 100) -> list[Entry]:
    """The journal itself from an entry on, oldest first."""
    query = sa.select(schema.entry).where(_ENTRY.seq > after).order_by(_ENTRY.seq).limit(limit)
    with store.reading() as connection:
        return [entry_of(row) for row in connection.execute(query).mappings()]


@dataclass(frozen=True)
class AsOf:
    """How the books are read back: what was known on a day, by their first `until` entries."""

    on: date = date.max
    until: int | None = None

    def conditions(self) -> list[sa.ColumnElement[bool]]:
        """Which entries are seen."""
        first = [_ENTRY.seq <= self.until] if self.until is not None else []
        return [_ENTRY.known_on <= self.on, *first]


NOW = AsOf()


def journal(
    store: Store,
    before: int | None = None,
    limit: int = 50,
    kind: str = "",
    lot: str = "",
    as_of: AsOf = NOW,
) -> list[Entry]:
    """The journal from its end, or from before an entry, newest first; of one kind or lot."""
    query = sa.select(schema.entry).order_by(_ENTRY.seq.desc()).limit(limit)
    if as_of != NOW:
        query = query.where(*as_of.conditions())
    if before is not None:
        query = query.where(_ENTRY.seq < before)
    if kind:
        query = query.where(_ENTRY.kind == kind)
    if lot:
        of_lot = sa.select(_CURRENT.noun).where(sa.or_(_CURRENT.lot == lot, _CURRENT.name == lot))
        query = query.where(_ENTRY.noun.in_(of_lot))
    with store.reading() as connection:
        return [entry_of(row) for row in connection.execute(query).mappings()]


def entries_named(store: Store, ids: Collection[UUID]) -> list[Entry]:
    """The entries of these ids that are in the books, oldest first."""
    query = sa.select(schema.entry).where(_ENTRY.id.in_(ids)).order_by(_ENTRY.seq)
    with store.reading() as connection:
        return [entry_of(row) for row in connection.execute(query).mappings()]


def standing(store: Store, noun: UUID) -> Stored | None:
    """A noun by its id as it stands; None when there is none, or it was withdrawn."""
    query = sa.select(schema.entry, _CURRENT.first).join(schema.current, _CURRENT.seq == _ENTRY.seq)
    query = query.where(_CURRENT.noun == noun, ~_CURRENT.is_withdrawn)
    with store.reading() as connection:
        row = connection.execute(query).mappings().first()
    return Stored(entry_of(row), row["first"]) if row else None


def news(store: Store, kinds: Collection[str], after: int, until: int) -> list[Entry]:
    """The entries of some kinds after one entry of the journal and up to another, oldest first."""
    wanted = [_ENTRY.kind.in_(kinds), _ENTRY.seq > after, _ENTRY.seq <= until]
    query = sa.select(schema.entry).where(*wanted).order_by(_ENTRY.seq)
    with store.reading() as connection:
        return [entry_of(row) for row in connection.execute(query).mappings()]


def conflicts(store: Store) -> list[Conflict]:
    """What several people corrected at once, until somebody decides: first come, first listed."""
    rivals = sa.select(schema.entry).join(schema.rival, schema.rival.c.seq == _ENTRY.seq)
    standing = sa.select(schema.entry).join(schema.current, _CURRENT.seq == _ENTRY.seq)
    with store.reading() as connection:
        found = connection.execute(rivals.order_by(_ENTRY.seq)).mappings()
        others = [entry_of(row) for row in found]
        # by their ids: a search, where a subquery sends SQLite through every noun in order
        wanted = _CURRENT.noun.in_({one.of for one in others})
        found = connection.execute(standing.where(wanted).order_by(_CURRENT.first)).mappings()
        ours = [entry_of(row) for row in found]
    return [Conflict(one, tuple(other for other in others if other.of == one.of)) for one in ours]


def in_force(connection: Connection, kinds: Collection[str]) -> list[Entry]:
    """The entries in force of some kinds, without those that withdraw."""
    query = (
        sa.select(schema.entry)
        .join(schema.current, _CURRENT.seq == _ENTRY.seq)
        .where(_CURRENT.kind.in_(kinds), ~_CURRENT.is_withdrawn)
        .order_by(_CURRENT.first)
    )
    return [entry_of(row) for row in connection.execute(query).mappings()]


def known(
    connection: Connection, kinds: Collection[str], on: date, until: int | None
) -> Iterator[Known]:
    """The nouns that were known on a day, by the first `until` entries of the books.

    An entry that was contested never came in force by itself; what decided on it is an entry too.
    """
    # by way of `current`, whose index finds a few lots among any number of readings
    seen = [_CURRENT.kind.in_(kinds), *AsOf(on, until).conditions(), ~_ENTRY.is_contested]
    query = (
        sa.select(_CURRENT.first, _ENTRY.seq, _ENTRY.kind, _ENTRY.season, _ENTRY.payload)
        .join(schema.current, _CURRENT.noun == _ENTRY.noun)
        .where(*seen)
        .order_by(_CURRENT.first, _ENTRY.seq)
    )
    for _, of_noun in groupby(connection.execute(query), itemgetter(0)):
        *_, (_, seq, kind, season, payload) = of_noun
        if payload is not None:
            yield Known(kind, season, _same_noun(seq, kind, payload))


# a noun cannot change, and a season has many: one that is in use anywhere is not read again
_IN_USE: WeakValueDictionary[tuple[str, str], Noun] = WeakValueDictionary()


def _same_noun(seq: int, kind: str, payload: str) -> Noun:
    found = _IN_USE.get((kind, payload))
    if found is None:
        found = _IN_USE[kind, payload] = noun_of(seq, kind, payload)
    return found


def _in_force(as_of: AsOf, *of_these: sa.ColumnElement[bool]) -> sa.Select[tuple[int]]:
    """The last entry of each noun that came in force by itself, as it was seen then."""
    return (
        sa.select(sa.func.max(_ENTRY.seq).label("last"))
        .where(*of_these, *as_of.conditions(), ~_ENTRY.is_contested)
        .group_by(_ENTRY.noun)
    )


def known_then(store: Store, kind: str, as_of: AsOf) -> list[Entry]:
    """What stood of a kind, in the order it was first written."""
    of_kind = sa.select(_CURRENT.noun).where(_CURRENT.kind == kind)
    last = _in_force(as_of, _ENTRY.noun.in_(of_kind)).subquery()
    query = (
        sa.select(schema.entry)
        .join(last, last.c.last == _ENTRY.seq)
        .join(schema.current, _CURRENT.noun == _ENTRY.noun)
        .where(_ENTRY.payload.is_not(None))
        .order_by(_CURRENT.first)
    )
    with store.reading() as connection:
        return [entry_of(row) for row in connection.execute(query).mappings()]


def counts_then(store: Store, as_of: AsOf) -> Counter[str]:
    """How many nouns of each kind stood."""
    changed = sa.select(_CURRENT.noun).where(_CURRENT.seq != _CURRENT.first)
    last = _in_force(as_of, _ENTRY.noun.in_(changed)).subquery()
    stood = sa.select(_ENTRY.kind, sa.func.count()).group_by(_ENTRY.kind)
    # most were never changed, and are counted without looking for their last entry
    once = stood.where(*as_of.conditions(), ~_ENTRY.is_contested, _ENTRY.noun.not_in(changed))
    others = stood.join(last, last.c.last == _ENTRY.seq).where(_ENTRY.payload.is_not(None))
    with store.reading() as connection:
        found = [row for query in (once, others) for row in connection.execute(query)]
    return sum((Counter({kind: count}) for kind, count in found), Counter[str]())


def in_force_then(store: Store, entries: Collection[Entry], as_of: AsOf) -> set[int]:
    """Which of some entries were in force, by their `seq`."""
    of_these = _ENTRY.noun.in_({entry.of for entry in entries})
    with store.reading() as connection:
        found = connection.execute(_in_force(as_of, of_these))
        return {row["last"] for row in found.mappings()}


def entry_numbered(store: Store, seq: int) -> Entry | None:
    """An entry by its number; None when the books hold no such entry."""
    query = sa.select(schema.entry).where(_ENTRY.seq == seq)
    with store.reading() as connection:
        row = connection.execute(query).mappings().first()
    return entry_of(row) if row else None


def entry_of(row: Any) -> Entry:
    """An entry out of its row."""
    return Entry(
        seq=row["seq"],
        id=row["id"],
        kind=row["kind"],
        of=row["noun"],
        revision=row["revision"],
        corrects=tuple(UUID(one) for one in row["corrects"].split()),
        noun=_noun(row),
        season=row["season"],
        known_on=row["known_on"],
        entered_at=row["entered_at"],
        who=row["who"],
        why=row["why"],
        is_contested=row["is_contested"],
        hash=row["hash"],
    )


def _noun(row: Any) -> Noun | None:
    says = row["payload"]
    return None if says is None else noun_of(row["seq"], row["kind"], says)


def noun_of(seq: int, kind: str, payload: str) -> Noun:
    """What an entry's payload says."""
    try:
        return kind_named(kind).noun.model_validate_json(payload)
    except ValidationError as error:
        raise StoreError(
            f"Entry {seq:,} ({kind}) cannot be read: {error.errors()[0]['msg']}. "
            "It was changed behind our back, or by a newer version; run the check of the chain."
        ) from None
