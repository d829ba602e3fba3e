"""What test results say about every lot: draws moved from the prior to the posterior.

`posterior` gives a pool of states, each a farm as it may be given all certificates. Here as many of
them as there are draws are picked and paired with the draws, so that every draw keeps its weather.
Draws of varieties without a test stay as they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.assemble import Problem
from tierpole.potency.draws import PotencyDraws
from tierpole.potency.pairing import pair_draws, pick_states
from tierpole.potency.pooled import EVENNESS
from tierpole.potency.posterior import Effort, Posterior, infer, watched
from tierpole.potency.results import PotencyTest
from tierpole.potency.sampling import Precision

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Laboratories:
    """What draws hold of laboratories: `names` are those with results so far.

    `bias` [substance, laboratory, draw] is what a laboratory adds to its log results, `within` and
    `between` [substance, draw] the repeatability and the difference between laboratories over
    those stated.
    """

    names: tuple[str, ...]
    bias: Array
    within: Array
    between: Array

    @classmethod
    def as_stated(cls, draws: int) -> Laboratories:
        """Nothing known but what is stated."""
        return cls((), np.empty((2, 0, draws)), np.ones((2, draws)), np.ones((2, draws)))

    def bias_of(self, name: str) -> Array | None:
        """Bias [substance, draw] of a laboratory, None when it has no result yet."""
        return self.bias[:, self.names.index(name)] if name in self.names else None

    def next_error(self, name: str, stated: Sequence[Precision]) -> tuple[Array, Array]:
        """Bias and variance [substance, draw] of a laboratory's next log result, plants apart.

        `stated` is its precision for CBD and THC. One without results has no bias, but may differ
        from the truth as laboratories do.
        """
        within = np.array([[each.repeatability] for each in stated]) * self.within
        bias = self.bias_of(name)
        if bias is not None:
            return bias, within**2
        between = np.array([[each.between_labs] for each in stated]) * self.between
        return np.zeros_like(within), within**2 + between**2


class Updated(NamedTuple):
    """Draws after the tests.

    `moved` [test] is by how much each test moved the log THC of its own lot on its own day, as far
    as the straightened fit of `laplace` can tell one from another. `posterior` is None when no test
    says anything; give it to the next update of the same season, which is then quicker.
    """

    draws: PotencyDraws
    flower_day: Array
    moved: Array
    laboratories: Laboratories
    posterior: Posterior | None


def update(
    draws: PotencyDraws,
    flower_day: Array,
    tests: Sequence[PotencyTest],
    rng: np.random.Generator,
    earlier: Posterior | None = None,
    effort: Effort | None = None,
) -> Updated:
    """Draws of potency and flower day [draw, lot] given all test results so far.

    `draws` must come fresh from `draw_potency`: give all tests at once, not one after the other.
    `flower_day` may already be shifted by sightings; its law is taken from the draws. With the
    `earlier` posterior of the same draws and of all but the last tests, its pool is moved on.
    """
    moved = np.zeros(len(tests))
    problem = Problem.of(draws, flower_day, tests)
    if problem is None:
        nothing = Laboratories.as_stated(len(flower_day))
        return Updated(draws, flower_day, moved, nothing, None)
    effort = effort or Effort.for_tests(len(problem.tests))
    posterior = infer(problem, rng, effort, earlier)
    telling = np.flatnonzero([test.says_something for test in tests])
    moved[telling[problem.order]] = posterior.moved
    after, days, laboratories = drawn(draws, flower_day, posterior, rng)
    return Updated(after, days, moved, laboratories, posterior)


def drawn(
    draws: PotencyDraws, flower_day: Array, posterior: Posterior, rng: np.random.Generator
) -> tuple[PotencyDraws, Array, Laboratories]:
    """The season's draws and flower days, with states of the pool in place of the lots it holds."""
    problem, model, pool = posterior.problem, posterior.model, posterior.pool
    picked = pool.pick(pick_states(watched(model, pool.state).T, len(flower_day), rng))
    pairs = pair_draws(problem.before, model.flower_day(picked.state).T)
    state, held = picked.pick(pairs)
    days, normal = flower_day.copy(), draws.normal.copy()
    days[:, problem.lots] = model.flower_day(state).T
    normal[:, problem.lots] = np.moveaxis(model.normal(state), -1, 0)
    changed, lot = {}, np.arange(problem.lots.size)[:, None]
    for name in EVENNESS:
        changed[name] = getattr(draws, name).copy()
        changed[name][:, problem.lots] = getattr(problem.evenness, name)[held.row, lot].T
    laboratories = Laboratories(
        names=model.results.laboratories,
        bias=model.laboratory_bias(state),
        within=model.within(state),
        between=model.between(state),
    )
    return replace(draws, normal=normal, **changed), days, laboratories
