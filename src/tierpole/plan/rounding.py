"""Whole sticks from a solution that still splits them, with every rule kept.

Cutting off the parts of sticks always leaves a schedule that works: less hangs, so less comes down.
The rest is to lose little by it, in three small programs with samples and cut days pinned:

1. parts of sticks, with one stick's work a day held back for rounding take-down later;
2. whole sticks hung, starting from the first with the parts cut off;
3. whole sticks taken down and stripped, as soon as the crew has time.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tierpole.plan.highs import Solver
from tierpole.plan.nearby import IN_USE, pinned
from tierpole.plan.problem import Floats, Problem
from tierpole.plan.program import Program, strip_hours

PROMPT = 1e-4  # dollars a stick and day that dry sticks wait: enough to settle ties
FINEST = 1e-6


def whole_sticks(
    problem: Problem, program: Program, values: Floats, gap: float, seconds: float
) -> Floats:
    """A solution near `values` in whole sticks, within `gap` of the best such if time allows."""
    fixed = pinned(program, values)
    spared = _work_held_back(problem, fixed)
    parts = Solver(spared, whole=False).run().values
    hung = _hung_whole(spared, parts, gap, seconds)
    return _down_whole(fixed, hung)


def _work_held_back(problem: Problem, program: Program) -> Program:
    """The program with the work of one stick a day taken from the crew."""
    hours = problem.hours_take_down
    if np.isfinite(problem.bulk_room):
        hours += strip_hours(problem)
    upper = program.row_upper.copy()
    crew = program.rows("crew")
    upper[crew] = np.maximum(upper[crew] - hours, 0)
    return replace(program, row_upper=upper)


def _hung_whole(program: Program, parts: Floats, gap: float, seconds: float) -> Floats:
    """Whole sticks hung, nowhere more than the next whole number."""
    hung = program.columns.hung[program.columns.hung >= 0]
    floor, ceiling = np.floor(parts[hung] + IN_USE), np.ceil(parts[hung] - IN_USE)
    cut_off = Solver(_between(program, hung, floor, floor), whole=False).run().values
    whole = np.zeros_like(program.whole)
    whole[hung] = True
    solver = Solver(replace(_between(program, hung, 0, ceiling), whole=whole), whole=True)
    solver.start_from(cut_off)
    found = solver.run(seconds, gap).found
    return cut_off if found is None else found


def _down_whole(program: Program, values: Floats) -> Floats:
    """Whole sticks taken down and stripped; a hung stick is given up only if there is no way."""
    columns = program.columns
    hung = columns.hung[columns.hung >= 0]
    whole, cost = np.zeros_like(program.whole), program.cost.copy()
    for sticks in (columns.hung, columns.down, columns.stripped):
        whole[sticks[sticks >= 0]] = True
    for waiting in (columns.ready, columns.bulk):
        cost[waiting[waiting >= 0]] += PROMPT
    limited = _between(program, hung, 0, np.rint(values[hung]))
    return Solver(replace(limited, whole=whole, cost=cost), whole=True).run(gap=FINEST).values


def _between(
    program: Program, index: np.ndarray, lower: float | Floats, upper: float | Floats
) -> Program:
    low, high = program.lower.copy(), program.upper.copy()
    low[index], high[index] = lower, upper
    return replace(program, lower=low, upper=high)
