"""How fast the barn dries: `python benchmarks/bench_barn.py`.

Timed: (1) 1,000 draws of one hanging in three tiers kept up for 45 days by the compiled kernel on
one core, by the same source as plain Python, by the readable loop that is its oracle in the tests,
and by NumPy over all draws with the package's own formulas; the slow ones on a few draws, scaled
up. (2) The drying table of a farm, 4 places x 60 days x 3 loads x 112 draws, nothing cached, on all
cores. (3) 200 draws led on by a day, as a filter does at each reading. Loading and compiling is
timed apart, into an empty and from a filled cache. Making the weather is not timed. Times are of
the processor, since the cores may be shared, but for the first drying of a process.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import numba
import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import barn_reference as reference  # noqa: E402
from tierpole import moist_air  # noqa: E402
from tierpole.barn import (  # noqa: E402
    BarnDraws,
    Controls,
    Hangings,
    OutsideAir,
    PlaceAir,
    advance,
    air,
    draw_barn_parameters,
    dry_table,
    first_state,
    isotherm,
    kernel,
    lookup,
    place_air,
    running,
    sky,
    targets,
)
from tierpole.farm import Place, PlaceKind  # noqa: E402
from tierpole.units import FOOT  # noqa: E402

Array = np.ndarray
SEED, DRAWS, DAYS = 1, 1000, 45
NEVER_DRY = 0.01  # a target no flower reaches, so that it hangs as long as may be
HALF_FULL = Hangings.unmeasured(np.array([14 + 24 * 20]), np.array([630.0]))


def place(kind: PlaceKind, tiers: int = 3) -> PlaceAir:
    """A place of 56,000 cubic feet."""
    return place_air(
        Place(
            name="Barn", kind=kind, tiers=tiers, runs=10, run_length=64 * FOOT,
            stick_spacing=1.5 * FOOT, volume=56_000 * FOOT**3,
        )
    )  # fmt: skip


BARN = place(PlaceKind.BARN)
PLACES = [BARN, place(PlaceKind.FRAME, 1), place(PlaceKind.SHED), place(PlaceKind.ROOM)]


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
    sun = 0.5 * np.broadcast_to(sky.sun_above(38.5, 237 + np.arange(days)), temperature.shape)
    cold = sky.sky_loss(temperature, 0.5)
    return OutsideAir(temperature, humidity, 98_000.0, sun=sun, sky=cold)


def seconds(work: Callable[[], object], repeats: int = 1) -> float:
    """Least processor time of some repeats."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def one_hanging() -> None:
    """1,000 draws of half a barn hung on one day and kept up for 45 days."""
    outside, draws = weather(1), draw_barn_parameters(np.random.default_rng(SEED), DRAWS)
    setting = running.Setting(outside, draws, np.zeros(DRAWS, dtype=int), NEVER_DRY)
    cases = [
        (setting.case(d, BARN), setting.batches(d, HALF_FULL, BARN.tiers)) for d in range(DRAWS)
    ]
    state, trace = lookup.new_state(1, BARN.tiers), lookup.new_trace(0, 1, BARN.tiers)
    first = int(HALF_FULL.hang_hour[0])

    def run(kernel_run: Callable[..., object], count: int) -> Callable[[], None]:
        def some() -> None:
            for case, batches in cases[:count]:
                kernel.start_place(first, state, case.outside)
                kernel_run(case, batches, state, trace, first, first + 24 * DAYS)

        return some

    run(kernel.run_hours, 1)()
    fast = seconds(run(kernel.run_hours, DRAWS), repeats=3)
    slow = {
        "same source as plain Python, 2 draws": seconds(run(kernel.run_place, 2)) * DRAWS / 2,
        "readable loop of the tests, 1 draw": seconds(lambda: readable(outside, draws)) * DRAWS,
        "NumPy over all draws": seconds(lambda: over_draws(outside, setting, draws)),
    }
    print(f"{DRAWS:,} draws x {DAYS} days on one core, {setting.rule.sub_steps} step an hour")
    print(f"  {'compiled kernel':40}{fast:8.2f} s")
    for name, took in slow.items():
        print(f"  {name:40}{took:8.1f} s, {took / fast:.0f} times as long")


