"""The forecast's model: lots within varieties, certificates within lots and laboratories.

Everything unknown is a coordinate. The *spread* level says how much lots stray and laboratories
differ; the *farm* level holds the repeatability of tests and each laboratory's deviation; the
*variety* level its curve parameters and what its flower days share; the *lot* level each lot's own
plateau, ratio and flower day. Given the levels above it, a lot is independent of all others:
`chains` lives off that.

Coordinates have standard normal priors, but for deviations of laboratories and of the plateaus and
ratios of lots: these are counted in stated spreads, and have the inferred one. So the spreads enter
no prediction. The last axis of every array is the chain.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.draws import PARAMETERS, Curves
from tierpole.potency.flower_law import FlowerLaw
from tierpole.potency.misfit import Misfit, misfit
from tierpole.potency.prior import COEFFICIENTS as PRIOR
from tierpole.potency.results import CBD, THC, Results
from tierpole.potency.sampling import COEFFICIENTS
from tierpole.potency.slopes import CbdSlopes, ThcSlopes, cbd_slopes, thc_slopes

Array = NDArray[np.float64]
Index = NDArray[np.intp]

SPREADS = 4
"""Coordinates of the spread level: lots' plateau, lots' ratio, laboratories' CBD and THC."""
WITHIN = slice(0, 2)
"""Places of the repeatability, CBD and THC, on the farm level; laboratories' deviations follow."""
SHARED = len(PARAMETERS) + 1
"""Coordinates of a variety: its curve parameters, then what its flower days share."""
OWN = 3
"""Coordinates of a lot: plateau, ratio, flower day."""

UNSURE = np.repeat([PRIOR["lot_sd_spread"], COEFFICIENTS["between_labs_spread"]], 2)[:, None]
UNSURE_WITHIN = COEFFICIENTS["repeatability_spread"]

EARLIEST = 1.0
"""Days after initiation below which the curve of THC says nothing."""

_PLATEAU, _RATIO, _PEAK, _STEEPEST, _RATE, _MIDPOINT, _FALL, _FLOWER = range(SHARED)


class State(NamedTuple):
    """Coordinates [spread, chain], [farm, chain], [variety, shared, chain], [lot, own, chain]."""

    spread: Array
    farm: Array
    variety: Array
    lot: Array

    def pick(self, chains: Index | slice) -> State:
        """Some of the chains."""
        return State(*(part[..., chains] for part in self))

    def flat(self) -> Array:
        """One row per coordinate, [coordinate, chain]."""
        return np.concatenate([part.reshape(-1, part.shape[-1]) for part in self])


class Pooled(NamedTuple):
    """What the composites of tests add, given what they hold.

    `shift` of the log prediction and `variance` [substance, test, chain], `covariance` of the two
    substances [test, chain].
    """

    shift: Array
    variance: Array
    covariance: Array


class Expected(NamedTuple):
    """Log predictions [substance, test, chain] without what composites add, and their variance."""

    value: Array
    variance: Array
    cbd: CbdSlopes
    thc: ThcSlopes
    curves: Curves
    day_slope: Array


class Density(NamedTuple):
    """Log posterior by unit: of all, of each variety with its lots, of each lot."""

    farm: Array
    variety: Array
    lot: Array


