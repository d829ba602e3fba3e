"""How fast the barn dries: `python benchmarks/bench_barn.py`.

Timed: (1) 1,000 draws of one hanging kept up for 45 days by the compiled kernel on one core, by the
same source as plain Python, by the readable loop that is its oracle in the tests, and by NumPy over
all draws with the package's own formulas; the slow ones on a few draws, scaled up. (2) The drying
table of a farm, 4 places x 60 days x 3 loads x 112 draws, nothing cached, on all cores. Loading and
compiling is timed apart, into an empty and from a filled cache. Making the weather is not timed.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numba
import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import barn_reference as reference  # noqa: E402
from tierpole import moist_air  # noqa: E402
from tierpole.barn import (  # noqa: E402
    BarnDraws,
    Hangings,
    OutsideAir,
    PlaceAir,
    air,
    draw_barn_parameters,
    dry_table,
    drying,
    isotherm,
    kernel,
    lookup,
    running,
    targets,
)

SEED, DRAWS, DAYS = 1, 1000, 45
NEVER_DRY = 0.01  # a target no flower reaches, so that it hangs as long as may be
HALF_FULL = Hangings.unmeasured(np.array([14 + 24 * 20]), np.array([630.0]))
BARN = PlaceAir(
    sticks=1260, volume=1586.0, air_changes_day=30 / 3600, air_changes_night=4 / 3600,
    heat_day=7900.0, heat_night=0.0, walls=2600.0,
)  # fmt: skip
PLACES = [
    BARN,
    replace(BARN, sticks=420, volume=736.0, heat_day=22_000.0, walls=2500.0),
    replace(BARN, sticks=480, volume=623.0, air_changes_night=10 / 3600, draught=2.0, wind=0.4),
    replace(BARN, sticks=768, volume=963.0, heat_day=4800.0, walls=1900.0),
]


def weather(seasons: int) -> OutsideAir:
    """Made-up autumns, 25 August to 31 December: cooling, with spells of warmth and damp."""
    rng = np.random.default_rng(SEED)
    days = 128
    spell = np.zeros((seasons, days, 2))
    for day in range(1, days):
        spell[:, day] = 0.7 * spell[:, day - 1] + rng.normal(0, (2.2, 0.06), (seasons, 2))
    spell = spell.repeat(24, axis=1)
    hour = np.arange(24 * days)
    daily = np.cos(2 * np.pi * (hour - 15) / 24)
    temperature = 21 - 0.16 * hour / 24 + 5.5 * daily + spell[..., 0]
    humidity = (0.71 - 0.18 * daily + spell[..., 1]).clip(0.25, 1.0)
    return OutsideAir(temperature, humidity, 98_000.0)


def seconds(work: Callable[[], object], repeats: int = 1) -> float:
    """Best wall time of some repeats."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def one_hanging() -> None:
    """1,000 draws of half a barn hung on one day and kept up for 45 days."""
    outside, draws = weather(1), draw_barn_parameters(np.random.default_rng(SEED), DRAWS)
    setting = running.Setting(outside, draws, np.zeros(DRAWS, dtype=int), NEVER_DRY)
    cases = [(setting.case(d, BARN), setting.batches(d, HALF_FULL)) for d in range(DRAWS)]
    state = lookup.new_state(1)

    def run(kernel_run: Callable[..., None], count: int) -> Callable[[], None]:
        return lambda: [kernel_run(*case, state) for case in cases[:count]] and None

    run(kernel.dry_batches, 1)()
    fast = seconds(run(kernel.dry_batches, DRAWS), repeats=3)
    slow = {
        "same source as plain Python, 5 draws": seconds(run(kernel.dry_place, 5)) * DRAWS / 5,
        "readable loop of the tests, 2 draws": seconds(lambda: readable(outside, cases[:2]))
        * DRAWS
        / 2,
        "NumPy over all draws": seconds(lambda: over_draws(outside, setting, draws)),
    }
    print(f"{DRAWS:,} draws x {DAYS} days on one core, {setting.rule.sub_steps} step an hour")
    print(f"  {'compiled kernel':40}{fast:8.2f} s")
    for name, took in slow.items():
        print(f"  {name:40}{took:8.1f} s, {took / fast:.0f} times as long")


