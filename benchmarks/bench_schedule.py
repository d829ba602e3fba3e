"""How long a schedule takes, and how close to the proven bound it ends.

    python benchmarks/bench_schedule.py [SIZE ...] [--seeds N]

Timed: `solve` from a ready `Problem` to a schedule in whole sticks: building the program, bound,
search, rounding. Not timed: making the farm and averaging its draws. Farms are generated: lots of
900 to 2,400 sticks, 4 places (6 on the largest) of which two are full of tobacco until day 20 and
38, 75 days without Sunday work, a fifth of the days wet at 40 % crew, 200 draws that share frost,
season and price. `busy` has crew for about 1.1 times the work in the weeks that matter and up to 8
cut days a lot; `easy` twice the crew and 3 cut days. `no hours` is `easy` with take-down free of
work, as a measure of what the take-down rows cost. The last column is the same program handed whole
to the solver, to the same gap.
"""

from __future__ import annotations

import argparse
import platform
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from importlib.metadata import version
from typing import TypeVar

import numpy as np
from scipy.special import expit, ndtr

from tierpole.plan.highs import Solver
from tierpole.plan.problem import Draws, Problem
from tierpole.plan.program import make_program
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop, solve
from tierpole.plan.value import averages

T = TypeVar("T")

DAYS, DRAWS = 75, 200
DELAY, WINDOW = 6, 30
PLAIN_SECONDS = 60.0
STOPS = {9: Stop(0.006, 8.0), 40: Stop(0.005, 20.0), 200: Stop(0.005, 90.0)}
KINDS = {"easy": (2.0, 3), "busy": (1.0, 8), "no hours": (2.0, 3)}


HEAD = (
    " lots farm      seed  risk   wall s   cpu s        bound     gap rounds  rounding  "
    "plain call, cpu"
)


@dataclass(frozen=True)
class Timing:
    """One solve: seconds on the clock and of the processor."""

    wall: float
    cpu: float


def generated_farm(lots: int, seed: int, crew: float, cut_days: int) -> Problem:
    """An invented farm; `crew` 1 is just enough to bring everything in."""
    rng = np.random.default_rng(seed)
    places = 4 if lots < 100 else 6
    standing = rng.integers(900, 2400, lots)
    allowed = legal_days(lots)
    draws = random_draws(rng, lots, places)
    value, place_value, value_left = averages(draws, allowed, places)
    fee = np.full((lots, DAYS + 1), 400.0)
    fee[:, 0] = 0.0
    return Problem(
        lots=tuple(f"lot {number + 1}" for number in range(lots)),
        places=tuple(f"place {number + 1}" for number in range(places)),
        sticks_standing=standing,
        allowed=allowed,
        value=value,
        place_value=place_value,
        value_left=value_left,
        sample_fee=fee,
        hold_days=hold_days(places),
        capacity=room(rng, places, standing.sum()),
        hanging=(),
        hours_hang=np.full(lots, 5.7 / 60),
        hours_take_down=0.8 / 60,
        hours_strip=np.full(lots, 19 / 60),
        crew_hours=crew_hours(rng, crew * standing.sum()),
        bulk_room=np.inf,
        sticks_owned=10**9,
        haul_limit=np.full(DAYS, np.inf),
        max_cut_days=np.full(lots, cut_days),
        cut_day_cost=60.0,
        draws=draws,
    )


def legal_days(lots: int) -> np.ndarray:
    """Sampler on weekdays, no Sunday cutting, cuts from the result to the end of the window."""
    allowed = np.zeros((lots, DAYS + 1, DAYS), bool)
    for sampled in range(DAYS):
        if sampled % 7 < 5:
            cut = np.arange(sampled + DELAY, min(sampled + WINDOW + 1, DAYS))
            allowed[:, sampled + 1, cut[cut % 7 != 6]] = True
    return allowed


