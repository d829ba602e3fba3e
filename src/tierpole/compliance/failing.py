"""What is still to be had from a lot that failed: the ways the rulebook leaves, priced."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tierpole.compliance.chance import (
    Array,
    ArrayLike,
    Composite,
    p_printed_at_most,
)
from tierpole.compliance.verdict import Printed, largest_passing
from tierpole.evidence import Mark, Table, Value
from tierpole.farm.books import RemediationMethod
from tierpole.rulebook import Rulebook

WHOLE_PLANT = Table(
    "THC of the shredded whole plant",
    (
        Value(
            "flower_share", 0.40, "1", Mark.INFERENCE,
            "dry mass of a hung plant: flower 40, leaf 22, stem 38 %", 0.30, 0.50,
            note="share of the plant's dry mass that is flower",
        ),
        Value(
            "rest_to_flower", 0.10, "1", Mark.INFERENCE,
            "leaf holds about a quarter of the flower's content, stem next to nothing", 0.05, 0.25,
            note="THC of leaf and stem together over that of the flower",
        ),
    ),
)  # fmt: skip


class FailPath(StrEnum):
    """What a grower may do with a failed lot."""

    RETEST = "ask for a further test"
    STRIP = "destroy the flower, keep the rest"
    SHRED = "shred the whole plant and test it again"
    DESTROY = "destroy the lot"


@dataclass(frozen=True)
class FailDollars:
    """Dollars a stick of what each way brings and costs; numbers or arrays [draw, lot, sample_day].

    `pass_after_all` is a stick's value when the further test passes, after the days it takes;
    `biomass` of its shredded biomass when that passes, sold flat; `kept` of what is left without
    flower. The rest are costs, fees of a test spread over the lot's sticks.
    """

    pass_after_all: ArrayLike
    biomass: ArrayLike
    kept: ArrayLike
    retest: ArrayLike
    strip: ArrayLike
    shred: ArrayLike
    biomass_test: ArrayLike
    destroy: ArrayLike


@dataclass(frozen=True)
class FailValue:
    """Dollars a stick of each way, the best one by lot and sample day, and its value by draw."""

    by_path: dict[FailPath, Array]
    best: NDArray[np.intp]
    value: Array

    def path(self, lot: int, sample_day: int) -> FailPath:
        """The best way for a lot that fails on a sample day."""
        return list(self.by_path)[self.best[lot, sample_day]]


def paths_allowed(book: Rulebook) -> tuple[FailPath, ...]:
    """The ways a rulebook leaves after a fail; to destroy is always one."""
    ways = {
        FailPath.RETEST: book.retests_allowed.value != 0,
        FailPath.STRIP: RemediationMethod.STRIP in book.remediation.value,
        FailPath.SHRED: RemediationMethod.SHRED in book.remediation.value,
        FailPath.DESTROY: True,
    }
    return tuple(path for path, is_allowed in ways.items() if is_allowed)


def thc_blended(flower_share: ArrayLike, flower: ArrayLike, rest: ArrayLike) -> Array:
    """Total THC of a shredded plant.

    Parameters
    ----------
    flower_share : share of the dry mass that is flower [1]
    flower, rest : total THC of the flower, and of leaf and stem [share of dry weight]

    Returns
    -------
    array : share of dry weight [1], broadcast

    Equation: f x flower + (1 - f) x rest.
    Source: mass balance.
    """
    return np.asarray(flower_share * np.asarray(flower) + (1 - np.asarray(flower_share)) * rest)


def p_biomass_pass(
    thc: ArrayLike,
    uncertainty: Printed,
    sample: Composite,
    book: Rulebook,
    top_to_flower: ArrayLike,
) -> Array:
    """Chance that the shredded whole plants of a lot pass their own test.

    Parameters
    ----------
    thc : true mean total THC of the true-to-type plants' tops [1], dims [draw, lot, day]
    uncertainty, sample, book : as in `p_pass`; shredding mixes all plants of the lot
    top_to_flower : THC of the sampled top over that of all flower [1], dims [draw, lot, 1]

    Returns
    -------
    array : probability [1], dims of `thc`

    Equation: P(printed <= limit + MU) for the blend of flower and the rest of the plant.
    Source: mass balance; shares as in the table `WHOLE_PLANT` (inference).
    """
    flower = np.asarray(thc) * sample.lot_rise / top_to_flower
    rest = WHOLE_PLANT["rest_to_flower"] * flower
    blend = thc_blended(WHOLE_PLANT["flower_share"], flower, rest)
    threshold = float(largest_passing(uncertainty, book))
    return p_printed_at_most(threshold, blend, sample.bulk())


def fail_paths(
    p_fail: Array, p_again: ArrayLike, p_biomass: ArrayLike, dollars: FailDollars, book: Rulebook
) -> FailValue:
    """The value of a stick of a lot that failed, by the way with the best mean given the fail.

    Parameters
    ----------
    p_fail : chance that the official sample fails [1], dims [draw, lot, sample_day]
    p_again : chance that a further test passes after the fail [1], same dims
    p_biomass : chance that the shredded plants pass [1], same dims
    dollars : what each way brings and costs [dollars a stick]
    book : the rulebook in force

    Returns
    -------
    FailValue : `value` [draw, lot, sample_day], `best` [lot, sample_day]

    Equation: destroy: -cost; strip: kept - cost; shred: p biomass - (1 - p) destroy - shred - test;
    further test: p pass_after_all + (1 - p) (best mean of the others) - test. Means over draws are
    weighted by p_fail, because only draws that fail come here.
    Source: arithmetic.
    Departures: one further test is priced, whatever number the rulebook allows.
    """
    values = _values_without_test(p_fail.shape, np.asarray(p_biomass), dollars)
    values = {path: v for path, v in values.items() if path in paths_allowed(book)}
    if FailPath.RETEST in paths_allowed(book):
        fallback = _best(p_fail, values).value
        again = np.asarray(p_again)
        retest = again * dollars.pass_after_all + (1 - again) * fallback - dollars.retest
        values = {FailPath.RETEST: retest, **values}
    return _best(p_fail, values)


def _values_without_test(
    shape: tuple[int, ...], p_biomass: Array, dollars: FailDollars
) -> dict[FailPath, Array]:
    sold, lost = p_biomass * dollars.biomass, (1 - p_biomass) * dollars.destroy
    values = {
        FailPath.STRIP: np.asarray(dollars.kept) - dollars.strip,
        FailPath.SHRED: sold - lost - dollars.shred - dollars.biomass_test,
        FailPath.DESTROY: -np.asarray(dollars.destroy),
    }
    return {path: np.broadcast_to(np.asarray(v, float), shape) for path, v in values.items()}


def _best(p_fail: Array, values: dict[FailPath, Array]) -> FailValue:
    """One way for each lot and sample day: the best mean over the draws that fail."""
    # where no draw fails, all weigh the same: the way does not matter, but a mean must exist
    weight = p_fail + 1e-12
    stack = np.stack(list(values.values()))
    means = (stack * weight).sum(axis=1) / weight.sum(axis=0)
    best = means.argmax(axis=0)
    value = np.take_along_axis(stack, best[None, None], axis=0)[0]
    return FailValue(values, best, value)
