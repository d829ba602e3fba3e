"""How fast and how small the books are: `python benchmarks/bench_records.py [SECONDS]`.

Books of 200,000 readings and 5,000 entries of the demonstration farm, on a file:

- filled in one transaction; size; chain checked; backup; package written and read again
- what a page asks for: a place's last week, a lot's cuts, the history of one, the season
- ten people entering at once for SECONDS (60), each waiting for an answer before the next entry, on
  the file and, where PostgreSQL is found, on a server of the same machine: every entry
  acknowledged once is there once, and how long an answer took

The baseline of the same run is SQLite's own insert of one row, waited for until it is on the disk.
Not timed: what a page makes of the answer, the network, the browser.
"""

from __future__ import annotations

import platform
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from records_books import scenario  # noqa: E402
from records_server import Server, programs  # noqa: E402
from tierpole.farm import Cut  # noqa: E402
from tierpole.farm.books import AirReading, Memo, Operation  # noqa: E402
from tierpole.records import (  # noqa: E402
    Change,
    Store,
    Wanted,
    backup,
    entries,
    export_package,
    history,
    import_package,
    import_season,
    latest,
    nouns,
    open_store,
    read_season,
    seal,
    verify,
    write,
)

READINGS, ENTRIES, PEOPLE = 200_000, 5_000, 10
PAGE, ANSWER, SIZE, EXPORT = 0.200, 0.150, 200e6, 30.0
PLACES = ("Frame", "Fan shed", "Creek barn", "Home barn")


