"""A run of the chains, from the certificates to a pool of states; and one more certificate.

A full run starts groups of chains, each group from one point of the widened normal law of
`laplace`: that the groups agree in the end (R-hat, nested) says that the start is forgotten. Rounds
of sweeps are kept until they agree, or until there were enough.

With a pool at hand from the same season, new certificates weight its states; states drawn by weight
are then moved on, with a shorter warm-up. When the weighted pool is worth fewer states than a
quarter of the chains, or when anything besides the certificates has changed, the run is a full one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.assemble import Problem
from tierpole.potency.chains import Chains, Sampler, join
from tierpole.potency.convergence import Convergence, Tally
from tierpole.potency.draws import Curves
from tierpole.potency.laplace import Laplace, laplace
from tierpole.potency.model import WITHIN, Model, State
from tierpole.potency.pooled import log_sum
from tierpole.potency.whiten import Whitening

Array = NDArray[np.float64]
Index = NDArray[np.intp]

R_HAT_LIMIT = 1.01
"""Largest ratio at which groups of chains are said to agree."""

_WIDENED = 1.25
_FEWEST_STATES = 0.25  # of the chains, that a weighted pool must be worth
_MANY_TESTS = 300
_LEAST = 1e-9  # share of dry weight, keeps logarithms finite
_WATCHED = (21.0, 35.0, 49.0)  # days after the usual flower day at which potency is watched


@dataclass(frozen=True)
class Effort:
    """How much work a run takes: chains in groups, sweeps to warm up (twice), rounds of sweeps."""

    chains: int = 256
    groups: int = 8
    warm_sweeps: int = 10
    kept_sweeps: int = 20
    most_rounds: int = 6

    @classmethod
    def for_tests(cls, tests: int) -> Effort:
        """What suits a number of tests: fewer chains and longer ones where each costs more."""
        return cls() if tests <= _MANY_TESTS else cls(chains=128, warm_sweeps=15)


@dataclass(frozen=True)
class Posterior:
    """States [.., state] that are equally likely given the certificates.

    `moved` [result] is by how much each certificate moved the log THC of its own lot on its own
    day. `is_moved_on` is True when an earlier pool was moved on instead of a full run.
    """

    problem: Problem
    pool: Chains
    convergence: Convergence
    moved: Array
    is_moved_on: bool = False

    @property
    def model(self) -> Model:
        """The model the states belong to."""
        return self.problem.model


def infer(
    problem: Problem,
    rng: np.random.Generator,
    effort: Effort,
    earlier: Posterior | None = None,
) -> Posterior:
    """The posterior of a problem, from an earlier one of the same season where that will do."""
    fit = laplace(problem.model, problem.evenness.usual(problem.model.results))
    directions = Whitening.of(problem.model, fit.covariance)
    sampler = Sampler(problem.model, problem.evenness, directions, rng)
    chains = None
    if earlier is not None and problem.continues(earlier.problem):
        chains = _moved_on(sampler, problem, earlier, effort)
    is_moved_on = chains is not None
    if chains is None:
        chains = _warmed(sampler, fit, effort)
    pool, convergence = _kept(sampler, chains, effort)
    return Posterior(problem, pool, convergence, fit.moved, is_moved_on)


def _warmed(sampler: Sampler, fit: Laplace, effort: Effort) -> Chains:
    """Chains that have forgotten their start."""
    points = fit.sample(effort.groups, sampler.rng, _WIDENED)
    group = np.arange(effort.chains) * effort.groups // effort.chains
    chains = sampler.start(sampler.model.state_of(points[:, group]))
    return sampler.warm(sampler.warm(chains, effort.warm_sweeps), effort.warm_sweeps)


def _moved_on(
    sampler: Sampler, problem: Problem, earlier: Posterior, effort: Effort
) -> Chains | None:
    """Chains from an earlier pool weighted by what is new; None when too few states fit."""
    state, row = _carried(problem, earlier, sampler.rng)
    new = np.flatnonzero(problem.order >= len(earlier.problem.tests))
    results = problem.model.results.take(new)
    expected = problem.model.expected(state)
    chances = problem.evenness.log_chances(
        results, sampler.most, expected.value[:, new], expected.variance[:, new], row[results.lot]
    )
    log_weight = log_sum(chances).sum(axis=0)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    if 1.0 / np.square(weight).sum() < _FEWEST_STATES * effort.chains:
        return None
    points = (sampler.rng.random() + np.arange(effort.chains)) / effort.chains
    picked = np.searchsorted(np.cumsum(weight), points)
    # groups start apart: each holds a slice of what the first new certificate should have read
    picked = picked[np.argsort(expected.value[:, new[0]].sum(axis=0)[picked])]
    chains = sampler.start(state.pick(picked), row[:, picked])
    return sampler.warm(chains, effort.warm_sweeps)


def _carried(problem: Problem, earlier: Posterior, rng: np.random.Generator) -> tuple[State, Index]:
    """States and rows of an earlier pool in the coordinates of a problem; what is new is prior."""
    old, (states, held) = earlier.problem, earlier.pool
    model = problem.model
    state = model.prior_state(earlier.pool.number, rng, states.spread)
    row = rng.integers(problem.evenness.draws, size=(problem.lots.size, earlier.pool.number))
    lots = _places(problem.lots, old.lots)
    state.lot[lots], row[lots] = states.lot, held.row
    state.variety[_places(problem.varieties, old.varieties)] = states.variety
    names = model.results.laboratories
    laboratories = [names.index(name) for name in old.model.results.laboratories]
    state.farm[WITHIN] = states.farm[WITHIN]
    model.deviation(state)[:, laboratories] = old.model.deviation(states)
    return state, row


def _places(among: Index, numbers: Index) -> Index:
    """Where numbers stand among others that hold them all."""
    order = np.argsort(among)
    return order[np.searchsorted(among[order], numbers)]


def _kept(sampler: Sampler, chains: Chains, effort: Effort) -> tuple[Chains, Convergence]:
    """A pool of kept sweeps, in rounds until groups of chains agree."""
    kept, tally = [], Tally(effort.groups)
    for sweep in range(1, effort.most_rounds * effort.kept_sweeps + 1):
        chains = sampler.sweep(chains)
        kept.append(chains)
        tally.add(watched(sampler.model, chains.state))
        if sweep % effort.kept_sweeps == 0 and tally.convergence().r_hat.max() <= R_HAT_LIMIT:
            break
    return join(kept), tally.convergence()


def watched(model: Model, state: State) -> Array:
    """What must have converged: every lot's potency on three days, the farm; [quantity, chain]."""
    curves = Curves.of(np.moveaxis(model.normal(state), 1, -1))
    flower = model.flower_day(state)
    usual = model.flowering.middle[:, None]
    days = [usual + after - flower for after in _WATCHED]
    potency = [curve(day) for day in days for curve in (curves.cbd, curves.thc)]
    return np.concatenate([np.log(np.maximum(potency, _LEAST)).reshape(-1, flower.shape[1]),
                           state.farm, state.spread])  # fmt: skip
