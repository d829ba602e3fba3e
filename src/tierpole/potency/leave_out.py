"""What a certificate changed: the season's draws as they would stand had it not been taken.

The states of the pool are weighted by one over the chance of what it read. When the pool is then
worth less than a tenth of its states, much rests on the certificate, and the update is run again
without it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.draws import PotencyDraws
from tierpole.potency.pooled import log_sum
from tierpole.potency.posterior import Effort, Posterior
from tierpole.potency.update import drawn, update

Array = NDArray[np.float64]

_FEWEST_STATES = 0.1  # of the pool, that it must be worth when weighted


class Without(NamedTuple):
    """The season's draws and flower days [draw, lot] without a certificate.

    `effective` is how many states the weighted pool was worth; `is_run_again` is True when that was
    too few.
    """

    draws: PotencyDraws
    flower_day: Array
    effective: float
    is_run_again: bool


def without(
    posterior: Posterior,
    test: int,
    draws: PotencyDraws,
    flower_day: Array,
    rng: np.random.Generator,
    effort: Effort | None = None,
) -> Without:
    """The season's draws without one certificate.

    `test` is its place among those of the problem, `draws` and `flower_day` are what `update` was
    given. Set beside what `update` returned, median and P(pass) tell what the certificate changed.
    """
    weight = _weights(posterior, int(np.flatnonzero(posterior.problem.order == test)[0]))
    effective = float(1.0 / np.square(weight).sum())
    if effective < _FEWEST_STATES * weight.size:
        others = [each for place, each in enumerate(posterior.problem.tests) if place != test]
        again = update(draws, flower_day, others, rng, effort=effort)
        return Without(again.draws, again.flower_day, effective, True)
    points = (rng.random() + np.arange(weight.size)) / weight.size
    picked = np.minimum(np.searchsorted(np.cumsum(weight), points), weight.size - 1)
    left = replace(posterior, pool=posterior.pool.pick(picked))
    after, days, _ = drawn(draws, flower_day, left, rng)
    return Without(after, days, effective, False)


def _weights(posterior: Posterior, result: int) -> Array:
    """Weights [state] of the pool without a result; they add to 1.

    The largest are cut (Ionides 2008, J. Comput. Graph. Stat. 17:295, from memory), so that no few
    states speak for all.
    """
    problem, (state, held) = posterior.problem, posterior.pool
    model = replace(problem.model, results=problem.model.results.take(np.array([result])))
    expected = model.expected(state)
    chances = problem.evenness.log_chances(
        model.results,
        problem.evenness.most_off_types(model.results),
        expected.value,
        expected.variance,
        held.row[model.results.lot],
    )
    without_it = -log_sum(chances)[0]
    weight = np.exp(without_it - without_it.max())
    weight = np.minimum(weight, weight.mean() * np.sqrt(weight.size))
    return weight / weight.sum()