def main() -> None:
    """Print what was measured, and what is too slow or too large."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    machine = f"{platform.machine()}, CPython {platform.python_version()}"
    print(f"{machine}, SQLite {sqlite3.sqlite_version}")
    with tempfile.TemporaryDirectory() as folder:
        plain = _plain_insert(Path(folder) / "plain.db")
        print(f"one row of plain SQLite, on the disk     {1e3 * plain:8.1f} ms")
        _large(Path(folder), plain)
        _people(str(Path(folder) / "people.db"), "file", seconds)
        if found := programs():
            server = Server(found)
            try:
                _people(server.new(), "PostgreSQL", seconds)
            finally:
                server.end()


def _plain_insert(path: Path) -> float:
    connection = sqlite3.connect(path, isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL"):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute("CREATE TABLE row (text)")
    return _median(lambda: connection.execute("INSERT INTO row VALUES (?)", ("x" * 300,)))


def _large(folder: Path, plain: float) -> None:
    with open_store(folder / "farm.db", create=True) as store:
        _timed("filling", lambda: _fill(store))
        one = _median(lambda: write(store, [Change(_memo("one"))], who="Ann"))
        times = f"{one / plain:.1f} x plain"
        print(f"{'one entry':<40} {1e3 * one:8.1f} ms, {times}")
        _pages(store)
        _timed("chain of all entries checked", lambda: verify(store))
        _timed("backup", lambda: backup(store, folder / "backup.db"))
        _timed("package written", lambda: export_package(store, folder / "farm.zip"), EXPORT)
        sealed = seal(store)
    size = (folder / "farm.db").stat().st_size
    print(f"size of the file                         {size / 1e6:8.1f} MB{_said(size, SIZE)}")
    _timed("package read again", lambda: import_package(folder / "farm.zip", folder / "again.db"))
    with open_store(folder / "again.db") as again:
        assert seal(again) == sealed


def _fill(store: Store) -> None:
    _, whole, _, files = scenario()
    import_season(store, whole, files, who="Ann", keep_day=True)
    write(store, map(Change, _readings()), who="logger")
    write(store, map(Change, _entries()), who="Ann")


def _readings() -> Iterator[AirReading]:
    """Four places, every ten minutes."""
    for number in range(READINGS // len(PLACES)):
        day, minutes = divmod(number * 10, 24 * 60)
        read_on = date(2026, 1, 1) + timedelta(days=day)
        read_at = f"{minutes // 60:02d}:{minutes % 60:02d}"
        for place in PLACES:
            yield AirReading(
                place=place, read_on=read_on, read_at=read_at,
                temperature=15 + number % 97 / 10, humidity=0.5 + number % 40 / 100,
            )  # fmt: skip


def _entries() -> Iterator[Any]:
    for number in range(ENTRIES):
        day = date(2026, 6, 1) + timedelta(days=number % 120)
        lot = ("4 Lane", "5 Ridge", "7 Hollow")[number % 3]
        if number % 7 < 3:
            yield Operation(done_on=day, task="hoe", lot=lot, hours=3 * 3_600.0, cost=12.5)
        elif number % 7 < 5:
            yield Cut(lot=lot, cut_on=day, sticks=1 + number % 200)
        else:
            yield _memo(f"entry {number}")


def _memo(text: str) -> Memo:
    return Memo(written_on=date(2026, 9, 1), text=text)


def _pages(store: Store) -> None:
    since = date(2026, 9, 1)
    cut = nouns(store, Wanted("cut", lot="4 Lane", limit=1))[0].entry.of
    week = Wanted("air", place="Frame", since=since, until=since + timedelta(days=6))
    asked: dict[str, Callable[[], Any]] = {
        "a place's readings of a week": lambda: nouns(store, week),
        "a lot's cuts": lambda: nouns(store, Wanted("cut", lot="4 Lane")),
        "the last reading of a place": lambda: latest(store, "air", place="Frame"),
        "the last hundred entries": lambda: entries(store, after=seal(store).seq - 100),
        "the history of one noun": lambda: history(store, cut),
        "the season": lambda: read_season(store),
        "the season, looking back": lambda: read_season(store, date(2026, 7, 1)),
    }
    for name, ask in asked.items():
        ask()
        took = _median(ask)
        print(f"{name:<40} {1e3 * took:8.1f} ms{_said(took, PAGE)}")


def _people(where: str, kind: str, seconds: float) -> None:
    with open_store(where, create=True) as store, ThreadPoolExecutor(PEOPLE) as pool:
        until = time.monotonic() + seconds
        done = list(pool.map(lambda number: _enter(store, number, until), range(PEOPLE)))
        took = sorted(one for person in done for one, _ in person)
        said = sorted(seq for person in done for _, seq in person)
        assert said == list(range(1, len(said) + 1)), "an entry was lost or doubled"
        verdict = verify(store)
        assert verdict.is_sound
        assert verdict.entries == len(said)
    p95 = took[int(0.95 * len(took))]
    print(
        f"ten people for {seconds:.0f} s, {kind:<12} {len(said):8,} entries, none lost or doubled; "
        f"half within {1e3 * statistics.median(took):.0f} ms, 95 % within {1e3 * p95:.0f} ms, "
        f"all within {1e3 * took[-1]:.0f} ms{_said(p95, ANSWER)}"
    )


def _enter(store: Store, number: int, until: float) -> list[tuple[float, int]]:
    """What one person enters: how long each answer took, and where the entry stands."""
    answers: list[tuple[float, int]] = []
    while (start := time.monotonic()) < until:
        change = Change(_memo(f"{number}.{len(answers)}"))
        (receipt,) = write(store, [change], who=f"Person {number}")
        answers.append((time.monotonic() - start, receipt.seq))
    return answers


def _timed(name: str, work: Callable[[], object], most: float | None = None) -> None:
    start = time.perf_counter()
    work()
    took = time.perf_counter() - start
    print(f"{name:<40} {took:8.1f} s{_said(took, most)}")


def _median(work: Callable[[], object], times: int = 20) -> float:
    taken: list[float] = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def _said(value: float, most: float | None) -> str:
    return "" if most is None or value <= most else "  TOO MUCH"


if __name__ == "__main__":
    main()
