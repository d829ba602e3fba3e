"""The chance that a further test passes after a first one failed."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, owens_t

from tierpole.compliance.chance import (
    Array,
    ArrayLike,
    Composite,
    off_type_cases,
    p_printed_at_most,
)
from tierpole.compliance.verdict import Printed, largest_passing
from tierpole.rulebook import Rulebook

_HARDLY_EVER = 1e-9  # first tests that never fail have no second
_NO_THC = 1e-9  # far below any result, and still with a logarithm


def p_pass_again(
    first_thc: ArrayLike,
    second_thc: ArrayLike,
    uncertainty: Printed,
    sample: Composite,
    book: Rulebook,
) -> Array:
    """Chance that a second sample passes, given that the first one failed.

    Parameters
    ----------
    first_thc, second_thc : true mean total THC of the tops on the two sample days [1], same dims
    uncertainty, sample, book : as in `p_pass`; both samples are pooled and tested the same way

    Returns
    -------
    array : probability [1], dims of `first_thc`

    Equation: another laboratory: P(second passes). The same laboratory repeats its own error, so
    the two results correlate by between^2 / (s1 s2): P(first fails, second passes) / P(first
    fails), summed over the off-type plants in either composite.
    Source: conditional probability; that a laboratory repeats its own error is inference.
    Departures: in the same laboratory errors are normal, without the heavier tails.
    """
    threshold = float(largest_passing(uncertainty, book))
    alone = p_printed_at_most(threshold, second_thc, sample)
    if book.retest_lab.value != "same":
        return alone
    fails, saved = np.zeros_like(alone), np.zeros_like(alone)
    room_first, room_second = _log_room(threshold, first_thc), _log_room(threshold, second_thc)
    for chance1, rise1, s1 in off_type_cases(sample):
        first = (room_first - np.log(rise1)) / s1
        fails += chance1 * ndtr(-first)
        for chance2, rise2, s2 in off_type_cases(sample):
            second = (room_second - np.log(rise2)) / s2
            shared = sample.precision.between_labs**2 / (s1 * s2)
            saved += chance1 * chance2 * p_above_then_below(first, second, shared)
    return np.divide(saved, fails, out=np.array(alone), where=fails > _HARDLY_EVER)


def p_above_then_below(first: ArrayLike, second: ArrayLike, correlation: ArrayLike) -> Array:
    """Chance that one standard normal is above `first` and a correlated one below `second`.

    Parameters
    ----------
    first, second : thresholds in standard deviations [1]
    correlation : of the two normals [1], below 1 in size

    Returns
    -------
    array : probability [1], broadcast

    Equation: Phi(k) - Phi2(h, k; r), with Phi2 = (Phi(h) + Phi(k)) / 2 - T(h, a) - T(k, b) - d,
    a = (k - r h) / (h sqrt(1 - r^2)), b likewise, d = 1/2 when h and k differ in sign, else 0.
    Source: Owen 1956, Ann. Math. Stat. 27:1075, equation 2.1 (from memory).
    """
    h, k = _off_zero(first), _off_zero(second)
    slope = np.sqrt(1 - np.square(correlation))
    both = 0.5 * (ndtr(h) + ndtr(k)) - 0.5 * (h * k < 0)
    both -= owens_t(h, (k - correlation * h) / (h * slope))
    both -= owens_t(k, (h - correlation * k) / (k * slope))
    return np.clip(ndtr(k) - both, 0.0, 1.0)


def _log_room(threshold: float, thc: ArrayLike) -> Array:
    return np.log(threshold / np.maximum(np.asarray(thc, float), _NO_THC))


def _off_zero(threshold: ArrayLike) -> Array:
    """The formula divides by its thresholds; a hair off zero changes nothing."""
    threshold = np.asarray(threshold, float)
    return np.where(np.abs(threshold) < 1e-9, 1e-9, threshold)
