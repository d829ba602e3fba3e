"""How fast entries are taken by the pages: `python benchmarks/bench_entry.py [SECONDS]`.

Ten people, each with a browser of their own, open the form for an air reading, fill it in and send
it, as fast as they are answered and without a pause to think, over HTTP on this machine, into books
in a file and, where it is found, in PostgreSQL. Every fifth form is sent twice, as by a phone that
lost the answer. Timed is each form from sending to the answer that it is on the disk; the people
themselves run on the same cores. Afterwards the books must hold just the entries acknowledged, each
once. The baseline of the same run is one person alone; the processor's time for an entry (its form
opened, sent, and a fifth of it sent again) travels better from machine to machine. Planning is left
out: the office is the tests' own, whose plan is ready at once. Then the pages are opened over books
of 200,000 readings and 5,000 further entries.
"""

from __future__ import annotations

import os
import platform
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import UUID

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import httpx  # noqa: E402

from books_office import Quick, form_of  # noqa: E402
from full_farm import write_farm  # noqa: E402
from page_server import served  # noqa: E402
from records_server import Server, programs  # noqa: E402
from tierpole.farm.books import AirReading, Memo  # noqa: E402
from tierpole.office.people import Limit  # noqa: E402
from tierpole.office.sources import keep_scenario  # noqa: E402
from tierpole.records import (  # noqa: E402
    Change,
    entries,
    export_package,
    import_package,
    open_store,
    read_season,
    seal,
    verify,
    write,
)
from tierpole.web.access import Gate  # noqa: E402

PEOPLE = 10
AGAIN = 5  # every fifth form is sent twice
WITHIN = 0.150  # seconds for 95 of 100 entries
PAGES = (
    "/enter", "/enter/cut", "/enter/air", "/books", "/books?kind=air", "/books?lot=2+Bank",
    "/books?before=1000", "/books?on=2026-08-20", "/books/balance", "/plans", "/crew",
    "/papers", "/people", "/certificates", "/", "/season", "/rules",
)  # fmt: skip
PAGE_WITHIN = 0.200


