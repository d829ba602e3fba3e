"""What a schedule is worth, draw by draw.

The program decides on means, with the dollars a place adds taken at the mean chance of passing of
all samples that allow the day; `linear_dollars` follows it. `revalue` is exact: every stick is
valued under the sample it is really cut under.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tierpole.plan.problem import (
    Bools,
    Decisions,
    Draws,
    Floats,
    Ints,
    Problem,
    Schedule,
    ruling_sample,
)


@dataclass(frozen=True)
class Valuation:
    """Dollars of one schedule by draw; lots and `fixed` add up to it, and so do the pieces."""

    dollars: Floats  # [draw]
    by_lot: Floats  # [draw, lot]
    pieces: Mapping[str, Floats]  # each [draw]


def revalue(problem: Problem, schedule: Schedule) -> Valuation:
    """Value a schedule exactly over the draws of its problem."""
    draws = drawn(problem)
    ruling = ruling_sample(problem, schedule.sample)
    chance = draws.p_pass[:, np.arange(len(problem.lots))[:, None], ruling]  # [draw, lot, day]
    by_piece = _pieces(problem, draws, schedule.decisions(problem), chance)
    by_lot = np.sum(list(by_piece.values()), axis=0)
    pieces = {name: piece.sum(axis=1) for name, piece in by_piece.items()}
    pieces["fixed"] = draws.fixed
    return Valuation(by_lot.sum(axis=1) + draws.fixed, by_lot, pieces)


def linear_dollars(problem: Problem, decided: Decisions, chance: Floats | None) -> Floats:
    """Dollars in every draw [draw] as the program counts them, without `fixed`."""
    by_piece = _pieces(problem, drawn(problem), decided, chance)
    return np.sum([piece.sum(axis=1) for piece in by_piece.values()], axis=0)


def mean_dollars(problem: Problem, decided: Decisions) -> float:
    """Mean dollars as the program counts them, from the averages of the problem."""
    return float(
        (np.where(decided.cut > 0, problem.value, 0) * decided.cut).sum()
        + (problem.place_value * decided.hung).sum()
        + problem.value_left @ decided.left
        - (problem.sample_fee * decided.sample).sum()
        - problem.cut_day_cost * decided.opened.sum()
    )


def averages(
    draws: Draws, allowed: Bools, places: int, weights: Floats | None = None
) -> tuple[Floats, Floats, Floats]:
    """Means over draws as a `Problem` wants them, weighted [draw] if asked.

    Returns the value of a stick [lot, sample, day], what the place adds [lot, day, place] and the
    value of a stick left [lot].
    """
    if weights is None:
        weights = np.full(draws.count, 1 / draws.count)
    some = np.flatnonzero(weights)
    weights = weights[some]
    weighted = weights[:, None, None] * draws.p_pass[some]  # [draw, lot, sample]
    passing = np.matmul(weighted.transpose(1, 2, 0), draws.cut[some].transpose(1, 0, 2))
    failing = np.einsum("n,nls->ls", weights, draws.fail[some])
    failing -= np.einsum("nls,nls->ls", weighted, draws.fail[some])
    place = np.zeros((allowed.shape[0], allowed.shape[2], places))
    if draws.place is not None:
        chance = weights[:, None, None] * mean_chance(draws.p_pass[some], allowed)
        place = np.einsum("nld,nldp->ldp", chance, draws.place[some])
    return passing + failing[..., None], place, weights @ draws.left[some]


def mean_chance(p_pass: Floats, allowed: Bools) -> Floats:
    """Chance of passing [draw, lot, day], a mean over the samples that allow a cut that day."""
    share = allowed / np.maximum(allowed.sum(axis=1, keepdims=True), 1)
    return np.matmul(p_pass.transpose(1, 0, 2), share).transpose(1, 0, 2)


def _pieces(
    problem: Problem, draws: Draws, decided: Decisions, chance: Floats | None
) -> dict[str, Floats]:
    """Dollars [draw, lot] by what brings or costs them."""
    lots = len(problem.lots)
    lot, option, day = np.nonzero(decided.cut)
    sticks = decided.cut[lot, option, day]
    p_pass = draws.p_pass[:, lot, option]
    fees = (problem.sample_fee * decided.sample).sum(axis=1)
    every = np.ones((draws.count, 1))
    return {
        "passed": _by_lot(p_pass * draws.cut[:, lot, day] * sticks, lot, lots),
        "failed": _by_lot((1 - p_pass) * draws.fail[:, lot, option] * sticks, lot, lots),
        "place": _place_dollars(draws, decided.hung, chance),
        "left": draws.left * decided.left,
        "samples": -every * fees,
        "cut days": -every * (problem.cut_day_cost * decided.opened.sum(axis=1)),
    }


def _place_dollars(draws: Draws, hung: Floats, chance: Floats | None) -> Floats:
    if draws.place is None or chance is None:
        return np.zeros_like(draws.left)
    lot, day, place = np.nonzero(hung)
    added = chance[:, lot, day] * draws.place[:, lot, day, place] * hung[lot, day, place]
    return _by_lot(added, lot, len(hung))


def _by_lot(terms: Floats, lot: Ints, lots: int) -> Floats:
    """Sum terms [draw, term] into [draw, lot]."""
    return terms @ (lot[:, None] == np.arange(lots)).astype(float)


def drawn(problem: Problem) -> Draws:
    """The draws of a problem; an error if it has none."""
    if problem.draws is None:
        raise ValueError("a problem without draws has no tail and no exact value")
    return problem.draws
