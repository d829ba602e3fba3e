"""A test not yet taken: what it may read, and what each reading would say.

Both work on the season's draws as they stand after `update`, so an answer costs no new run. A
reading weights the draws; when it lies so far out that few draws are left with any weight, the
answer says so, and only a new update will do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.evidence import Mark, Table, Value
from tierpole.potency.draws import Curves
from tierpole.potency.misfit import TAIL_DF, misfit
from tierpole.potency.model import EARLIEST
from tierpole.potency.pooled import Evenness, log_sum
from tierpole.potency.results import CBD, THC, PotencyTest, Results
from tierpole.potency.sampling import COEFFICIENTS as SAMPLING
from tierpole.potency.update import Updated

Array = NDArray[np.float64]

COEFFICIENTS = Table(
    "What-if answers",
    (
        Value(
            "fewest_effective",
            50.0,
            "draws",
            Mark.INFERENCE,
            "a chance of a half is then known to within 0.07 (one standard deviation)",
        ),
    ),
)


class Reading(NamedTuple):
    """What a test may read, [draw] or [result]: total CBD and total THC [share of dry weight]."""

    cbd: Array
    thc: Array


@dataclass(frozen=True)
class WhatIf:
    """`weight` [draw] of the draws if a test read so; they add to 1.

    `effective` is how many draws that is worth; `trust` is what the certificate would count for, 1
    for an ordinary one: one far from all that is known would be distrusted and move little.
    """

    weight: Array
    effective: float
    trust: float

    @property
    def is_enough(self) -> bool:
        """False when too few draws fit the reading: then only a new update answers."""
        return self.effective >= COEFFICIENTS["fewest_effective"]


def predict_test(updated: Updated, planned: PotencyTest, rng: np.random.Generator) -> Reading:
    """What a test would read in each draw, one reading a draw.

    `planned` says lot, day, plants, laboratory, material and precision; its values do not count.
    Readings hold the draw's truth, its plants and off-types, and the laboratory's errors: its
    learnt deviation where it has results already, the spread of all laboratories where it has none.
    """
    results = Results.of([replace(planned, cbd=1.0, thc=1.0)], (planned.laboratory,))
    evenness = _evenness(updated)
    rows = np.arange(evenness.draws)[None, :]
    share = evenness.off_type_share[:, planned.lot]
    off_types = rng.binomial(planned.plants, share)[None, :]
    pooled = evenness.pooled(results, rows, off_types)
    value, variance = _expected(updated, planned, results)
    variance = variance + (SAMPLING["reading_error"] / np.exp(value)) ** 2
    middle = (value + pooled.shift)[:, 0]
    root = _roots((variance + pooled.variance)[:, 0], pooled.covariance[0])
    wide = np.sqrt((TAIL_DF - 2.0) / rng.chisquare(TAIL_DF, evenness.draws))
    error = wide * np.einsum("stn,tn->sn", root, rng.standard_normal((2, evenness.draws)))
    return Reading(*np.exp(middle + error))


def reading_weights(updated: Updated, planned: PotencyTest, readings: Reading) -> Array:
    """Weights [result, draw] of the draws under each of several readings; rows add to 1.

    A substance whose reading is NaN is not reported. With the readings of `predict_test` and what
    each action pays in each draw, this is all that the value of a test needs.
    """
    tests = [_with(planned, *reading) for reading in zip(*readings, strict=True)]
    results = Results.of(tests, (planned.laboratory,))
    evenness = _evenness(updated)
    value, variance = _expected(updated, planned, results)
    rows = np.tile(np.arange(evenness.draws), (len(tests), 1))
    value = np.broadcast_to(value, (2, *rows.shape))
    most = evenness.most_off_types(results)
    log_weight = log_sum(evenness.log_chances(results, most, value, variance, rows))
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    return weight / weight.sum(axis=1, keepdims=True)


def what_if(updated: Updated, test: PotencyTest) -> WhatIf:
    """How the draws would count if the next test read as `test` does."""
    reading = Reading(np.array([test.cbd or np.nan]), np.array([test.thc or np.nan]))
    weight = reading_weights(updated, test, reading)[0]
    results = Results.of([test], (test.laboratory,))
    value, variance = _expected(updated, test, results)
    pooled = _evenness(updated).pooled(results, np.arange(weight.size)[None, :], 0)
    found = misfit(results, value + pooled.shift, variance + pooled.variance, pooled.covariance)
    return WhatIf(weight, float(1.0 / np.square(weight).sum()), float(found.weight[0] @ weight))


def _with(planned: PotencyTest, cbd: float, thc: float) -> PotencyTest:
    """The planned test with readings, NaN meaning none."""
    return replace(
        planned,
        cbd=None if np.isnan(cbd) else float(cbd),
        thc=None if np.isnan(thc) else float(thc),
    )


def _evenness(updated: Updated) -> Evenness:
    return Evenness.of(updated.draws, np.arange(updated.flower_day.shape[1]))


def _expected(updated: Updated, planned: PotencyTest, results: Results) -> tuple[Array, Array]:
    """Log predictions [substance, 1, draw] and variances [substance, result, draw] of a test."""
    curves = Curves.of(updated.draws.normal[:, planned.lot])
    since = planned.day - updated.flower_day[:, planned.lot]
    value = np.log([curves.cbd(since), curves.thc(np.maximum(since, EARLIEST))])
    stated = planned.precision_cbd, planned.precision_thc
    bias, variance = updated.laboratories.next_error(planned.laboratory, stated)
    return (value + bias)[:, None], variance[:, None] + results.reading[:, :, None]


def _roots(variance: Array, covariance: Array) -> Array:
    """Lower roots [substance, substance, draw] of the errors' covariance."""
    root = np.zeros((2, *variance.shape))
    root[CBD, CBD] = np.sqrt(variance[CBD])
    root[THC, CBD] = covariance / root[CBD, CBD]
    root[THC, THC] = np.sqrt(variance[THC] - root[THC, CBD] ** 2)
    return root
