"""How fast readings correct a place: `python benchmarks/bench_filter.py`.

The demo farm's shed with a logger that read every hour for a week, and sticks weighed every other
day. Timed: taking one day's readings in (24 temperatures and humidities in blocks, one weighing)
for 110 and for 1,000 draws, with and without running the place through that day; the whole week
from the first stick hung; and the rules of airing tried for the advice. Beside the update, the same
Kalman gain by plain loops over members, as a readable baseline. Not timed: reading the farm and its
weather, and compiling the kernel.
"""

from __future__ import annotations

import os
import platform
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from tierpole.barn import ensemble  # noqa: E402
from tierpole.barn.warm import compile_kernel  # noqa: E402
from tierpole.outlook import watch as watching  # noqa: E402
from tierpole.outlook.watched import watched  # noqa: E402
from tierpole.scenario import demo_path, read_scenario  # noqa: E402

SEED, STATES, READINGS = 1, 30, 17  # a day: 8 blocks of temperature and humidity, one weight


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """Shortest wall time of some runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def loops(members: np.ndarray, predicted: np.ndarray, value: float, error: float) -> np.ndarray:
    """One reading taken in member by member and state by state."""
    count, states = members.shape
    mean = sum(float(one) for one in predicted) / count
    spread = sum((float(one) - mean) ** 2 for one in predicted) / (count - 1)
    factor = 1 / (1 + (error**2 / (spread + error**2)) ** 0.5)
    after = np.empty_like(members)
    for state in range(states):
        own = [float(one) for one in members[:, state]]
        centre = sum(own) / count
        along = sum((x - centre) * (float(y) - mean) for x, y in zip(own, predicted, strict=True))
        gain = along / (count - 1) / (spread + error**2)
        for row, x in enumerate(own):
            away = float(predicted[row]) - mean
            after[row, state] = x + gain * (value - mean) - factor * gain * away
    return after


def update(members: int) -> None:
    """A day's readings taken in by so many draws, and by loops."""
    rng = np.random.default_rng(SEED)
    x = rng.standard_normal((members, STATES))
    y = x[:, :READINGS] + rng.standard_normal((members, READINGS))
    value, error = np.zeros(READINGS), np.ones(READINGS)
    fast = seconds(lambda: ensemble.assimilate(x, y, value, error))
    slow = READINGS * seconds(lambda: loops(x, y[:, 0], 0.0, 1.0), 1)
    print(f"a day's readings, {members:,} draws: {1e3 * fast:.1f} ms, loops {slow / fast:.0f} x")


def place(name: str) -> None:
    """All readings of a place of the demo, and what its page tells."""
    season = read_scenario(demo_path())

    def run() -> None:
        watched.cache_clear()
        watched(season, SEED, name)

    first, again = seconds(run, 1), seconds(run, 1)
    print(f"{name}: all readings from the first stick on {again:.2f} s ({first:.2f} s at first)")
    told = seconds(lambda: watching._watch(season, SEED, name, (1000.0,)), 1)  # noqa: SLF001
    print(f"{name}: its hours, alarm and advice {told:.2f} s")


def main() -> None:
    """Time and print."""
    load = os.getloadavg()[0]
    made = f"Python {platform.python_version()}, NumPy {np.__version__}"
    print(f"{platform.machine()}, {os.cpu_count()} cores, {made}, load {load:.1f}, seed {SEED}")
    for members in (110, 1000):
        update(members)
    compile_kernel()
    for name in ("Frame", "Fan shed"):
        place(name)


if __name__ == "__main__":
    main()
