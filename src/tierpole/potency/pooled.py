"""What each composite may hold: the evenness of its lot, and off-type plants.

These are things a certificate says little about: how much a lot's plants differ, its share of
off-types, how far tops stand above the rest. They are proposed from the draws of the season and
taken or left by how well the certificates agree (independence Metropolis steps, lot by lot). The
number of off-type plants in each composite is then drawn from its exact law.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc, gammaln, xlog1py, xlogy

from tierpole.potency.draws import PotencyDraws
from tierpole.potency.misfit import misfit
from tierpole.potency.model import Model, Pooled, State
from tierpole.potency.results import CBD, RELATIONS, THC, Material, Results
from tierpole.potency.sampling import (
    COEFFICIENTS,
    composite_law,
    off_type_log_moments,
    off_type_rise,
)

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_RARE = 1e-4  # chance of more off-types in a composite than are counted, at a high share
_HIGH = 0.99  # quantile of the share of off-types that counts as high


class Held(NamedTuple):
    """What chains hold: `row` [lot, chain] of the draws, `off_types` [test, chain]."""

    row: Index
    off_types: Index

    def pick(self, chains: Index | slice) -> Held:
        """Some of the chains."""
        return Held(self.row[:, chains], self.off_types[:, chains])


@dataclass(frozen=True)
class Evenness:
    """Draws of what lots are like besides their curves, each [draw, lot]."""

    plant_cv: Array
    off_type_share: Array
    off_type_multiple: Array
    top_to_plant: Array
    top_to_flower: Array

    @classmethod
    def of(cls, draws: PotencyDraws, lots: Index) -> Evenness:
        """That of some lots of the season's draws."""
        return cls(**{name: getattr(draws, name)[:, lots] for name in EVENNESS})

    @property
    def draws(self) -> int:
        """How many draws there are."""
        return self.plant_cv.shape[0]

    def most_off_types(self, results: Results) -> int:
        """Most off-type plants worth counting in any of the composites."""
        tops = results.take(np.flatnonzero(results.of_material(Material.TOPS)))
        share = np.quantile(self.off_type_share, _HIGH, axis=0)[tops.lot]
        count = 0
        while np.any(bdtrc(count, tops.plants, share) > _RARE):
            count += 1
        return count

    def usual(self, results: Results) -> Pooled:
        """What composites add on average, with all their scatter as variance; one chain."""
        rows = np.tile(np.arange(self.draws), (len(results), 1))
        pooled = self.pooled(results, rows, np.zeros_like(rows))
        shift = pooled.shift.mean(axis=-1, keepdims=True)
        spread = pooled.shift.var(axis=-1, keepdims=True)
        variance = pooled.variance.mean(axis=-1, keepdims=True) + spread
        for test in np.flatnonzero(results.of_material(Material.TOPS)):
            lot, plants = results.lot[test], int(results.plants[test])
            share, multiple = self.off_type_share[:, lot], self.off_type_multiple[:, lot]
            mean, scatter = off_type_log_moments(share.mean(), float(np.median(multiple)), plants)
            shift[THC, test] += mean
            variance[THC, test] += scatter
        covariance = pooled.covariance.mean(axis=-1, keepdims=True) + spread[CBD]
        return Pooled(shift, variance, covariance)

    def pooled(self, results: Results, row: Index, off_types: Index | int) -> Pooled:
        """What composites add, given the draw each lot goes by [test, chain] and off-types."""
        at = (row, results.lot[:, None])
        cv, multiple = self.plant_cv[at], self.off_type_multiple[at]
        plants, count = results.plants[:, None].astype(float), np.asarray(off_types, float)
        shift, variance = np.empty((2, *row.shape)), np.empty((2, *row.shape))
        shift[CBD], variance[CBD] = composite_law(cv, plants, 0.0, multiple)
        shift[THC], variance[THC] = composite_law(cv, plants, count, multiple)
        covariance = COEFFICIENTS["plant_correlation"] * np.sqrt(variance[CBD] * variance[THC])
        for material, relation in RELATIONS.items():
            these = results.of_material(material)
            if these.any():
                where = (row[these], results.lot[these, None])
                level = np.log(relation.ratio / getattr(self, relation.factor)[where])
                rise = off_type_rise(multiple[these], self.off_type_share[where], 1)
                shift[CBD, these], shift[THC, these] = level, level + np.log(rise)
                variance[:, these] = covariance[these] = relation.sd**2
        return Pooled(shift, variance, covariance)

    def log_chances(
        self, results: Results, most: int, value: Array, variance: Array, row: Index
    ) -> Array:
        """Log chance [off-types, test, chain] of results with 0, 1, ... off-types in composites.

        `value` and `variance` [substance, test, chain] are the log predictions without what
        composites add; `row` [test, chain] is the draw a lot goes by. Up to a constant of the test.
        """
        chances = np.full((most + 1, *row.shape), -np.inf)
        tops = results.of_material(Material.TOPS)
        mixed = np.any(self.off_type_share > 0.0, axis=0)[results.lot] & tops
        for count in range(most + 1):
            tests = np.flatnonzero((count == 0) | (mixed & (results.plants >= count)))
            some = results.take(tests)
            pooled = self.pooled(some, row[tests], count)
            expected, scatter = value[:, tests] + pooled.shift, variance[:, tests] + pooled.variance
            found = misfit(some, expected, scatter, pooled.covariance)
            share = self.off_type_share[row[tests], some.lot[:, None]]
            plants = np.where(tops[tests], some.plants, 0)[:, None]
            chances[count, tests] = found.log_likelihood + _log_binomial(plants, count, share)
        return chances


EVENNESS = tuple(field.name for field in fields(Evenness))
"""Names of the draws of evenness, in the season's draws too."""


def refresh(
    model: Model, evenness: Evenness, most: int, state: State, held: Held, rng: np.random.Generator
) -> Held:
    """Evenness and off-types of chains drawn anew, given their states."""
    results, lot = model.results, model.results.lot
    expected = model.expected(state)
    new = rng.integers(evenness.draws, size=held.row.shape)
    now, then = (
        evenness.log_chances(results, most, expected.value, expected.variance, row[lot])
        for row in (held.row, new)
    )
    better = model.sum_tests(log_sum(then) - log_sum(now))
    taken = np.log(rng.random(better.shape)) < better
    chances = np.where(taken[lot], then, now)
    off_types = (chances + rng.gumbel(size=chances.shape)).argmax(axis=0)
    return Held(np.where(taken, new, held.row), off_types)


def log_sum(values: Array) -> Array:
    """Logarithm of the sum of exponentials along the first axis."""
    top = values.max(axis=0)
    return top + np.log(np.exp(values - top).sum(axis=0))


def _log_binomial(plants: Array, count: int, share: Array) -> Array:
    rest = plants - count
    ways = gammaln(plants + 1.0) - gammaln(count + 1.0) - gammaln(rest + 1.0)
    return ways + xlogy(count, share) + xlog1py(rest, -share)
