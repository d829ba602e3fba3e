"""The law of flower days before any test, as a smooth map from standard normal scores.

Draws of flower days come from weather, variety and sightings, and follow no named law: a count
of plants in flower cuts one side off, a late variety may miss the season. So each lot keeps the
law of its own draws: a monotone cubic through their quantiles carries a standard normal score to
a day, with straight tails. Scores of a variety's lots share one factor, the year and the variety,
and the rest is each lot's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Array = NDArray[np.float64]

_NODES = np.linspace(-2.5, 2.5, 11)  # normal scores where the curve meets the draws' quantiles
_WIDTH = float(_NODES[1] - _NODES[0])
_MOST_SHARED = 0.98  # of a lot's scores; leaves each lot a little of its own
_ROUNDS = 50


@dataclass(frozen=True)
class FlowerLaw:
    """Maps of the lots: `value` and `slope` at the nodes [lot, node], `shared` loadings [lot]."""

    value: Array
    slope: Array
    shared: Array

    @classmethod
    def of(cls, flower_day: Array, variety: NDArray[np.intp]) -> FlowerLaw:
        """The law of draws [draw, lot]."""
        value = np.quantile(flower_day, ndtr(_NODES), axis=0).T
        scores = normal_scores(flower_day)
        shared = np.zeros(variety.size)
        for one in np.unique(variety):
            lots = variety == one
            shared[lots] = one_factor(np.atleast_2d(np.corrcoef(scores[:, lots], rowvar=False)))
        return cls(value, _monotone_slopes(value), shared)

    @property
    def middle(self) -> Array:
        """The usual flower day of each lot [lot]."""
        return self.value[:, _NODES.size // 2]

    def score(self, variety_factor: Array, own: Array) -> Array:
        """Standard normal scores of lots [lot, chain] from the two parts, both standard normal."""
        shared = self.shared[:, None]
        return shared * variety_factor + np.sqrt(1.0 - shared**2) * own

    def day(self, score: Array) -> tuple[Array, Array]:
        """Flower days at scores [lot, chain], and how they rise with the score."""
        inside = np.clip(score, _NODES[0], _NODES[-1])
        step = np.minimum((inside - _NODES[0]) / _WIDTH, _NODES.size - 1.001)
        left = np.nan_to_num(step).astype(np.intp)  # a chain that ran off stays not a number
        part = (inside - _NODES[left]) / _WIDTH
        lot = np.arange(score.shape[0])[:, None]
        low, high = self.value[lot, left], self.value[lot, left + 1]
        rise_low, rise_high = self.slope[lot, left], self.slope[lot, left + 1]
        day, slope = _hermite(part, low, high, rise_low, rise_high)
        return day + slope * (score - inside), slope


def normal_scores(sample: Array) -> Array:
    """Ranks of each column [draw, lot] as quantiles of the standard normal law."""
    ranks = sample.argsort(axis=0, kind="stable").argsort(axis=0)
    return ndtri((ranks + 0.5) / sample.shape[0])


def one_factor(correlation: Array) -> Array:
    """Loadings [lot] of the one factor that best explains a correlation matrix.

    Parameters
    ----------
    correlation : [lot, lot]

    Returns
    -------
    loadings [1], of one sign; 0 for a lone lot

    Equation: principal axis of the matrix with communalities on its diagonal, iterated.

    Source: principal factor analysis, textbook (Harman 1976, from memory).
    """
    count = len(correlation)
    if count == 1:
        return np.zeros(1)
    matrix = correlation.copy()
    off = correlation - np.eye(count)
    communality = np.abs(off).max(axis=0)
    loading = np.sqrt(communality)
    for _ in range(_ROUNDS):
        np.fill_diagonal(matrix, communality)
        values, vectors = np.linalg.eigh(matrix)
        loading = np.sqrt(max(values[-1], 0.0)) * vectors[:, -1]
        communality = np.minimum(loading**2, _MOST_SHARED**2)
    loading *= np.sign(loading.sum()) or 1.0
    return np.clip(loading, -_MOST_SHARED, _MOST_SHARED)


def _monotone_slopes(value: Array) -> Array:
    """Slopes by node score that keep the cubic monotone: Fritsch & Butland 1984, from memory."""
    secant = np.diff(value, axis=1) / _WIDTH
    before, after = secant[:, :-1], secant[:, 1:]
    both = before + after
    middle = np.divide(2.0 * before * after, both, out=np.zeros_like(both), where=both > 0.0)
    return np.hstack([secant[:, :1], middle, secant[:, -1:]])


def _hermite(
    part: Array, low: Array, high: Array, rise_low: Array, rise_high: Array
) -> tuple[Array, Array]:
    """Cubic between two nodes at a `part` of the way, and its slope by score."""
    secant = (high - low) / _WIDTH
    bend_low, bend_high = rise_low - secant, rise_high - secant
    rest = 1.0 - part
    day = low + part * (high - low)
    day += _WIDTH * part * rest * (rest * bend_low - part * bend_high)
    slope = secant + rest * (1.0 - 3.0 * part) * bend_low + part * (3.0 * part - 2.0) * bend_high
    return day, slope
