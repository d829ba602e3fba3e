"""One farm's books: a SQLite file, or a PostgreSQL database by its address."""

from __future__ import annotations

import threading
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import URL, Connection, make_url
from sqlalchemy.exc import ArgumentError

from tierpole.errors import StoreError
from tierpole.records.trouble import told

PATIENCE = 20  # seconds a writer waits for another before it gives up


class Store:
    """Open books. Reading sees one moment; writing is one transaction, one writer at a time."""

    def __init__(self, url: URL):
        self.url = url
        self.engine = _engine(url)
        self._turn = threading.Lock()

    @property
    def path(self) -> Path | None:
        """The file of the books; None for a database server."""
        return Path(str(self.url.database)) if self.is_file else None

    @property
    def is_file(self) -> bool:
        """Whether the books are one file."""
        return self.url.get_backend_name() == "sqlite"

    def __str__(self) -> str:
        return str(self.path or self.url.render_as_string(hide_password=True))

    @contextmanager
    def reading(self) -> Generator[Connection]:
        """A connection that sees the books as they are at this moment, whoever writes meanwhile."""
        with told(self, "The books could not be read"), self.engine.connect() as connection:
            if not self.is_file:
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Generator[Connection]:
        """A transaction: kept whole when the block ends, and on the disk; else not at all."""
        with (
            told(self, "Nothing was written", "What was written before is safe."),
            self._queue(),
            self.engine.connect() as connection,
            connection.execution_options(writes=True).begin(),
        ):
            yield connection

    @contextmanager
    def _queue(self) -> Generator[None]:
        """Writers of one program wait in line; SQLite's own waiting is by chance."""
        if not self.is_file:
            yield
        elif self._turn.acquire(timeout=PATIENCE):
            try:
                yield
            finally:
                self._turn.release()
        else:
            raise StoreError(f"{self}: Nothing was written, for others write too long. Try again.")

    def close(self) -> None:
        """Let go of the file or server."""
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def address(where: str | Path) -> URL:
    """A path or address as a URL: ``farm.db``, ``postgresql://name@host/farm``."""
    text = str(where)
    if "://" not in text:
        return URL.create("sqlite", database=str(Path(text)))
    try:
        url = make_url(text)
    except ArgumentError:
        raise StoreError(f"{text}: is not an address of a database.") from None
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if url.get_backend_name() == "sqlite" and url.database:
        return url
    raise StoreError(f"{text}: must be a file, or begin with postgresql://.")


def _engine(url: URL) -> sa.Engine:
    if url.get_backend_name() != "sqlite":
        try:
            return sa.create_engine(url, pool_pre_ping=True, max_overflow=20)
        except ModuleNotFoundError:
            raise StoreError(
                "PostgreSQL needs a driver: install tierpole with its extra, postgresql."
            ) from None
    engine = sa.create_engine(url, max_overflow=20, connect_args={"timeout": PATIENCE})
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _set_up(connection: Any, _: object) -> None:
    """Transactions are ours to begin; a commit is on the disk before it is acknowledged.

    The way a file keeps its journal is written in the file; somebody else's stays as it is.
    """
    connection.isolation_level = None
    is_ours = "SELECT count(*) = 0 OR max(name = 'alembic_version') FROM sqlite_master"
    if not connection.execute(is_ours).fetchone()[0]:
        return
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}").fetchall()


def _begin(connection: Connection) -> None:
    """A writer claims the file when it begins, so that it never has to give up half-way."""
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