def readable(outside: OutsideAir, cases: list[tuple[kernel.Case, kernel.Batches]]) -> None:
    """Some draws by the readable loop, at one (midpoint) step an hour."""
    hours = list(zip(outside.temperature[0], outside.humidity[0], strict=True))
    for case, batches in cases:
        plant, space = case.plant, case.space
        parts = [
            reference.Part(
                batches.mass[0, k], batches.moisture[0, k], plant.conductance[k], plant.scale[k],
                plant.exponent,
            )
            for k in (kernel.FLOWER, kernel.STEM)
        ]  # fmt: skip
        batch = reference.Batch(int(batches.hang_hour[0]), *parts)
        rule = (float(targets.dry_basis(NEVER_DRY)), 12.0, 24 * DAYS)
        reference.dry_place(
            hours, outside.pressure, space.flow, space.heat, space.walls, [batch], rule, steps=1
        )


def over_draws(outside: OutsideAir, setting: running.Setting, d: BarnDraws) -> None:
    """The kernel's steps with arrays over draws, by the package's own formulas."""
    first = int(HALF_FULL.hang_hour[0])
    mass = HALF_FULL.sticks[0] * np.stack([d.mass_flower, d.mass_stem])
    moisture = np.stack([d.moisture_flower, d.moisture_stem])
    scale = np.stack([d.scale_flower, d.scale_stem])
    pace = np.stack([drying.hung_conductance(d.conductance_flower, d.exposed), d.conductance_stem])
    spaces = [setting.case(draw, BARN).space for draw in range(DRAWS)]
    flow, heat = (np.stack([getattr(s, name) for s in spaces]) for name in ("flow", "heat"))
    inside = np.full(DRAWS, outside.temperature[0, first])
    for hour in range(first, first + 24 * DAYS):
        activity = isotherm.water_activity(moisture, inside, scale, d.exponent)
        slope = d.exponent * activity * (1 - activity) / moisture
        z = pace * moist_air.saturation_pressure(inside) * slope * 3600
        gain = mass * pace * -np.expm1(-z) / z
        found = air.barn_air(
            outside.temperature[0, hour], outside.humidity[0, hour], outside.pressure,
            flow[:, hour % 24], heat[:, hour % 24], BARN.walls,
            (gain * activity).sum(0), gain.sum(0),
        )  # fmt: skip
        inside = found.temperature
        drive = (activity - found.humidity) * moist_air.saturation_pressure(inside)
        moisture = moisture - 3600 * gain / mass * drive


def step_errors() -> None:
    """What the number of steps an hour costs in drying days, against sixteen."""
    outside, count = weather(8), 200
    draws = draw_barn_parameters(np.random.default_rng(SEED), count)
    state, days = lookup.new_state(1), {}
    for steps in (1, 2, 4, 16):
        setting = running.Setting(outside, draws, np.arange(count) % 8, 0.12, sub_steps=steps)
        found = np.empty((count, kernel.RESULTS))
        for d in range(count):
            kernel.dry_batches(setting.case(d, BARN), setting.batches(d, HALF_FULL), state)
            found[d] = state.record[0]
        days[steps] = found[:, kernel.ABOVE] / 24
    print("steps an hour: error of drying days against 16 (median, 95 %)")
    for steps in (1, 2, 4):
        error = np.abs(days[steps] / days[16] - 1)
        print(f"  {steps}: {np.median(error):.2%}, {np.quantile(error, 0.95):.2%}")


def farm_table() -> None:
    """The drying table of a farm on all cores."""
    outside, count = weather(56), 112
    draws = draw_barn_parameters(np.random.default_rng(SEED), count)
    row = np.arange(count) % 56
    hours, loads = (np.arange(60) + 8) * 24 + 14, np.array([0.1, 0.5, 1.0])
    start, busy = time.perf_counter(), time.process_time()
    days = dry_table(outside, PLACES, draws, row, hours, loads).drying_days
    took, busy = time.perf_counter() - start, time.process_time() - busy
    cores = os.cpu_count()
    print(f"table of {days.size:,} runs on {cores} cores: {took:.1f} s ({busy:.1f} s of work)")
    print(f"  mean {days.mean():.1f} d, not dry in 45 d {(days >= 45).mean():.0%}")


def first_call() -> None:
    """Loading and compiling in a new process, cache empty and filled."""
    code = (
        "import time; t = time.perf_counter(); from tierpole.barn.warm import compile_kernel;"
        "compile_kernel(); print(time.perf_counter() - t)"
    )
    with tempfile.TemporaryDirectory() as cache:
        env = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "NUMBA_CACHE_DIR": cache}
        for state in ("empty", "filled"):
            out = subprocess.run(
                [sys.executable, "-c", code], env=env, check=True, capture_output=True, text=True
            )
            print(f"first drying of a process, cache {state}: {float(out.stdout):.1f} s")


if __name__ == "__main__":
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; ", end="")
    print(f"Python {platform.python_version()}, NumPy {np.__version__}, Numba {numba.__version__}")
    print(f"seed {SEED}")
    first_call()
    one_hanging()
    step_errors()
    farm_table()