def main() -> None:
    """Print the times of entries and pages."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    print(f"{platform.machine()}, CPython {platform.python_version()}, {seconds:.0f} s each; "
          f"load at the start {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")  # fmt: skip
    folder = programs()
    with tempfile.TemporaryDirectory() as place:
        where = Path(place)
        entering("file", str(made(where)), seconds)
        if folder is not None:
            server = Server(folder)
            package = where / "farm.zip"
            with open_store(where / "farm.db") as store:
                export_package(store, package)
            address = server.new()
            import_package(package, address)
            entering("PostgreSQL", address, seconds)
            server.end()
        pages(where / "farm.db")


def made(folder: Path) -> Path:
    """Books of the small farm that writes every field."""
    keep_scenario(str(write_farm(folder)), str(folder / "farm.db"), "Ann", keep_day=True)
    return folder / "farm.db"


@contextmanager
def pages_of(where: str) -> Iterator[tuple[str, int]]:
    """The address of the pages of books, and the process of their own that serves them."""
    asked = [sys.executable, __file__, "--serve", where]
    with subprocess.Popen(
        asked, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout is not None
        yield running.stdout.readline().strip(), running.pid
        running.terminate()


def serve(where: str) -> None:
    """Serve the pages of books until the end of input; their people may write without end."""
    with open_store(where) as store:
        office = Quick(store)
        office.start()
        office.ready.wait(600)
        free = Limit(10**9, 1.0, time.monotonic)
        with served(office, Gate(office.people, writes=free)) as address:
            print(address, flush=True)
            sys.stdin.read()


def entering(name: str, where: str, seconds: float) -> None:
    """One person, then ten: how long a form takes, and whether all are in the books."""
    with open_store(where) as store:
        begun = seal(store).seq
    with pages_of(where) as (address, process):
        alone, first = together(address, 1, seconds / 6)
        before = worked(process)
        times, acknowledged = together(address, PEOPLE, seconds)
        each = (worked(process) - before) / len(acknowledged)
    with open_store(where) as store:
        kept = Counter(one.id for one in entries(store, begun, 10_000_000) if one.kind == "air")
        sound = verify(store).is_sound
    told = {*first, *acknowledged}
    lost, doubled, strange = told - kept.keys(), kept.total() - len(kept), kept.keys() - told
    last, single = p95(times), statistics.median(alone)
    said = "" if last < WITHIN else "  TOO SLOW"
    print(f"{name:<12} one: median {1e3 * single:5.1f} ms; ten: "
          f"{len(times) / seconds:5.0f} a second, median {1e3 * statistics.median(times):5.1f}, "
          f"p95 {1e3 * last:5.1f} ms ({last / single:.1f} x one){said}; processor "
          f"{1e3 * each:.1f} ms an entry; load {os.getloadavg()[0]:.1f}; {len(told)} acknowledged, "
          f"lost {len(lost)}, doubled {doubled}, strange {len(strange)}; "
          f"chain holds: {sound}")  # fmt: skip


def worked(process: int) -> float:
    """The seconds a process has worked on its processors."""
    said = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(said[11]) + int(said[12])) / os.sysconf("SC_CLK_TCK")


def p95(times: list[float]) -> float:
    """The time that 95 of 100 stay within."""
    return statistics.quantiles(times, n=20)[-1]


def together(address: str, people: int, seconds: float) -> tuple[list[float], list[UUID]]:
    """People sending forms at once: the time of each, the ids that were acknowledged."""
    times: list[float] = []
    ids: list[UUID] = []
    until = time.monotonic() + seconds
    threads = [
        threading.Thread(target=one_person, args=(address, until, times, ids))
        for _ in range(people)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return times, ids


def one_person(address: str, until: float, times: list[float], ids: list[UUID]) -> None:
    """Open the form, fill it in, send it, until time is up."""
    with httpx.Client(base_url=address, timeout=60) as client:
        client.get("/enter")
        while time.monotonic() < until:
            told: dict[str, Any] = form_of(client, "/enter/air")
            told |= {"place": "Shed", "temperature": "46 F", "humidity": "82", "read_at": "06:30",
                     "read_on": "2026-09-09"}  # fmt: skip
            ids.append(UUID(told["entry"]))
            for _ in range(2 if len(ids) % AGAIN == 0 else 1):
                start = time.perf_counter()
                answer = client.post("/enter/air", data=told)
                times.append(time.perf_counter() - start)
                if answer.status_code != 303:
                    sys.exit(f"refused: {answer.status_code} {answer.text[:300]}")


def pages(path: Path) -> None:
    """The pages over 200,000 readings and 5,000 entries."""
    with open_store(path) as store:
        air = (
            AirReading(place="Shed", read_on=f"2026-08-{1 + n % 31:02}", temperature=15.0,
                       humidity=0.7, read_at=f"{n % 24:02}:{n // 31 % 60:02}")
            for n in range(200_000)
        )  # fmt: skip
        memo = Memo(written_on="2026-09-09", text="a note", lot="2 Bank")
        write(store, (Change(memo) for _ in range(5_000)), who="Ann")
        write(store, (Change(one) for one in air), who="logger")
        start = time.perf_counter()
        export_package(store, path.with_name("whole.zip"))
        packed = time.perf_counter()
        read_season(store)
        read = time.perf_counter()
    print(f"{path.stat().st_size / 1e6:.0f} MB with 205,000 entries more; their package takes "
          f"{packed - start:.1f} s, their season {read - packed:.1f} s to read")  # fmt: skip
    with pages_of(str(path)) as (address, _), httpx.Client(base_url=address, timeout=60) as client:
        for page in PAGES:
            client.get(page)
            found = statistics.median(seconds_of(client, page) for _ in range(7))
            said = "" if found < PAGE_WITHIN else "  TOO SLOW"
            print(f"  {page:<20} {1e3 * found:7.1f} ms{said}")


def seconds_of(client: httpx.Client, path: str) -> float:
    """The time of one answer."""
    start = time.perf_counter()
    client.get(path).raise_for_status()
    return time.perf_counter() - start


if __name__ == "__main__":
    if sys.argv[1:2] == ["--serve"]:
        serve(sys.argv[2])
    else:
        main()