def readable(outside: OutsideAir, draws: BarnDraws) -> None:
    """One draw by the readable loop, at one (midpoint) step an hour."""
    first = int(HALF_FULL.hang_hour[0])
    start = first - first % 24
    wind = sky.wind_usual(*outside.temperature.shape)
    rows = (outside.temperature, outside.humidity, wind, outside.sun, outside.sky)
    hours = list(zip(*(row[0, start:] for row in rows), strict=True))
    plant = {field.name: float(getattr(draws, field.name)[0]) for field in fields(draws)}
    batch = reference.batch(first - start, HALF_FULL.sticks[0], BARN.tiers, plant)
    rule = (float(targets.dry_basis(NEVER_DRY)), 12.0, 24 * DAYS)
    house = reference.house(BARN, plant)
    reference.dry_place(hours, outside.pressure, house, [batch], rule, steps=1)


def over_draws(outside: OutsideAir, setting: running.Setting, d: BarnDraws) -> None:
    """The kernel's steps with arrays over draws, by the package's own formulas."""
    barn = Stacked(setting, outside)
    first = int(HALF_FULL.hang_hour[0])
    mass = HALF_FULL.sticks[0] / BARN.tiers * np.stack([d.mass_flower, d.mass_leaf, d.mass_stem])
    moisture = np.stack([d.moisture_flower, d.moisture_leaf, d.moisture_stem])
    moisture = np.repeat(moisture[None], BARN.tiers, axis=0)  # [tier, part, draw]
    branch = np.ones(moisture.shape)
    warm = np.full((BARN.tiers, len(d)), outside.temperature[0, first])
    ratio = np.full(warm.shape, barn.ratio[first])
    for hour in range(first, first + 24 * DAYS):
        warm, ratio, moisture, branch = barn.step(hour, warm, ratio, moisture, branch, mass)