def random_draws(rng: np.random.Generator, lots: int, places: int) -> Draws:
    """Dollars and chances that share the season's warmth, frost day and price."""
    flowered = rng.uniform(-25, 18, lots)
    age = np.arange(DAYS) - flowered[:, None]  # [lot, day]
    season = rng.normal(size=(DRAWS, 1))
    plateau = 0.36 * np.exp(0.1 * season + 0.1 * rng.normal(size=(DRAWS, lots)))
    plateau *= rng.uniform(0.85, 1.15, lots)
    chance = ndtr((0.34 - plateau[..., None] * expit((age - 31) / 7)) / 0.04)
    frosted = np.arange(DAYS) > rng.normal(55, 8, DRAWS)[:, None]
    mould = rng.lognormal(0, 0.4, DRAWS)[:, None, None] * np.maximum(age - 28, 0)
    price = 1.4 * rng.choice([1.0, 0.5, 0.0], DRAWS, p=[0.85, 0.10, 0.05])
    mass = 2.4 * np.exp(0.3 * rng.normal(size=(DRAWS, lots)))
    points = 6.8 * expit((age - 28) / 7) * (1 - 0.01 * np.maximum(age - 45, 0))
    kept = (1 - 0.25 * frosted[:, None]) * np.exp(-0.01 * mould)
    drying = -np.abs(rng.normal(0.6, 0.3, (DRAWS, 1, 1, places)))
    place = np.broadcast_to(drying, (DRAWS, lots, DAYS, places)) if lots < 100 else None
    return Draws(
        p_pass=np.concatenate([np.ones((DRAWS, lots, 1)), chance], axis=2),
        cut=mass[..., None] * points * kept * price[:, None, None] - 5.0,
        place=place,
        fail=np.full((DRAWS, lots, DAYS + 1), 0.5),
        left=np.zeros((DRAWS, lots)),
        fixed=rng.normal(-50_000, 2000, DRAWS),
    )


def hold_days(places: int) -> np.ndarray:
    """Ten to seventeen days by place, five more when it turns cool."""
    return np.linspace(17, 10, places).astype(int)[:, None] + 5 * (np.arange(DAYS) > 40)


def room(rng: np.random.Generator, places: int, sticks: int) -> np.ndarray:
    """Room for half the sticks at a time, two places only once the tobacco is out."""
    size = (0.5 * sticks * rng.dirichlet(np.full(places, 4))).astype(int)
    capacity = np.repeat(size[:, None], DAYS, axis=1)
    capacity[0, :20] = capacity[1, :38] = 0
    return capacity


def crew_hours(rng: np.random.Generator, sticks: float) -> np.ndarray:
    """Hours to bring the sticks in and down over 42 % of the days, less Sundays and rain."""
    hours = np.full(DAYS, sticks * 6.5 / 60 / (0.42 * DAYS))
    hours[rng.random(DAYS) < 0.2] *= 0.4
    hours[np.arange(DAYS) % 7 == 6] = 0.0
    return hours


def timed(work: Callable[[], T]) -> tuple[T, Timing]:
    """What some work returns, and how long it took."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = work()
    return result, Timing(time.perf_counter() - wall, time.process_time() - cpu)


def lines(size: int, seeds: int) -> Iterator[str]:
    """One line for each farm of a size, without and with a weight on the worst draws."""
    stop = STOPS[size]
    for (kind, (crew, cut_days)), seed in ((k, s) for k in KINDS.items() for s in range(seeds)):
        problem = generated_farm(size, seed, crew, cut_days)
        if kind == "no hours":
            problem = replace(problem, hours_take_down=0.0)
        for weight in (0.0, 0.3):
            schedule, took = timed(lambda: solve(problem, stop, Risk(weight)))  # noqa: B023
            plain = plain_call(problem, stop) if size == 9 and weight == 0 else ""
            yield (
                f"{size:5} {kind:9} {seed:4} {weight:5.1f} {took.wall:8.1f} {took.cpu:7.1f} "
                f"{schedule.bound:12,.0f} {schedule.gap:7.2%} {schedule.rounds:6} "
                f"{schedule.before_rounding - schedule.objective:9,.0f}  {plain}"
            )


def plain_call(problem: Problem, stop: Stop) -> str:
    """Processor seconds of the whole program in one call, to the same gap."""
    solver = Solver(make_program(problem, 0.0), whole=True)
    answer, took = timed(lambda: solver.run(PLAIN_SECONDS, stop.gap))
    return f"{took.cpu:.1f} s to {(answer.bound - answer.cost) / answer.cost:.2%}"


def sizes_line(size: int) -> str:
    """How large the program of a farm is."""
    program = make_program(generated_farm(size, 0, 1.0, 8), 0.0)
    return (
        f"{size} lots: {len(program.cost):,} columns, {len(program.row_lower):,} rows, "
        f"{program.matrix.nnz:,} entries, "
        f"{program.whole.sum():,} binaries"
    )


def main() -> None:
    """Print the machine, then a table for each size."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("size", nargs="*", type=int, default=list(STOPS), choices=list(STOPS))
    parser.add_argument("--seeds", type=int, default=2)
    chosen = parser.parse_args()
    print(f"{platform.machine()}, Python {platform.python_version()}, HiGHS {version('highspy')}")
    for size in chosen.size:
        stop = STOPS[size]
        print(f"\n{sizes_line(size)}; asked for {stop.gap:.1%} in {stop.seconds:.0f} s")
        print(HEAD)
        for line in lines(size, chosen.seeds if size < 200 else 1):
            print(line, flush=True)


if __name__ == "__main__":
    main()
