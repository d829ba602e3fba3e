"""Rules of thumb, worked through the same season: what a careful neighbour would do.

Each rule fixes the sampling day of every lot; the lots are then cut in the order they were
sampled, as many sticks a day as crew, wagons and room allow, into whichever place has most room.
What dries is taken down before more is cut. Nothing looks ahead.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr

from tierpole.compliance import LotState
from tierpole.evidence import Mark, Table, Value
from tierpole.plan.harvest import Harvest
from tierpole.plan.keeping import Barns
from tierpole.plan.problem import NO_SAMPLE, Problem, Schedule

Array = np.ndarray

THUMB = Table(
    "Rules of thumb",
    (
        Value(
            "days_after_flower", 35.0, "d", Mark.PRACTICE,
            "sampled five weeks after flowering begins and cut in that order",
        ),
        Value(
            "pretest_reads", 0.0020, "share", Mark.PRACTICE,
            "sampled when a pre-test first reads 0.20 % total THC",
        ),
    ),
)  # fmt: skip

Rule = Callable[[xr.Dataset], Array]


def five_weeks(outlook: xr.Dataset) -> Array:
    """Day index of each lot's sample [lot]: five weeks after it flowers in half of the draws."""
    return np.median(outlook["flower_day"].values, axis=0) + THUMB["days_after_flower"]


def first_reading(outlook: xr.Dataset) -> Array:
    """Day index [lot] on which the median THC reaches the pre-test's mark; never: the last day."""
    thc = np.median(outlook["thc"].values, axis=0)  # [lot, day]
    reached = thc >= THUMB["pretest_reads"]
    return np.where(reached.any(axis=1), reached.argmax(axis=1), thc.shape[1] - 1)


RULES: dict[str, Rule] = {
    "sampled 35 days after flowering, cut in that order": five_weeks,
    "sampled when a pre-test first reads 0.20 %": first_reading,
}


def follow(harvest: Harvest, wanted: Array) -> Schedule:
    """The schedule of a rule that wants each lot sampled on a day index [lot]."""
    problem = harvest.problem
    lots, _, days, places = problem.shape
    sample = np.array([_option(harvest, lot, wanted[lot]) for lot in range(lots)])
    order = sorted(range(lots), key=lambda lot: (_sampled_on(harvest, sample[lot]), lot))
    left = problem.sticks_standing.astype(int).copy()
    sticks = np.zeros((lots, days, places), dtype=np.int64)
    down = np.zeros((places, days), dtype=np.int64)
    barns = Barns(problem)
    for day in range(days):
        down[:, day], hours = barns.take_down(day, float(problem.crew_hours[day]))
        haul = int(problem.haul_limit[day])
        for lot in order:
            if sample[lot] == NO_SAMPLE or not problem.allowed[lot, sample[lot], day]:
                continue
            able = int(min(hours / problem.hours_hang[lot], haul, left[lot]))
            for place in np.argsort(-barns.room(day)):
                hung = int(min(able, barns.room(day)[place]))
                if hung <= 0:
                    continue
                sticks[lot, day, place] += hung
                barns.hang(int(place), day + int(problem.hold_days[place, day]), hung)
                able, haul, left[lot] = able - hung, haul - hung, left[lot] - hung
                hours -= hung * problem.hours_hang[lot]
    return _schedule(problem, sample, sticks, left, down)


def _option(harvest: Harvest, lot: int, wanted: float) -> int:
    """The sample option the rule takes: the lot's own, or the first visit on the day or after."""
    state = harvest.status[lot].state
    if state in (LotState.PASSED, LotState.SAMPLED):
        return 0
    season = harvest.season
    for option, day in enumerate(harvest.sample_days):
        if day is None or season.index(day) < wanted:
            continue
        if harvest.problem.allowed[lot, option].any():
            return option
    return NO_SAMPLE


def _sampled_on(harvest: Harvest, option: int) -> int:
    day = harvest.sample_days[option] if option > 0 else None
    return -1 if day is None else harvest.season.index(day)


def _schedule(problem: Problem, sample: Array, sticks: Array, left: Array, down: Array) -> Schedule:
    return Schedule(
        lots=problem.lots,
        places=problem.places,
        sample=sample.astype(np.int64),
        sticks=sticks,
        left=left.astype(np.int64),
        take_down=down,
        strip=np.zeros(problem.days, dtype=np.int64),
        objective=0.0,
        before_rounding=0.0,
        bound=np.inf,
        gap=np.inf,
        seconds=0.0,
        rounds=0,
        status="rule of thumb",
    )