@dataclass(frozen=True)
class Model:
    """Lots sorted by variety, results sorted by lot; laws as [lot, parameter].

    `variety` [lot] counts from 0 without gaps.
    """

    variety: Index
    mean: Array
    shared_sd: Array
    lot_sd: Array
    flowering: FlowerLaw
    results: Results

    # --- coordinates ----------------------------------------------------------------------------

    @property
    def laboratories(self) -> int:
        """How many laboratories the results come from."""
        return len(self.results.laboratories)

    @property
    def sizes(self) -> tuple[tuple[int, ...], ...]:
        """Shapes of the parts of a state, without the chains."""
        varieties, lots = int(self.variety[-1]) + 1, self.variety.size
        return (SPREADS,), (2 + 2 * self.laboratories,), (varieties, SHARED), (lots, OWN)

    @property
    def coordinates(self) -> int:
        """How many coordinates there are."""
        return sum(int(np.prod(size)) for size in self.sizes)

    def state_of(self, flat: Array) -> State:
        """The state of coordinates in rows, as `State.flat` lays them out."""
        return State(*self._parted(flat))

    def places(self) -> list[Index]:
        """Where the coordinates of each part of a state stand in a flat row."""
        return [part[..., 0] for part in self._parted(np.arange(self.coordinates)[:, None])]

    def prior_state(
        self, chains: int, rng: np.random.Generator, spread: Array | None = None
    ) -> State:
        """States of chains as if there were no test, with spreads given or drawn."""
        state = State(*(rng.standard_normal((*size, chains)) for size in self.sizes))
        if spread is not None:
            state = state._replace(spread=spread)
        state.farm[:] *= self._farm_spread(state)
        state.lot[:] *= self._lot_spread(state)
        return state

    # --- from coordinates to quantities ---------------------------------------------------------

    def normal(self, state: State) -> Array:
        """Curve parameters on their normal scales [lot, parameter, chain]."""
        shared = state.variety[self.variety, : len(PARAMETERS)]
        normal = self.mean[:, :, None] + self.shared_sd[:, :, None] * shared
        normal[:, :2] += self.lot_sd[:, :2, None] * state.lot[:, :2]
        return normal

    def flower_day(self, state: State) -> Array:
        """Flower days [lot, chain]."""
        return self._flowering(state)[0]

    def deviation(self, state: State) -> Array:
        """Deviations of laboratories in stated spreads [substance, laboratory, chain]."""
        return state.farm[2:].reshape(2, self.laboratories, -1)

    def laboratory_bias(self, state: State) -> Array:
        """What each laboratory adds to its log results [substance, laboratory, chain]."""
        first = [int(np.argmax(self.results.laboratory == lab)) for lab in range(self.laboratories)]
        return self.results.between[:, first, None] * self.deviation(state)

    def within(self, state: State) -> Array:
        """Repeatability over that stated [substance, chain]."""
        return spread_factor(state.farm[WITHIN], UNSURE_WITHIN)

    def straying(self, state: State) -> Array:
        """Spread of lots' plateaus and ratios over that stated [parameter, chain]."""
        return spread_factor(state.spread[:2], UNSURE[:2])

    def between(self, state: State) -> Array:
        """Difference between laboratories over that stated [substance, chain]."""
        return spread_factor(state.spread[2:], UNSURE[2:])

    # --- likelihood -----------------------------------------------------------------------------

    def expected(self, state: State) -> Expected:
        """Log predictions of tests, without what composites add."""
        lot = self.results.lot
        curves = Curves.of(np.moveaxis(self.normal(state), 1, -1))
        flower, day_slope = self._flowering(state)
        since = self.results.day[:, None] - flower[lot]
        cbd = cbd_slopes(since, curves.rate[lot], curves.midpoint[lot])
        thc = thc_slopes(
            np.maximum(since, EARLIEST),
            curves.peak_day[lot],
            curves.power[lot],
            curves.fall[lot],
        )
        thc.by_day[since < EARLIEST] = 0.0
        value = self.results.between[:, :, None] * self.deviation(state)[:, self.results.laboratory]
        value[CBD] += np.log(curves.cbd_plateau)[lot] + cbd.value
        value[THC] += np.log(curves.thc_peak)[lot] + thc.value
        variance = (self.results.within[:, :, None] * self.within(state)[:, None]) ** 2
        variance += self.results.reading[:, :, None]
        return Expected(value, variance, cbd, thc, curves, day_slope)

    def misfit(self, expected: Expected, pooled: Pooled) -> Misfit:
        """How badly the predictions miss the results, given what the composites hold."""
        return misfit(
            self.results,
            expected.value + pooled.shift,
            expected.variance + pooled.variance,
            pooled.covariance,
        )

    def density(self, state: State, log_likelihood: Array) -> Density:
        """Log posterior of a state by unit, given its spreads, from that of the tests."""
        lot = self.sum_tests(log_likelihood) + _log_normal(state.lot, self._lot_spread(state), 1)
        variety = self._sum_lots(lot) + _log_normal(state.variety, 1.0, 1)
        farm = variety.sum(axis=0) + _log_normal(state.farm, self._farm_spread(state), 0)
        return Density(farm, variety, lot)

    def gradient(self, state: State, pooled: Pooled) -> tuple[Density, State]:
        """Log posterior by unit, and its slopes by every coordinate below the spreads."""
        expected = self.expected(state)
        found = self.misfit(expected, pooled)
        slope = self._pull_back(expected, found.by_prediction)
        tied = (found.by_variance * self.results.within[:, :, None] ** 2).sum(axis=1)
        slope.farm[WITHIN] = 2.0 * UNSURE_WITHIN * self.within(state) ** 2 * tied
        slope.farm[:] -= state.farm / self._farm_spread(state) ** 2
        slope.variety[:] -= state.variety
        slope.lot[:] -= state.lot / self._lot_spread(state) ** 2
        return self.density(state, found.log_likelihood), slope

    def slopes(self, expected: Expected) -> Array:
        """Slopes of predictions [substance, test, coordinate], of a state of one chain."""
        _, of_farm, of_variety, of_lot = self.places()
        of_deviation = of_farm[2:].reshape(2, self.laboratories)
        lot, laboratory = self.results.lot, self.results.laboratory
        test = np.arange(len(self.results))
        slopes = np.zeros((2, test.size, self.coordinates))
        for substance in (CBD, THC):
            one = np.zeros((2, test.size, 1))
            one[substance] = 1.0
            by_variety, by_lot = self._by_coordinates(_by_test(expected, one), expected, lot)
            at = slopes[substance]
            at[test[:, None], of_lot[lot]] = by_lot[..., 0]
            at[test[:, None], of_variety[self.variety[lot]]] = by_variety[..., 0]
            at[test, of_deviation[substance, laboratory]] = self.results.between[substance]
        return slopes

    # --- parts ----------------------------------------------------------------------------------

    def _pull_back(self, expected: Expected, by_prediction: Array) -> State:
        """Slopes by coordinates of a sum whose slopes by the predictions are given."""
        of_lots = self.sum_tests(_by_test(expected, by_prediction))
        variety, lot = self._by_coordinates(of_lots, expected, np.arange(self.variety.size))
        chains = by_prediction.shape[-1]
        in_laboratory = self.results.laboratory == np.arange(self.laboratories)[:, None]
        deviation = in_laboratory @ (self.results.between[:, :, None] * by_prediction)
        farm = np.concatenate([np.zeros((2, chains)), deviation.reshape(-1, chains)])
        return State(np.zeros(1), farm, self._sum_lots(variety), lot)

    def _by_coordinates(
        self, by_part: Array, expected: Expected, lots: Index
    ) -> tuple[Array, Array]:
        """Slopes by coordinates of variety and lot, from those of `_by_test`, [unit, ...]."""
        natural = self._by_natural(by_part, expected, lots)
        shared = self.flowering.shared[lots, None]
        by_score = natural[:, _FLOWER] * expected.day_slope[lots]
        lot = np.empty((len(lots), OWN, by_part.shape[-1]))
        lot[:, :2] = self.lot_sd[lots, :2, None] * natural[:, :2]
        lot[:, 2] = np.sqrt(1.0 - shared**2) * by_score
        natural[:, :_FLOWER] *= self.shared_sd[lots, :, None]
        natural[:, _FLOWER] = shared * by_score
        return natural, lot

    def _by_natural(self, by_part: Array, expected: Expected, lots: Index) -> Array:
        """Slopes by curve parameters and flower day [unit, parameter, chain]."""
        curves, by_midpoint = expected.curves, by_part[_MIDPOINT]
        natural = np.moveaxis(by_part, 0, 1).copy()
        natural[:, _PLATEAU] += natural[:, _RATIO]
        natural[:, _RATIO] *= -1.0
        natural[:, _PEAK] += PRIOR["midpoint"] * by_midpoint
        natural[:, _PEAK] *= curves.peak_day[lots] > PRIOR["peak_day_least"]
        natural[:, _STEEPEST] *= (curves.steepest_rise * curves.power**2)[lots]
        natural[:, _FLOWER] = by_midpoint - natural[:, _FLOWER]
        return natural

    def _parted(self, flat: NDArray[Any]) -> list[NDArray[Any]]:
        ends = np.cumsum([int(np.prod(size)) for size in self.sizes])[:-1]
        parts = zip(np.split(flat, ends), self.sizes, strict=True)
        return [part.reshape(*size, -1) for part, size in parts]

    def _flowering(self, state: State) -> tuple[Array, Array]:
        factor = state.variety[self.variety, _FLOWER]
        return self.flowering.day(self.flowering.score(factor, state.lot[:, 2]))

    def _lot_spread(self, state: State) -> Array:
        straying = self.straying(state)
        return np.concatenate([straying, np.ones_like(straying[:1])])

    def _farm_spread(self, state: State) -> Array:
        between = np.repeat(self.between(state), self.laboratories, axis=0)
        return np.concatenate([np.ones_like(between[:2]), between])

    def sum_tests(self, values: Array) -> Array:
        """Sums over the tests of each lot, [..., test, chain] to [..., lot, chain]."""
        lots, starts = self._tested
        total = np.zeros((*values.shape[:-2], self.variety.size, values.shape[-1]))
        total[..., lots, :] = np.add.reduceat(values, starts, axis=-2)
        return total

    def _sum_lots(self, values: Array) -> Array:
        """Sums over the lots of each variety, [lot, ...] to [variety, ...]."""
        return np.add.reduceat(values, self.first_lots, axis=0)

    @cached_property
    def _tested(self) -> tuple[Index, Index]:
        """Lots with tests, and the first test of each."""
        return np.unique(self.results.lot, return_index=True)

    @cached_property
    def first_lots(self) -> Index:
        """The first lot of each variety."""
        return np.unique(self.variety, return_index=True)[1]


