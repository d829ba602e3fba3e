"""The tables of the books, as the newest release has them; `migrations` makes and changes them.

`entry` is the journal, the truth: rows are only added. `current` points, for each noun, to the
entry in force, `rival` to entries that correct what another had corrected already, until somebody
decides. `head` holds the last link of the chain. `content` keeps photos and papers by their hash.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    Uuid,
)

RELEASE = "0002"  # the newest migration

tables = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_Seq = BigInteger().with_variant(Integer, "sqlite")

entry = Table(
    "entry",
    tables,
    Column("seq", _Seq, primary_key=True, autoincrement=False),
    Column("id", Uuid, nullable=False, unique=True),
    Column("kind", String(24), nullable=False),
    Column("noun", Uuid, nullable=False, index=True),
    Column("revision", Integer, nullable=False),
    Column("corrects", Text, nullable=False),
    Column("payload", Text),
    Column("season", Integer),
    Column("known_on", Date, nullable=False),
    Column("entered_at", String(27), nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("is_contested", Boolean, nullable=False),
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
)

current = Table(
    "current",
    tables,
    Column("noun", Uuid, primary_key=True),
    Column("seq", _Seq, ForeignKey("entry.seq"), nullable=False),
    Column("first", _Seq, nullable=False),
    Column("kind", String(24), nullable=False),
    Column("season", Integer),
    Column("is_withdrawn", Boolean, nullable=False),
    Column("name", Text),
    Column("lot", Text),
    Column("place", Text),
    Column("day", Date),
    sqlite_with_rowid=False,
)
Index(None, current.c.kind, current.c.day, current.c.first)  # the latest of its kind
Index(None, current.c.kind, current.c.first)  # a kind page by page, in the order it was written
for _column in (current.c.name, current.c.lot, current.c.place):
    _has = _column.is_not(None)
    Index(
        None, current.c.kind, _column, current.c.day, sqlite_where=_has, postgresql_where=_has
    )  # fmt: skip

rival = Table(
    "rival",
    tables,
    Column("seq", _Seq, ForeignKey("entry.seq"), primary_key=True, autoincrement=False),
    Column("noun", Uuid, nullable=False, index=True),
)

head = Table(
    "head",
    tables,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("farm", Uuid, nullable=False),
    Column("seq", _Seq, nullable=False),
    Column("hash", String(64), nullable=False),
)

content = Table(
    "content",
    tables,
    Column("hash", String(64), primary_key=True),
    Column("size", _Seq, nullable=False),
    Column("bytes", LargeBinary, nullable=False),
)
