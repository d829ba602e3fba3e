"""How fast the outlook is made: `python benchmarks/bench_outlook.py`.

The demo farm with one lot more, seen on 1 July: 1,000 draws x 9 lots x 4 places, every day from
the first that may be cut to 16 November. Timed: `make_outlook` in a fresh process, first with an
empty table cache, then with a filled one, and the peak memory of that process. Beside it, the
readable per-draw reference of the tests, which shares no kernel with it, on a stated subset and
scaled up: three draws of all lots, and twelve hangings at the steps an hour that the fast path
takes. Not timed: reading the farm and its weather, and compiling the kernel (bench_barn.py).
"""

from __future__ import annotations

import json
import os
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import numba
import numpy as np
import scipy
import xarray as xr

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import reference_outlook as reference  # noqa: E402
from outlook_cases import Drawn, drawn  # noqa: E402
from tierpole import moist_air  # noqa: E402
from tierpole.barn.running import SUB_STEPS  # noqa: E402
from tierpole.barn.warm import compile_kernel  # noqa: E402
from tierpole.outlook import make_outlook  # noqa: E402
from tierpole.outlook.curing import outside_air  # noqa: E402
from tierpole.scenario import demo_path, read_scenario  # noqa: E402
from tierpole.season import Season  # noqa: E402
from tierpole.units import ACRE  # noqa: E402

SEED, DRAWS = 1, 1000
SUBSET, HANGINGS = 3, 12
PASSING, LIMIT, PRECISION = 0.0034, 0.003, (0.04, 0.12)


def farm() -> Season:
    """The demo farm with a ninth lot, in July."""
    season = read_scenario(demo_path(), on=date(2026, 7, 1))
    more = season.lots[4].model_copy(update={"name": "9 Upper ridge"})
    return replace(season, lots=(*season.lots, more))


def seconds(work: Callable[[], object]) -> float:
    """Wall time of one run."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def fast() -> dict[str, float]:
    """Times and peak memory of the fast path in this process."""
    season, tables = farm(), {}
    found = {"kernel": seconds(compile_kernel)}
    for name in ("empty", "filled"):
        found[name] = seconds(lambda: make_outlook(season, draws=DRAWS, seed=SEED, tables=tables))
    found["memory"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    return found


def in_fresh_process() -> dict[str, float]:
    """`fast` where nothing has been loaded before."""
    out = subprocess.run(
        [sys.executable, __file__, "fast"], check=True, capture_output=True, text=True
    )
    return json.loads(out.stdout)


# --- the readable reference --------------------------------------------------------------------


def field_of(drawing: Drawn, draw: int) -> None:
    """One draw of every lot: sky, flowers, potency, mass, losses and all chances."""
    season = drawing.season
    one = drawing.of(draw, 0)
    spells = reference.wet_spells(reference.sky(one))
    for lot, noun in enumerate(season.lots):
        one = drawing.of(draw, lot)
        flowered = reference.flower_day(one, season.farm.latitude, season.index(noun.set_on))
        _, thc = reference.potency(one, flowered)
        reference.plant_mass(one, flowered)
        reference.field_losses(one, flowered, spells, season.field_of(noun).night_offset)
        plants = reference.plants_cut(noun.area / ACRE, noun.plants_set)
        for share in thc[120::2]:  # about as many days as the sampler can come
            for threshold in (PASSING, PASSING, 0.01):  # pass, pass again, over 1 %
                reference.chance_at_most(threshold, share, one, plants, PRECISION)
            reference.p_buyer(LIMIT, share, one, PRECISION)
            reference.p_biomass(PASSING, share, one, PRECISION)


def money_of(drawing: Drawn, draw: int, days: int) -> None:
    """One draw of every lot, place and cut day: dollars of a stick that passed."""
    season = drawing.season
    for number, lot in enumerate(season.lots):
        one = drawing.of(draw, number)
        for _ in range(days * len(season.places)):
            reference.stick_passed(one, season, lot, 0.3, 0.06, 0.1, 0.05)


def hours_of(drawing: Drawn, draw: int) -> list[tuple[float, ...]]:
    """The hours of a draw as the reference's barn wants them, wind, sun and sky beside the air."""
    air = outside_air(drawing.season, drawing.sky)
    row = drawing.sky.row[draw]
    return [
        (warm, humidity, *rest)
        for (warm, humidity, _), *rest in zip(
            reference.sky(drawing.of(draw, 0)), air.wind[row], air.sun[row], air.sky[row],
            strict=True,
        )
    ]  # fmt: skip


