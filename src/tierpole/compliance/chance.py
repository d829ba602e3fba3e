"""The chance that a lot passes, given its true THC, averaged exactly over the error of one test.

A composite of n tops carries the scatter of its plants over the square root of n, the laboratory's
repeatability and the difference between laboratories. In seed lots it may also hold off-type
plants with many times the THC. Measurement uncertainty (MU) is only the allowance of the pass
rule, never the spread of results.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc, binom, ndtr, stdtr

from tierpole.compliance.verdict import Printed, largest_passing
from tierpole.evidence import Mark, Table, Value
from tierpole.potency import PRECISION_THC, Precision, off_type_rise
from tierpole.rulebook import Rulebook

Array = NDArray[np.floating]
ArrayLike = Array | float

CERTIFICATE = Table(
    "Results of official tests",
    (
        Value(
            "tail_df", 5.0, "1", Mark.INFERENCE,
            "two accredited laboratories differed by 0.11 to 0.2 % absolute (Smith 2020)",
            note="degrees of freedom of the log error, Student's t: heavier tails than normal",
        ),
        Value(
            "uncertainty", 0.0004, "1", Mark.INFERENCE,
            "certificates near 0.3 % state 0.02 to 0.06 % (from memory)", 0.0002, 0.0006,
            note="measurement uncertainty taken when the certificate states none",
        ),
        Value(
            "trimming", 1.12, "1", Mark.INFERENCE,
            "common practice says dry trimmed flower tests higher; no figure was found", 1.00, 1.25,
            note="THC of dry trimmed flower over that of flower with its stem and leaf",
        ),
    ),
)  # fmt: skip

_NEGLIGIBLE = 1e-9  # chance of more off-type plants in a composite than are counted


@dataclass(frozen=True)
class Composite:
    """An official sample: what is cut and pooled from a lot, and how well it is tested.

    Arrays broadcast with THC [draw, lot, day]: `plants` pooled [lot, 1], relative scatter
    `plant_cv` between them [draw, lot, 1], and for seed lots the share of off-type plants and
    their THC over a true plant's, [draw, lot, 1].
    """

    plants: NDArray[np.integer] | int
    plant_cv: ArrayLike
    off_type_share: NDArray[np.float64] | float = 0.0
    off_type_multiple: NDArray[np.float64] | float = 1.0
    precision: Precision = PRECISION_THC
    tail_df: float = CERTIFICATE["tail_df"]

    @property
    def lot_rise(self) -> ArrayLike:
        """THC of the whole lot over that of its true-to-type plants [1]."""
        return off_type_rise(self.off_type_multiple, self.off_type_share, 1)

    def bulk(self) -> Composite:
        """The same test of so many mixed plants that only their mean matters."""
        return Composite(1, 0.0, precision=self.precision, tail_df=self.tail_df)


def p_at_most(
    threshold: ArrayLike,
    centre: ArrayLike,
    spread: ArrayLike,
    tail_df: float = np.inf,
    where: NDArray[np.bool_] | bool = True,
) -> Array:
    """Chance that a result is at most a threshold.

    Parameters
    ----------
    threshold, centre : limit and middle of the results, on one scale
    spread : standard deviation on that scale
    tail_df : degrees of freedom above 2; infinite for a normal error
    where : entries wanted, the rest are 0

    Returns
    -------
    array : probability [1], broadcast

    Equation: F((threshold - centre) / spread), F the normal distribution, or Student's t with
    its argument times sqrt(df / (df - 2)), so that `spread` stays the standard deviation.
    Source: textbook.
    """
    z = np.asarray((np.asarray(threshold, float) - centre) / spread)
    out = np.zeros(np.broadcast_shapes(z.shape, np.shape(where)))
    if np.isinf(tail_df):
        return ndtr(z, out=out, where=where)
    return stdtr(tail_df, z * np.sqrt(tail_df / (tail_df - 2)), out=out, where=where)


def p_printed_at_most(threshold: float, thc: ArrayLike, sample: Composite) -> Array:
    """Chance that the printed result of one composite is at most a threshold.

    Parameters
    ----------
    threshold : share of dry weight [1]
    thc : true mean total THC of the true-to-type plants' tops [1], dims [draw, lot, day]
    sample : what is pooled and how it is tested

    Returns
    -------
    array : probability [1], dims of `thc`

    Equation: sum over k of Binomial(k; n, q) F((ln threshold - ln(m r_k)) / s_k), with k off-types
    of multiple x in the composite, e_k^2 = cv^2 (n - k + k x^2) / (n - k + k x)^2,
    r_k = (1 + (k / n)(x - 1)) / sqrt(1 + e_k^2), s_k^2 = ln(1 + e_k^2) + within^2 + between^2.
    Source: binomial mixture of composites, each a lognormal with the mean and variance of its
    plants; laboratory terms as in `potency.log_sd`.
    Departures: the laboratory's error is symmetric on the log scale, its median being the truth.
    """
    with np.errstate(divide="ignore"):  # no THC yet: minus infinity, which passes
        log_thc = np.log(np.asarray(thc, float))
    total = np.zeros(())
    for chance, rise, spread in off_type_cases(sample):
        room = np.log(threshold) - np.log(rise)
        total = total + chance * p_at_most(room, log_thc, spread, sample.tail_df, chance > 0)
    return total


def off_type_cases(sample: Composite) -> Iterator[tuple[Array, Array, Array]]:
    """For k = 0, 1, ... off-type plants in a composite: chance, median rise, log spread [1]."""
    plants, share = np.asarray(sample.plants), np.asarray(sample.off_type_share, float)
    multiple = np.asarray(sample.off_type_multiple, float)
    laboratory = sample.precision.repeatability**2 + sample.precision.between_labs**2
    for k in range(int(plants.max()) + 1):
        if k and np.all(bdtrc(k - 1, plants, share) < _NEGLIGIBLE):
            return
        rest = np.maximum(plants - k, 0)
        chance = binom(plants, k) * share**k * (1 - share) ** rest
        squares = (rest + k * multiple**2) / (rest + k * multiple) ** 2
        variance = np.log1p(np.square(sample.plant_cv) * squares)
        rise = off_type_rise(multiple, k / np.maximum(plants, k), 1)
        yield chance, rise * np.exp(-variance / 2), np.sqrt(variance + laboratory)


def p_pass(thc: ArrayLike, uncertainty: Printed, sample: Composite, book: Rulebook) -> Array:
    """Chance that an official composite passes, given the lot's true THC.

    Parameters
    ----------
    thc : true mean total THC of the true-to-type plants' tops [1], dims [draw, lot, sample_day]
    uncertainty : MU the laboratory will state, share of dry weight [1]
    sample, book : what is pooled and how it is tested, and the rules it is held to

    Returns
    -------
    array : probability [1], dims of `thc`

    Equation: P(printed <= limit + MU), see `p_printed_at_most` and `passes`.
    Source: 7 CFR 990.1, "Acceptable hemp THC level".
    """
    return p_printed_at_most(float(largest_passing(uncertainty, book)), thc, sample)


def p_over_one(thc: ArrayLike, sample: Composite, book: Rulebook) -> Array:
    """Chance that the printed result is above the line of negligence (1.0 %); dims of `thc`."""
    return 1.0 - p_printed_at_most(float(book.negligence_line.value), thc, sample)


def p_sold_pass(thc: ArrayLike, sample: Composite, book: Rulebook, top_to_sold: ArrayLike) -> Array:
    """Chance that what is sold is within the limit at the buyer's laboratory, without MU.

    Parameters
    ----------
    thc : true mean total THC of the true-to-type plants' tops [1], dims [draw, lot, day]
    sample, book : the lot's plants and how they are tested, and the rules
    top_to_sold : THC of the sampled top over that of what is sold [1], dims [draw, lot, 1]; for
        threshed biomass that of top over threshed plant, well above 1

    Returns
    -------
    array : probability [1], dims of `thc`

    Equation: P(printed <= limit) for the mean of the lot, off-types included, over top_to_sold.
    Source: mass balance; that a buyer allows no MU is common practice.
    """
    sold = sample.lot_rise * np.asarray(thc) / top_to_sold
    return p_printed_at_most(float(book.limit.value), sold, sample.bulk())


def p_buyer_pass(
    thc: ArrayLike, sample: Composite, book: Rulebook, top_to_flower: ArrayLike
) -> Array:
    """Chance that dry trimmed flower is within the limit at the buyer's laboratory, without MU.

    Parameters
    ----------
    thc, sample, book : as in `p_sold_pass`
    top_to_flower : THC of the sampled top over that of all flower [1], dims [draw, lot, 1]

    Returns
    -------
    array : probability [1], dims of `thc`

    Equation: p_sold_pass with top_to_sold = top_to_flower / trimming.
    Source: inference; that trimmed flower tests higher than the field sample is common practice.
    """
    return p_sold_pass(thc, sample, book, np.asarray(top_to_flower) / CERTIFICATE["trimming"])
