"""Smaller programs round a solution: near it, or fixed to its samples and cut days.

They only close columns of the full program or pin them, so every rule still holds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tierpole.plan.problem import Bools, Floats, Ints
from tierpole.plan.program import Columns, Program, read

IN_USE = 1e-6  # a variable above this counts as used


@dataclass(frozen=True)
class Reach:
    """How many sample options and days round those a solution uses stay open."""

    samples: float
    days: float


def near(program: Program, values: Floats, reach: Reach) -> Program:
    """The program with only the samples and cut days open that lie within reach of a solution."""
    columns = program.columns
    samples = _widened(read(values, columns.sample) > IN_USE, reach.samples)
    days = _widened(read(values, columns.taken) > IN_USE, reach.days)
    under = samples.copy()
    under[:, 0] = True  # a sample already taken is always there
    keep = np.ones(columns.count, bool)
    for index, is_open in (
        (columns.sample, samples),
        (columns.opened, days),
        (columns.taken, days),
        (columns.hung, days[..., None]),
        (columns.cut, under[..., None] & days[:, None]),
    ):
        closed = (index >= 0) & ~np.broadcast_to(is_open, index.shape)
        keep[index[closed]] = False
    return replace(program, upper=np.where(keep, program.upper, program.lower))


def days_in_parts(program: Program) -> Program:
    """The program with whole samples, but cut days that may be opened in part."""
    whole = program.whole.copy()
    opened = program.columns.opened
    whole[opened[opened >= 0]] = False
    return replace(program, whole=whole)


def leaning(program: Program, values: Floats, max_cut_days: Ints) -> Program:
    """The program fixed to the sample each lot leans to and to its busiest cut days."""
    columns = program.columns
    share, taken = read(values, columns.sample), read(values, columns.taken)
    sample = (share > IN_USE) & (_rank(share) < 1)
    under = sample.copy()
    under[:, 0] = True  # a sample already taken is always there
    legal = ((columns.cut >= 0) & under[..., None]).any(axis=1)
    taken = np.where(legal, taken, 0.0)
    opened = (taken > IN_USE) & (_rank(taken) < max_cut_days[:, None])
    return _fixed(program, sample, opened)


def pinned(program: Program, values: Floats) -> Program:
    """The program fixed to the samples and cut days of a solution; sticks may still move."""
    columns = program.columns
    return _fixed(program, read(values, columns.sample) > 0.5, read(values, columns.opened) > 0.5)


def _fixed(program: Program, sample: Bools, opened: Bools) -> Program:
    lower, upper = program.lower.copy(), program.upper.copy()
    columns: Columns = program.columns
    for index, chosen in ((columns.sample, sample), (columns.opened, opened)):
        lower[index[index >= 0]] = upper[index[index >= 0]] = chosen[index >= 0]
    return replace(program, lower=lower, upper=upper)


def _widened(used: Bools, reach: float) -> Bools:
    """True within `reach` steps of a True along the second axis [lot, step]."""
    if np.isinf(reach):
        return np.ones_like(used)  # a lot that uses nothing is open too
    steps = np.arange(used.shape[1])
    close = np.abs(steps[:, None] - steps) <= reach
    return (used.astype(float) @ close) > 0


def _rank(amount: Floats) -> Ints:
    """Rank from the largest, along the second axis."""
    return np.argsort(np.argsort(-amount, axis=1, kind="stable"), axis=1, kind="stable")
