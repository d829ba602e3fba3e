"""Whether the books are as they were written: the chain, what points into it, contents."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.records import schema
from tierpole.records.chain import BEFORE_ALL, link, sha256
from tierpole.records.store import Store

AT_ONCE = 1_000


@dataclass(frozen=True)
class Seal:
    """The chain's length and last hash at some moment; printed on a paper, it proves what stood."""

    seq: int
    hash: str


@dataclass(frozen=True)
class Verdict:
    """What a check found: how many entries hold, and the first thing that does not, in words."""

    entries: int
    seal: Seal
    broken: str | None = None

    @property
    def is_sound(self) -> bool:
        """Whether nothing was found."""
        return self.broken is None


def seal(store: Store) -> Seal:
    """The seal of the books as they are now."""
    with store.reading() as connection:
        return _head(connection)


def verify(store: Store, seals: Sequence[Seal] = ()) -> Verdict:
    """Check every link; with seals noted earlier also that nothing was cut off or begun anew."""
    with store.reading() as connection:
        return verify_in(connection, seals)


def verify_in(connection: Connection, seals: Sequence[Seal] = ()) -> Verdict:
    """The same inside a transaction that is open."""
    head = _head(connection)
    noted = {one.seq: one.hash for one in seals}
    last = Seal(0, BEFORE_ALL)
    for last, fault in _links(connection, noted):
        if fault:
            return Verdict(last.seq, head, fault)
    fault = _ends(last, head, seals) or _pointers(connection) or _contents(connection)
    return Verdict(last.seq, head, fault)


def _head(connection: Connection) -> Seal:
    return Seal(*connection.execute(sa.select(schema.head.c.seq, schema.head.c.hash)).one())


def _links(connection: Connection, noted: dict[int, str]) -> Iterator[tuple[Seal, str | None]]:
    """Each entry that holds; at the first that does not, the last that did and what is wrong."""
    last = Seal(0, BEFORE_ALL)
    query = sa.select(schema.entry).order_by(schema.entry.c.seq)
    for row in connection.execute(query).yield_per(AT_ONCE).mappings():
        fault = _broken(dict(row), last, noted)
        last = last if fault else Seal(row["seq"], row["hash"])
        yield last, fault
        if fault:
            return


def _broken(row: dict[str, object], last: Seal, noted: dict[int, str]) -> str | None:
    seq = last.seq + 1
    if row["seq"] != seq:
        return f"entry {seq:,} is missing"
    what = f"entry {seq:,} ({row['kind']}, by {row['who']}, {str(row['entered_at'])[:10]})"
    if row["previous"] != last.hash:
        return f"{what} does not follow the entry before it"
    if row["hash"] != link(row):
        return f"{what} was changed after it was written"
    if noted.get(seq, row["hash"]) != row["hash"]:
        return f"{what} is another than the one sealed"
    return None


def _ends(last: Seal, head: Seal, seals: Sequence[Seal]) -> str | None:
    furthest = max([head.seq, *(one.seq for one in seals)])
    if furthest > last.seq:
        return f"entry {last.seq + 1:,} is missing: the books once had {furthest:,} entries"
    return None if last == head else f"entry {head.seq + 1:,} was added behind the books' back"


def _pointers(connection: Connection) -> str | None:
    """What is shown as in force is the last uncontested entry of its noun, and all are shown."""
    entry, current = schema.entry.c, schema.current.c
    last = (
        sa.select(entry.noun, sa.func.max(entry.seq).label("seq"))
        .where(~entry.is_contested)
        .group_by(entry.noun)
        .subquery()
    )
    wrong = (
        sa.select(last.c.seq)
        .join(schema.entry, entry.seq == last.c.seq)
        .outerjoin(schema.current, current.noun == last.c.noun)
        .where(
            sa.or_(
                current.seq.is_(None),
                current.seq != last.c.seq,
                current.is_withdrawn != entry.payload.is_(None),
            )
        )
        .order_by(last.c.seq)
    )
    found = connection.execute(wrong.limit(1)).scalar()
    if found is not None:
        return f"entry {found:,} is in force, but the books show another"
    astray = sa.select(current.noun).where(current.noun.not_in(sa.select(last.c.noun))).limit(1)
    stray: UUID | None = connection.execute(astray).scalar()
    return f"the books show {stray}, which nobody entered" if stray else None


def _contents(connection: Connection) -> str | None:
    """Every photo and paper is the one that was put in."""
    query = sa.select(schema.content.c.hash, schema.content.c.bytes)
    for key, kept in connection.execute(query).yield_per(8):
        if sha256(kept) != key:
            return f"the content {key} was changed after it was kept"
    return None
