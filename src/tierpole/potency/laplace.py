"""The most probable state given all certificates, and the normal law about it.

Gauss-Newton steps with the weights of Student's t, shortened where they would overshoot. The
normal law is no answer of its own: the curves bend and the spreads are unsure, so its chances
come out too sure. It tells the chains where to start and in which directions to go, and it
shares out what the certificates moved among them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from tierpole.potency.misfit import TAIL_DF
from tierpole.potency.model import SPREADS, UNSURE_WITHIN, Expected, Model, Pooled
from tierpole.potency.results import CBD, THC

Array = NDArray[np.float64]

_MOST_STEPS = 25
_CLOSE = 0.1  # gain in the log posterior at which the search ends


@dataclass(frozen=True)
class Laplace:
    """`mode` [coordinate], `root` of the precision, and `moved` [test].

    `moved` is by how much each test moved the log THC of its own lot on its own day.
    """

    mode: Array
    root: Array
    moved: Array

    @property
    def covariance(self) -> Array:
        """Of all coordinates."""
        return cho_solve((self.root, False), np.eye(self.mode.size))

    def sample(self, count: int, rng: np.random.Generator, width: float = 1.0) -> Array:
        """Coordinates [coordinate, sample] from the normal law, `width` times as wide."""
        standard = rng.standard_normal((self.mode.size, count))
        return self.mode[:, None] + width * solve_triangular(self.root, standard)


def laplace(model: Model, pooled: Pooled) -> Laplace:
    """The normal law about the most probable state, composites taken as usual (one chain)."""
    mode = np.zeros(model.coordinates)
    for _ in range(_MOST_STEPS):
        step = _Straight.at(model, pooled, mode).newton() - mode
        share, gain = _best_share(model, pooled, mode, step)
        mode = mode + share * step
        if gain <= _CLOSE:
            break
    straight = _Straight.at(model, pooled, mode)
    return Laplace(mode, straight.root, straight.moved(model))


@dataclass(frozen=True)
class _Straight:
    """The model as if predictions were straight lines through a state.

    `slopes` [substance, test, coordinate]; `pull` [substance, test, substance] is the precision of
    the results of a test, `target` [substance, test] what they say on the straight scale.
    """

    slopes: Array
    pull: Array
    target: Array
    root: Array

    @classmethod
    def at(cls, model: Model, pooled: Pooled, mode: Array) -> _Straight:
        """The straight model at a state."""
        expected = model.expected(model.state_of(mode[:, None]))
        found = model.misfit(expected, pooled)
        slopes = model.slopes(expected)
        variance = (expected.variance + pooled.variance)[..., 0]
        pull = _precision(model, variance, pooled.covariance[:, 0], found.weight[:, 0])
        # for results seen this is the miss itself; for those below, a step to where the chance lies
        spread = np.asarray(np.linalg.pinv(pull.transpose(1, 0, 2)), float)
        miss = np.einsum("tsu,ut->st", spread, found.by_prediction[..., 0])
        precision = np.diag(_own_precision(model, expected, variance))
        for substance in (CBD, THC):
            precision += slopes[substance].T @ _pulled(pull[substance], slopes)
        return cls(slopes, pull, miss + slopes @ mode, np.triu(cho_factor(precision)[0]))

    def newton(self) -> Array:
        """The most probable state of the straight model."""
        pulled = np.einsum("stu,ut->st", self.pull, self.target)
        return self._solve(np.einsum("stc,st->c", self.slopes, pulled))

    def moved(self, model: Model) -> Array:
        """What each test moved the log THC of its lot on its day, its laboratory apart."""
        level = self.slopes[THC].copy()
        level[:, : model.coordinates - sum(int(np.prod(size)) for size in model.sizes[2:])] = 0.0
        cbd, thc = (
            self.target[substance][:, None] * _pulled(self.pull[substance], self.slopes)
            for substance in (CBD, THC)
        )
        score = cbd + thc
        return np.einsum("tc,tc->t", level, self._solve(score.T).T)

    def _solve(self, right: Array) -> Array:
        return cho_solve((self.root, False), right)


def _best_share(model: Model, pooled: Pooled, mode: Array, step: Array) -> tuple[float, float]:
    """The best share of a step, of 0, 1, 1/2, 1/4, ..., and how it raises the log posterior."""
    shares = np.concatenate([[0.0], 0.5 ** np.arange(12)])
    state = model.state_of(mode[:, None] + shares * step[:, None])
    found = model.misfit(model.expected(state), pooled)
    height = np.nan_to_num(model.density(state, found.log_likelihood).farm, nan=-np.inf)
    best = int(np.argmax(height))
    return float(shares[best]), float(height[best] - height[0])


def _own_precision(model: Model, expected: Expected, variance: Array) -> Array:
    """Precision of each coordinate besides what the predictions say [coordinate].

    That of its prior, and for repeatability what the scatter of results says: a spread of
    Student's t has the information 2n/(n + 3) by its logarithm.
    """
    own = np.ones(model.coordinates)
    share = np.where(model.results.seen, expected.variance[..., 0] / variance, 0.0)
    told = UNSURE_WITHIN**2 * 2.0 * TAIL_DF / (TAIL_DF + 3.0) * (share**2).sum(axis=1)
    own[SPREADS : SPREADS + 2] += told
    return own


def _precision(model: Model, variance: Array, covariance: Array, weight: Array) -> Array:
    """Precision [substance, test, substance] of the results of each test, unseen ones 0."""
    results = model.results
    seen, both = results.seen, results.seen.all(axis=0)
    matrix = np.zeros((len(results), 2, 2))
    for substance in range(2):
        matrix[:, substance, substance] = np.where(seen[substance], variance[substance], 1.0)
    matrix[:, 0, 1] = matrix[:, 1, 0] = np.where(both, covariance, 0.0)
    pull = np.linalg.inv(matrix) * (weight * TAIL_DF / (TAIL_DF - 2.0))[:, None, None]
    pull *= seen.T[:, :, None] & seen.T[:, None, :]
    for substance in range(2):
        below = np.where(results.below[substance], 1.0 / variance[substance], 0.0)
        pull[:, substance, substance] += below
    return pull.transpose(1, 0, 2)


def _pulled(pull: Array, slopes: Array) -> Array:
    """Slopes of one substance's results after the pull [test, substance] on both, [test, ...]."""
    return pull[:, CBD, None] * slopes[CBD] + pull[:, THC, None] * slopes[THC]