class Stacked:
    """A barn of many draws: every number of the kernel's `Space` and `Plant` as [draw]."""

    def __init__(self, setting: running.Setting, outside: OutsideAir):
        cases = [setting.case(draw, BARN) for draw in range(len(setting.draws))]
        self.draws, self.outside, self.space = setting.draws, outside, cases[0].space
        self.by_draw = {
            name: np.array([getattr(case.space, name) for case in cases])
            for name in ("wind_area", "leak_area", "canopy", "full", "sun_gain")
        }
        self.ratio, self.volume, self.wind = cases[0].outside[1:4]
        self.vents = BARN.usual().vents

    def step(
        self, hour: int, warm: Array, ratio: Array, moisture: Array, branch: Array, mass: Array
    ) -> tuple[Array, Array, Array, Array]:
        """One hour of all draws."""
        rise = self.outside.temperature[0, hour] - self.outside.temperature[0, hour - 1]
        stack = self.stack(hour, warm + rise, ratio)
        cross, through, speed = self.streams(hour, stack, warm + rise, mass)
        gain, activity = self.drives(warm + rise, moisture, branch, speed)
        arguments = (hour, warm, moisture, mass, gain, activity)
        found, wet = self.settle(*arguments, cross, through)
        again = self.stack(hour, found, wet)
        both = np.where(stack * again > 0, np.sqrt(np.abs(stack * again)) * np.sign(stack), 0)
        cross, through, _ = self.streams(hour, both, warm + rise, mass)
        found, wet = self.settle(*arguments, cross, through)
        saturation = moist_air.saturation_pressure(found)[:, None]
        vapour = moist_air.vapour_pressure(wet, self.outside.pressure)[:, None]
        given = 3600 * gain * (activity * saturation - vapour)
        return found, wet, moisture - given, isotherm.branch_after(branch, -given)

    def stack(self, hour: int, warm: Array, ratio: Array) -> Array:
        """Buoyant flow [m3/s], [draw]."""
        inside = moist_air.virtual_temperature(warm, ratio).mean(0)
        outside = moist_air.virtual_temperature(self.outside.temperature[0, hour], self.ratio[hour])
        area = self.vents[hour % 24] * BARN.vent_area
        return air.stack_flow(area, BARN.height / 2, inside, outside)

    def streams(
        self, hour: int, stack: Array, warm: Array, mass: Array
    ) -> tuple[Array, Array, Array]:
        """Streams across each tier and through all [kg/s], and the speed among the plants."""
        space, by_draw, wind = self.space, self.by_draw, self.wind[hour]
        blown = by_draw["wind_area"] * wind * self.vents[hour % 24]
        total = air.combined_flow(blown, stack)
        difference = warm.mean(0) - self.outside.temperature[0, hour]
        leak = air.leak_flow(by_draw["leak_area"] / 10, difference, wind)
        through = stack * np.abs(stack) / np.maximum(total, 1e-9)
        cross = np.maximum(total - np.abs(through) + leak, space.flow_least)
        fill = np.minimum(BARN.tiers * mass.sum(0) / by_draw["full"], 1)
        share = 1 - (1 - by_draw["canopy"]) * fill
        speed = space.speed_still + share * (cross + np.abs(through)) / space.face
        return (
            share * cross / self.volume[hour] / BARN.tiers,
            share * through / self.volume[hour],
            speed,
        )

    def drives(
        self, warm: Array, moisture: Array, branch: Array, speed: Array
    ) -> tuple[Array, Array]:
        """Conductances lessened by their own slowing, and activities [tier, part, draw]."""
        d = self.draws
        outer = d.exposed * np.sqrt(speed / air.COEFFICIENTS["speed_reference"])
        moved = 2 * outer / (1 + outer)
        pace = np.stack(
            [d.conductance_flower * moved, d.conductance_leaf * moved, d.conductance_stem]
        )
        scale = np.stack([d.scale_flower, d.scale_flower, d.scale_stem])
        inside = warm[:, None]
        activity = isotherm.activity_on_branch(moisture, inside, branch, d.loop, scale, d.exponent)
        slope = d.exponent * activity * (1 - activity) / (moisture + d.loop * (1 - branch))
        z = pace * slope * moist_air.saturation_pressure(inside) * 3600
        return pace * -np.expm1(-z) / z, activity

    def settle(
        self, hour: int, warm: Array, moisture: Array, mass: Array, gain: Array, activity: Array,
        cross: Array, through: Array,
    ) -> tuple[Array, Array]:  # fmt: skip
        """Air of each tier in balance, up and down streams alike taken upwards."""
        space, outside, pressure = self.space, self.outside, self.outside.pressure
        t_out, r_out = outside.temperature[0, hour], self.ratio[hour]
        h_out = moist_air.enthalpy(t_out, r_out)
        roof = (
            self.by_draw["sun_gain"] * outside.sun[0, hour] - space.sky_loss * outside.sky[0, hour]
        )
        flow = cross + np.abs(through)
        found, wet = [], []
        for tier in range(BARN.tiers):
            before = (t_out, r_out) if tier == 0 else (found[-1], wet[-1])
            ratio = (cross * r_out + np.abs(through) * before[1]) / flow
            brought = cross * h_out + np.abs(through) * moist_air.enthalpy(*before)
            held = space.store[tier] + (mass * (1400 + 4186 * moisture[tier])).sum(0)
            heat = brought + roof * space.roof[tier] + space.walls[tier] * t_out
            heat = heat + held / 3600 * warm[tier]
            moistening = (mass * gain[tier] * activity[tier]).sum(0) + space.floor[tier]
            drying = (mass * gain[tier]).sum(0) + space.floor[tier]
            walls, evaporation = space.walls[tier] + held / 3600, np.zeros(flow.shape)
            for _ in range(4):  # Newton
                now = ratio + evaporation / flow
                capacity = flow * (1006 + 1860 * now) + walls - 4186 * evaporation
                inside = (heat - flow * 2.501e6 * now) / capacity
                saturation = moist_air.saturation_pressure(inside)
                rise = moist_air.saturation_pressure(inside + 0.1) - saturation
                vapour = moist_air.vapour_pressure(now, pressure)
                wetting = pressure * 0.621945 / (0.621945 + now) ** 2 / flow
                cooling = (2.501e6 - 2326 * inside) / capacity
                surplus = moistening * saturation - drying * vapour - evaporation
                slope = 1 + drying * wetting + moistening * 10 * rise * cooling
                evaporation = evaporation + surplus / slope
            wet.append(ratio + evaporation / flow)
            found.append(inside)
        return np.stack(found), np.stack(wet)


