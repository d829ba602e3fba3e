"""Logarithms of the two curves and how they change with each of their parameters.

The slopes are worked by hand from `curves` and checked against differences in the tests.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class CbdSlopes(NamedTuple):
    """Log of CBD over its plateau, and its slopes by log rate and by midpoint.

    By day it is minus that by midpoint.
    """

    value: Array
    by_log_rate: Array
    by_midpoint: Array


class ThcSlopes(NamedTuple):
    """Log of THC over its peak, and its slopes by peak day, power, log fall and day."""

    value: Array
    by_peak_day: Array
    by_power: Array
    by_log_fall: Array
    by_day: Array


def cbd_slopes(days_flowering: Array, rate: Array, midpoint: Array) -> CbdSlopes:
    """Log of the rise of total CBD, with slopes.

    Parameters
    ----------
    days_flowering : days since flower initiation [d]
    rate : relative rate of rise at first [1/d]
    midpoint : days at half of the plateau [d]

    Returns
    -------
    log share of the plateau [1] and its slopes, broadcast

    Equation: -ln(1 + e), e = exp(k (t0 - tau)); by t0 it is -k e/(1 + e).

    Source: `curves.cbd_course`.
    """
    ahead = rate * (midpoint - days_flowering)
    growth = np.exp(ahead)
    missing = growth / (-1.0 - growth)
    return CbdSlopes(-np.log1p(growth), missing * ahead, missing * rate)


def thc_slopes(days_flowering: Array, peak_day: Array, power: Array, fall: Array) -> ThcSlopes:
    """Log of the rise and fall of total THC, with slopes.

    Parameters
    ----------
    days_flowering : days since flower initiation, above 0 [d]
    peak_day : days at which THC peaks [d]
    power : 1/(1 - steepest), steepest as a share of `peak_day` [1]
    fall : relative rate of fall after the peak [1/d]

    Returns
    -------
    log share of the peak [1] and its slopes, broadcast

    Equation: ln(1 + (1 - x) p) + p ln x - d max(tau - te, 0), x = min(tau/te, 1); by x it is
    p (1 + p) (1 - x)/(x (1 + (1 - x) p)).

    Source: `curves.thc_course`.
    """
    reached = np.minimum(days_flowering / peak_day, 1.0)
    ahead = 1.0 - reached
    lead = 1.0 + ahead * power
    log_reached = np.log(reached)
    past = np.maximum(days_flowering - peak_day, 0.0)
    # a day moves x by 1/te before the peak and time past it by 1 after
    rise = power * (1.0 + power) * ahead / (lead * days_flowering)
    by_day = rise - np.where(ahead > 0.0, 0.0, fall)
    lost = fall * past
    return ThcSlopes(
        value=np.log(lead) + power * log_reached - lost,
        by_peak_day=-by_day * reached,
        by_power=ahead / lead + log_reached,
        by_log_fall=-lost,
        by_day=by_day,
    )