def spread_factor(coordinate: Array, unsure: Array | float) -> Array:
    """Spread over that stated.

    Parameters
    ----------
    coordinate : standard normal [any shape]
    unsure : standard deviation of the logarithm of the spread [1]

    Returns
    -------
    factor [1], same shape

    Equation: exp(s z - s^2), whose mean square is 1.

    Source: lognormal law about the stated spread, so that the stated one stays the spread of all
    that may come; inference.
    """
    return np.exp(unsure * coordinate - np.square(unsure))


def _by_test(expected: Expected, by_prediction: Array) -> Array:
    """Slopes by what the two logarithms are made of, [parameter, test, chain].

    Places of plateau, ratio, steepest and flower day hold those by log CBD, log THC, power and
    the day of THC.
    """
    cbd, thc = by_prediction
    slopes = np.empty((SHARED, *cbd.shape))
    slopes[_PLATEAU], slopes[_RATIO] = cbd, thc
    np.multiply(thc, expected.thc.by_peak_day, out=slopes[_PEAK])
    np.multiply(thc, expected.thc.by_power, out=slopes[_STEEPEST])
    np.multiply(cbd, expected.cbd.by_log_rate, out=slopes[_RATE])
    np.multiply(cbd, expected.cbd.by_midpoint, out=slopes[_MIDPOINT])
    np.multiply(thc, expected.thc.by_log_fall, out=slopes[_FALL])
    np.multiply(thc, expected.thc.by_day, out=slopes[_FLOWER])
    return slopes


def _log_normal(values: Array, sd: Array | float, axis: int) -> Array:
    """Log density of normal deviations, up to what depends on the spread alone."""
    return -0.5 * np.square(values / sd).sum(axis=axis)
