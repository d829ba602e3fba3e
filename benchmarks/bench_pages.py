"""How fast a page answers: `python benchmarks/bench_pages.py`.

Timed, over HTTP on this machine, each page of the synthetic season of the tests: the first answer,
which makes the view, and the median of twenty more, which show it from the office's memory. The
baseline of the same run is `/health`, a page without a view: what a request costs by itself. Making
the outlook and the plan is not timed; a phone's own work to draw the charts is not either.
"""

from __future__ import annotations

import platform
import statistics
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import httpx  # noqa: E402

from fake_office import FakeOffice  # noqa: E402
from page_server import served  # noqa: E402
from tierpole.office.views import pages  # noqa: E402

WITHIN = 0.1  # seconds a page may take once its view is there
TIMES = 20
PATHS = {"week": "/", "season": "/season", "rules": "/rules"}


def main() -> None:
    """Print seconds for each page, beside the bare request of the same run."""
    office = FakeOffice()
    print(f"{platform.machine()}, CPython {platform.python_version()}, {TIMES} requests a page")
    with served(office) as address, httpx.Client(base_url=address) as client:
        bare = _median(client, "/health")
        print(f"{'bare request':<24} {1e3 * bare:8.1f} ms")
        for name, *args in pages(office.season, "us"):
            path = PATHS.get(name, f"/{name}/{args[0]}" if args else "")
            first, again = _seconds(client, path), _median(client, path)
            said = "" if again < WITHIN else "  TOO SLOW"
            print(f"{path:<24} {1e3 * again:8.1f} ms, {again / bare:5.1f} x bare; "
                  f"first {1e3 * first:6.0f} ms{said}")  # fmt: skip


def _seconds(client: httpx.Client, path: str) -> float:
    start = time.perf_counter()
    client.get(path).raise_for_status()
    return time.perf_counter() - start


def _median(client: httpx.Client, path: str) -> float:
    return statistics.median(_seconds(client, path) for _ in range(TIMES))


if __name__ == "__main__":
    main()
