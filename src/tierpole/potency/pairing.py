"""From a pool of posterior states to the season's draws: which states, and which draw takes which.

The season has its own number of draws, each with its weather. States are picked so that few stand
well for many, and each goes to a draw that was as early or as late before the tests as the state is
after them. Any such pairing leaves the posterior as it is; this one keeps late flowering with the
weather that made it late, as far as one can tell the two apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_AXES = 12  # principal directions looked at when states are picked
_SEEN = 512  # states that these directions are taken from
_BLOCK = 600  # draws paired at a time; the work grows with the cube


def pick_states(features: Array, count: int, rng: np.random.Generator) -> Index:
    """Places of `count` states that stand for all [state, feature].

    The pool is halved across its widest direction, each half again, down to as many cells as
    states are wanted; one state at random is taken of each. Every state has the same chance, so
    nothing is favoured, and means over the picked differ less from those over all than by chance.
    """
    pool = len(features)
    order = np.arange(max(pool, count)) % pool
    centred = features - features.mean(axis=0)
    _, _, axes = np.linalg.svd(centred[rng.permutation(pool)[:_SEEN]], full_matrices=False)
    scores = centred @ axes[:_AXES].T
    return np.array(_one_per_cell(scores, rng.permutation(order), count, rng), np.intp)


def pair_draws(before: Array, after: Array) -> Index:
    """For each draw [draw] the state that it takes, by flower days before and after the tests.

    `before` and `after` are flower days [draw, lot] of as many draws and states. Squares of
    differences, in standard deviations, are made as small as can be.
    """
    first, second = _standard(before), _standard(after)
    axis = np.linalg.svd(first, full_matrices=False)[2][0]
    draws, states = np.argsort(first @ axis), np.argsort(second @ axis)
    taken = np.empty(len(before), np.intp)
    blocks = int(np.ceil(len(before) / _BLOCK))
    for some, others in zip(
        np.array_split(draws, blocks), np.array_split(states, blocks), strict=True
    ):
        rows, columns = linear_sum_assignment(first[some] @ -second[others].T)
        taken[some[rows]] = others[columns]
    return taken


def _one_per_cell(scores: Array, members: Index, cells: int, rng: np.random.Generator) -> list[int]:
    """One of the members of each of so many cells, of equal size to within one."""
    if cells == 1:
        return [int(rng.choice(members))]
    widest = int(np.argmax(scores[members].var(axis=0)))
    members = members[np.argsort(scores[members, widest], kind="stable")]
    lower = cells // 2
    cut = round(len(members) * lower / cells)
    return [
        *_one_per_cell(scores, members[:cut], lower, rng),
        *_one_per_cell(scores, members[cut:], cells - lower, rng),
    ]


def _standard(values: Array) -> Array:
    """Columns in standard deviations about their means; 0 where there is no spread."""
    centred = values - values.mean(axis=0)
    spread = centred.std(axis=0)
    return np.divide(centred, spread, out=np.zeros_like(centred), where=spread > 0.0)
