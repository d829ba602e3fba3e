"""How long a paper takes: `python benchmarks/bench_papers.py`.

Each kind of paper of an invented season is made six times in one process: the first time nothing
of it is known, later the typesetter remembers what is the same. Beside it, in the same run, an
empty page set by the same typesetter with the same faces, made once before all, so that loading
both is not counted: what no paper can be faster than. Times are of the processor, since the cores
may be shared; those of later runs the middle of five.
"""

from __future__ import annotations

import platform
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.resources import as_file, files
from pathlib import Path

import typst

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import synthetic  # noqa: E402
from tierpole.documents import PAPERS, Order, make_paper  # noqa: E402

TIMES = 5
ORDERS = {
    "map": Order(of="Home barn"), "packet": Order(of="1 River"), "buyer": Order(of="1 River"),
    "bag-labels": Order(of="1 River", count=100),
}  # fmt: skip


def empty() -> bytes:
    """A page with nothing on it, tagged as every paper is."""
    source = '#set document(title: "Empty")\n#set text(font: "Atkinson Hyperlegible Next")\n'
    with as_file(files("tierpole") / "data" / "fonts") as fonts:
        return typst.compile(
            source.encode(), font_paths=[fonts], ignore_system_fonts=True, format="pdf",
            pdf_standards="ua-1", timestamp=datetime(2026, 9, 2, tzinfo=UTC),
        )  # fmt: skip


def timed(work: Callable[[], bytes]) -> tuple[float, float, int]:
    """Seconds of the processor the first time and in the middle of more, and bytes."""
    took: list[float] = []
    for _ in range(1 + TIMES):
        start = time.process_time()
        pdf = work()
        took.append(time.process_time() - start)
    return took[0], statistics.median(took[1:]), len(pdf)


def main() -> None:
    """Time every paper and print a table."""
    season, outlook, plan = synthetic.season(), synthetic.outlook(), synthetic.plan()
    empty()
    print(f"CPython {platform.python_version()}, typst {typst.__version__}")
    print(f"{'paper':<14}{'first, ms':>10}{'again, ms':>10}{'times empty':>13}{'kB':>7}")
    _, base, size = timed(empty)
    print(f"{'(empty)':<14}{'':>10}{1000 * base:>10.0f}{1:>13.0f}{size / 1000:>7.0f}")
    for kind in PAPERS:
        order = ORDERS.get(kind, Order())
        first, again, size = timed(
            lambda k=kind, o=order: make_paper(k, season, outlook, plan, o).pdf
        )
        print(
            f"{kind:<14}{1000 * first:>10.0f}{1000 * again:>10.0f}{first / base:>13.0f}"
            f"{size / 1000:>7.0f}"
        )


if __name__ == "__main__":
    main()
