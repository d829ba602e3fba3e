"""Writing in the books: every change is a new entry, and nothing is ever written over."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any
from uuid import UUID, uuid4

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.errors import Fault, InputError
from tierpole.farm import Noun
from tierpole.farm.measure import Label
from tierpole.records import schema
from tierpole.records.chain import canonical, link
from tierpole.records.kinds import Kind, kind_named, kind_of
from tierpole.records.names import Names
from tierpole.records.standing import Part, Standing
from tierpole.records.store import Store

AT_ONCE = 500  # changes looked up and written by one statement
NEW = UUID(int=0)  # a noun that is not in the books yet
_WHO, _WHY = Label(), Label(longest=500, empty=True)


@dataclass(frozen=True)
class Change:
    """One thing to write down.

    `of` is the noun it is about, as read from the books; a new one takes the entry's own id.
    `corrects` are the entries it takes the place of: the one its writer saw; with the rivals too,
    it decides between them. `noun` is None for a withdrawal. `id` is the writer's own: handed in
    twice, it is written once. `known_on` and `season` are found when left out.
    """

    noun: Noun | None
    of: UUID = NEW
    corrects: tuple[UUID, ...] = ()
    why: str = ""
    known_on: date | None = None
    season: int | None = None
    id: UUID = field(default_factory=uuid4)

    def __post_init__(self) -> None:
        if self.of == NEW:
            object.__setattr__(self, "of", self.id)


@dataclass(frozen=True)
class Receipt:
    """Proof that an entry is in the books and on the disk.

    `is_new` is false when the same entry had been handed in before; `is_contested` is true when
    somebody else corrected the same first, so that both are kept until somebody decides.
    """

    entry: UUID
    noun: UUID
    seq: int
    hash: str
    is_new: bool
    is_contested: bool


def write(
    store: Store, changes: Iterable[Change], who: str, at: datetime | None = None
) -> tuple[Receipt, ...]:
    """Write changes down in one transaction, all or none.

    Raises `InputError` with every fault of the first 500 changes that have any, `StoreError` when
    they could not be kept; in both cases nothing was written.
    """
    with store.writing() as connection:
        return write_all(connection, changes, who, at)


def write_all(
    connection: Connection, changes: Iterable[Change], who: str, at: datetime | None = None
) -> tuple[Receipt, ...]:
    """The same inside a transaction that is open; what raises must end it."""
    if not _WHO.is_sound(who):
        raise InputError("entry", [Fault("entry", "who", who or None, _WHO.allowed)])
    writer = _Writer(connection, who.strip(), at or datetime.now(UTC))
    receipts, rest = list[Receipt](), iter(changes)
    while not writer.faults and (part := list(islice(rest, AT_ONCE))):
        receipts += writer.write(part)
    if writer.faults:
        raise InputError("entry", writer.faults)
    writer.close()
    return tuple(receipts)


class _Writer:
    """Writes the parts of one transaction; holds the chain's last link and the names in force."""

    def __init__(self, connection: Connection, who: str, at: datetime):
        self.connection = connection
        self.who = who
        self.today = at.astimezone().date()
        self.entered_at = at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        self.faults: list[Fault] = []
        self.names = Names(connection)
        self.known: dict[UUID, Any] = {}  # entries of the part at hand, and what they correct
        # whoever holds this row may write; everybody else waits
        locked = sa.select(schema.head.c.seq, schema.head.c.hash).with_for_update()
        self.seq, self.hash = connection.execute(locked).one()

    def write(self, changes: Sequence[Change]) -> list[Receipt]:
        """Write one part, unless there is a fault in it."""
        self.known.clear()
        self._look_up([change.id for change in changes])
        part = Part(self.connection, [change.of for change in changes])
        receipts: list[Receipt] = []
        for change in changes:
            if change.id in self.known:
                receipts.append(self._again(change, self.known[change.id]))
            elif row := self._row(change, part.of(change.of)):
                self._add(part, row, change.noun)
                receipts.append(_receipt(row, is_new=True))
        if not self.faults:
            part.keep()
        return receipts

    def _add(self, part: Part, row: dict[str, Any], noun: Noun | None) -> None:
        """Add an entry to its part, and learn the name it gives."""
        before = part.of(row["noun"])
        old = before.name if before else None
        part.add(row, noun)
        self.known[row["id"]] = row
        if not row["is_contested"]:
            new = getattr(noun, "name", None)
            self.names.moved(row["kind"], row["noun"], old, new, row["season"])
            if noun is None:
                self.names.withdrawn(row["noun"])

    def close(self) -> None:
        """Move the head of the chain to the last entry."""
        self.connection.execute(sa.update(schema.head).values(seq=self.seq, hash=self.hash))

    def _look_up(self, ids: Sequence[UUID]) -> None:
        """Learn of the entries of these ids that are in the books already."""
        found = self.connection.execute(sa.select(schema.entry).where(schema.entry.c.id.in_(ids)))
        self.known |= {row["id"]: row for row in found.mappings()}

    def _again(self, change: Change, row: Any) -> Receipt:
        """An entry handed in once more must say what it said."""
        if (row["noun"], row["payload"]) != (change.of, _payload(change.noun)):
            self._blame("id", change.id, "an id of its own, for another entry bears it")
        return _receipt(row, is_new=False)

    def _row(self, change: Change, state: Standing | None) -> dict[str, Any] | None:
        """The entry's row, or None and faults."""
        kind = kind_named(state.kind) if state else kind_of(change.noun) if change.noun else None
        if kind is None or (change.noun is not None and kind_of(change.noun) is not kind):
            return self._blame("of", change.of, "a noun in the books, and of the same kind")
        if change.noun is None and not change.corrects:
            return self._blame("corrects", None, "the entry that is withdrawn")
        if not _WHY.is_sound(change.why):
            return self._blame("why", change.why, _WHY.allowed)
        corrected = self._corrected(change, state)
        if strangers := set(change.corrects) - set(corrected):
            return self._blame("corrects", strangers.pop(), "the id of an entry of the same noun")
        season = self._season(change, kind, state)
        if kind.is_single and not kind.is_lasting and season is None:
            return self._blame("season", None, "the year of a season")
        old = state.name if state and not state.is_withdrawn else None
        faults = list(self.names.faults(kind, change.of, change.noun, old, season))
        is_contested = state is not None and state.entry not in change.corrects
        says = {"kind": kind.name, "season": season, "is_contested": is_contested}
        says["revision"] = 1 + max(corrected.values(), default=0)
        self.faults += faults
        return None if faults else self._linked(change, says, kind)

    def _blame(self, field: str, value: object, allowed: str) -> None:
        shown = None if value is None else str(value)
        self.faults.append(Fault("entry", field, shown, allowed))

    def _corrected(self, change: Change, state: Standing | None) -> dict[UUID, int]:
        """The revisions of the entries a change corrects, of those that are of its noun."""
        if state is not None and change.corrects == (state.entry,):
            return {state.entry: state.revision}
        if unknown := [one for one in change.corrects if one not in self.known]:
            self._look_up(unknown)
        rows = [self.known[one] for one in change.corrects if one in self.known]
        return {row["id"]: row["revision"] for row in rows if row["noun"] == change.of}

    def _season(self, change: Change, kind: Kind, state: Standing | None) -> int | None:
        """The season of a noun: as said, as before, as of what it names, as of its own day."""
        if kind.is_lasting:
            return None
        if change.noun is None or change.season is not None:
            return change.season or (state.season if state else None)
        if kind.is_single:
            return getattr(change.noun, "year", state.season if state else None)
        day = kind.day_of(change.noun)
        named = None if kind.name == "lot" else self.names.season_of(change.noun, day)
        return named or (day.year if day else None)

    def _linked(self, change: Change, says: dict[str, Any], kind: Kind) -> dict[str, Any]:
        """The row of a sound change, next in the chain."""
        row = says | {
            "seq": self.seq + 1,
            "id": change.id,
            "noun": change.of,
            "corrects": " ".join(map(str, change.corrects)),
            "payload": _payload(change.noun),
            "known_on": change.known_on or self._known_on(change, kind),
            "entered_at": self.entered_at,
            "who": self.who,
            "why": change.why.strip(),
            "previous": self.hash,
        }
        self.seq, self.hash = self.seq + 1, link(row)
        return row | {"hash": self.hash}

    def _known_on(self, change: Change, kind: Kind) -> date:
        """A fact is known on its own day, though not after it was written; a correction today."""
        noun = None if change.corrects else change.noun
        day = kind.day_of(noun) if noun is not None else None
        return min(day, self.today) if day else self.today


def _payload(noun: Noun | None) -> str | None:
    """What a noun says, and only what it says: what it leaves open stays open."""
    return None if noun is None else canonical(noun.model_dump(mode="json", exclude_unset=True))


def _receipt(row: Any, is_new: bool) -> Receipt:
    own = (row["id"], row["noun"], row["seq"], row["hash"])
    return Receipt(*own, is_new=is_new, is_contested=row["is_contested"])