def step_errors() -> None:
    """What half the step moves, in moisture and in drying days."""
    outside, count = weather(8), 200
    draws = draw_barn_parameters(np.random.default_rng(SEED), count)
    first, days, moistures = int(HALF_FULL.hang_hour[0]), {}, {}
    state = lookup.new_state(1, BARN.tiers)
    for steps in (1, 2):
        setting = running.Setting(outside, draws, np.arange(count) % 8, sub_steps=steps)
        found, kept = np.empty(count), []
        for d in range(count):
            trace = lookup.new_trace(24 * DAYS, 1, BARN.tiers)
            case, batches = setting.case(d, BARN), setting.batches(d, HALF_FULL, BARN.tiers)
            kernel.start_place(first, state, case.outside)
            kernel.run_hours(case, batches, state, trace, first, first + 24 * DAYS)
            found[d] = state.record[0, kernel.ABOVE]
            kept.append(trace.moisture)
        days[steps], moistures[steps] = found, np.array(kept)
    error = np.abs(days[1] / days[2] - 1)
    moved = np.nanmean(np.abs(moistures[1] - moistures[2]))
    print("half a step an hour moves:")
    print(f"  drying days {np.median(error):.2%} (median), {np.quantile(error, 0.95):.2%} (95 %)")
    print(f"  moisture {moved:.1e} on average")


def farm_table() -> None:
    """The drying table of a farm on all cores."""
    outside, count = weather(56), 112
    draws = draw_barn_parameters(np.random.default_rng(SEED), count)
    row = np.arange(count) % 56
    hours, loads = (np.arange(60) + 8) * 24 + 14, np.array([0.1, 0.5, 1.0])
    start, busy = time.perf_counter(), time.process_time()
    days = dry_table(outside, PLACES, draws, row, hours, loads).drying_days
    took, busy = time.perf_counter() - start, time.process_time() - busy
    cores = os.cpu_count() or 1
    print(
        f"table of {days.size:,} runs on {cores} cores: {took:.1f} s; of the processor {busy:.1f}"
    )
    print(f"  that is {busy / cores:.1f} s on cores that nobody else uses")
    print(f"  mean {days.mean():.1f} d, not dry in 45 d {(days >= 45).mean():.0%}")


def filter_step() -> None:
    """200 draws led on by 24 hours."""
    outside, count = weather(20), 200
    draws = draw_barn_parameters(np.random.default_rng(SEED), count)
    season = (outside, BARN, draws, np.arange(count) % 20, HALF_FULL)
    usual, first = BARN.usual(), int(HALF_FULL.hang_hour[0])
    hours = np.arange(first, first + 24) % 24
    controls = Controls(usual.vents[hours], usual.fans[hours], usual.heat[hours])
    state = first_state(*season, first)
    took = seconds(lambda: advance(*season, state, controls), repeats=3)
    print(f"{count} draws led on by a day: {took:.2f} s")


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
    filter_step()
