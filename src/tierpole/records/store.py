"""One farm's books: a SQLite file, or a PostgreSQL database by its address."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Generator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self, TypeVar
from weakref import WeakSet

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import URL, Connection, make_url
from sqlalchemy.exc import ArgumentError

from tierpole.errors import StoreError
from tierpole.records.trouble import told

PATIENCE = 20  # seconds a writer waits for another before it gives up
AT_ONCE = 20  # connections that are kept open; more are made when needed, and closed again
TOGETHER = 50  # writers who share one transaction at most
T = TypeVar("T")
Work = Callable[[Connection], T]  # what writes, inside a transaction


class _Open(threading.local):
    """The reading that a thread is at."""

    reading: Connection | None = None

    @contextmanager
    def held(self, connection: Connection) -> Generator[None]:
        """Keep a connection for what is read inside."""
        self.reading = connection
        try:
            yield
        finally:
            self.reading = None


class Store:
    """Open books. Reading sees one moment; writing is one transaction, one writer at a time."""

    def __init__(self, url: URL):
        self.url = url
        self.engine = _engine(url)
        self._open = _Open()
        self._turn = threading.Lock()
        self._waiting: deque[tuple[Work[Any], Future[Any]]] = deque()

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
        """A connection that sees the books as they are at this moment, whoever writes meanwhile.

        Inside another reading of the same thread it is that one, and that moment: what a page asks
        for in ten places fits together, and is one transaction.
        """
        with told(self, "The books could not be read"):
            if self._open.reading is not None:
                yield self._open.reading
                return
            with self.engine.connect() as connection:
                if not self.is_file:
                    connection.execution_options(isolation_level="REPEATABLE READ")
                with connection.begin(), self._open.held(connection):
                    yield connection

    @contextmanager
    def writing(self) -> Generator[Connection]:
        """A transaction: kept whole when the block ends, and on the disk; else not at all."""
        with self._queue(), self._transaction() as connection:
            yield connection

    @contextmanager
    def _transaction(self) -> Generator[Connection]:
        with (
            told(self, "Nothing was written", "What was written before is safe."),
            self.engine.connect() as connection,
            connection.execution_options(writes=True).begin(),
        ):
            yield connection

    def write_together(self, work: Work[T]) -> T:
        """Do some writing in one transaction with whoever else waits to write.

        So one wait for the disk serves all of them, and nobody is answered before it is over.
        `work` may be done twice: when anything of a shared transaction fails, nothing of it was
        kept, and each is done again by itself, so that nobody suffers for another's fault.
        """
        ours: Future[T] = Future()
        self._waiting.append((work, ours))
        try:
            with self._queue():
                while not ours.done():
                    self._write_waiting()
        except StoreError:  # it is not our turn yet: unless somebody has begun with ours, give up
            if ours.cancel():
                raise
        return ours.result()

    def _write_waiting(self) -> None:
        """Do the work of those who came first."""
        waiting = [self._waiting.popleft() for _ in range(min(TOGETHER, len(self._waiting)))]
        taken = [(work, one) for work, one in waiting if one.set_running_or_notify_cancel()]
        try:
            with self._transaction() as connection:
                done = [work(connection) for work, _ in taken]
        except Exception:  # noqa: BLE001 - whatever it was: each hears of its own
            for work, one in taken:
                self._write_alone(work, one)
        else:
            for (_, one), result in zip(taken, done, strict=True):
                one.set_result(result)

    def _write_alone(self, work: Work[Any], one: Future[Any]) -> None:
        try:
            with self._transaction() as connection:
                result = work(connection)
        except Exception as error:  # noqa: BLE001 - it is raised where it was asked for
            one.set_exception(error)
        else:
            one.set_result(result)

    @contextmanager
    def _queue(self) -> Generator[None]:
        """Writers of one program wait in line; a database's own waiting is by chance."""
        if self._turn.acquire(timeout=PATIENCE):
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
            return sa.create_engine(url, pool_size=AT_ONCE, pool_pre_ping=True)
        except ModuleNotFoundError:
            raise StoreError(
                "PostgreSQL needs a driver: install tierpole with its extra, postgresql."
            ) from None
    engine = sa.create_engine(url, pool_size=AT_ONCE, connect_args={"timeout": PATIENCE})
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    event.listen(engine, "after_cursor_execute", _remember)
    event.listen(engine, "checkin", _let_go)
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


def _remember(connection: Connection, cursor: Any, *_: object) -> None:
    connection.info.setdefault("cursors", WeakSet[Any]()).add(cursor)


def _let_go(_: object, record: Any) -> None:
    """Close what was not read to its end, or its connection would stay at that moment, and locked.

    That is what a fault half-way through rows leaves, for as long as somebody holds the fault.
    """
    for cursor in record.info.pop("cursors", ()):
        cursor.close()