def hang(drawing: Drawn, outlook: xr.Dataset) -> None:
    """Hangings spread over draws, places, days and loads."""
    season = drawing.season
    pressure = float(moist_air.station_pressure(season.farm.elevation))
    rng = np.random.default_rng(SEED)
    skies = {draw: hours_of(drawing, draw) for draw in range(SUBSET)}
    first = season.index(outlook["cut_day"].values[0].astype("M8[D]").item())
    for number in range(HANGINGS):
        draw, place = number % SUBSET, number % len(season.places)
        day = first + int(rng.integers(outlook.sizes["cut_day"]))
        load = float(outlook["load"].values[number % 3])
        plant = drawing.plant(int(outlook["barn_row"].values[draw]))
        reference.drying(
            skies[draw], pressure, drawing.place(place), plant, 24 * day + 14, load, SUB_STEPS
        )


def slow(season: Season) -> dict[str, float]:
    """Seconds the reference would take for the whole, from its subset."""
    drawing = drawn(season, DRAWS, SEED)
    outlook = make_outlook(season, draws=DRAWS, seed=SEED)
    days, loads = outlook.sizes["cut_day"], outlook.sizes["load"]
    field = seconds(lambda: [field_of(drawing, draw) for draw in range(SUBSET)]) / SUBSET
    money = seconds(lambda: [money_of(drawing, draw, days) for draw in range(SUBSET)]) / SUBSET
    # the skies of the subset are part of the field's time already
    again = seconds(lambda: [hours_of(drawing, draw) for draw in range(SUBSET)])
    hanging = (seconds(lambda: hang(drawing, outlook)) - again) / HANGINGS
    each = len(season.places) * days * loads * hanging
    return {
        "field, law and money": DRAWS * (field + money),
        "one hanging": hanging,
        "drying, as many barn draws as the fast path": outlook.sizes["barn_draw"] * each,
        "drying, every draw": DRAWS * each,
    }


def report() -> None:
    """Run all and print ratios."""
    season = farm()
    quick, plain = in_fresh_process(), slow(season)
    field = plain["field, law and money"]
    whole = field + plain["drying, as many barn draws as the fast path"]
    print(f"{DRAWS:,} draws x {len(season.lots)} lots x {len(season.places)} places, seed {SEED}")
    row("loading the kernel, compiled before", quick["kernel"], "s")
    row("make_outlook, table cache empty", quick["empty"], "s")
    row("make_outlook, table cache filled", quick["filled"], "s")
    row("peak memory of that process", quick["memory"], "MB")
    print(f"readable reference, scaled from {SUBSET} draws and {HANGINGS} hangings")
    for name, took in plain.items():
        row(name, took, "s")
    print("reference over make_outlook")
    row("cache empty, as many barn draws", whole / quick["empty"], "times as long")
    row("cache filled, without the drying", field / quick["filled"], "times as long")


def row(name: str, number: float, unit: str) -> None:
    """One line of the report."""
    print(f"  {name:46}{number:12,.{2 if number < 10 else 0}f} {unit}")


def machine() -> str:
    """What the numbers were measured on, and with."""
    modules = {"NumPy": np, "SciPy": scipy, "Numba": numba, "xarray": xr}
    versions = [f"{name} {module.__version__}" for name, module in modules.items()]
    load = f"load {os.getloadavg()[0]:.1f}"
    where = f"{platform.machine()}, {os.cpu_count()} cores, {load}; Python"
    return ", ".join([f"{where} {platform.python_version()}", *versions])


if __name__ == "__main__":
    if sys.argv[1:] == ["fast"]:
        print(json.dumps(fast()))
    else:
        print(machine())
        report()
