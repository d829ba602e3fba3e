"""How an uncertain amount of money is judged: its worst cases, and its good and bad years."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.floating]

TAIL = Table(
    "Weight of bad seasons",
    (
        Value(
            "share", 0.2, "1", Mark.INFERENCE, "the worst season in five can be pictured",
            note="share of draws that count as the tail",
        ),
        Value(
            "weight", 0.3, "1", Mark.INFERENCE, "our choice; show results over a range",
            note="weight of the tail's mean in what a plan maximises",
        ),
    ),
)  # fmt: skip


def tail_weights(values: ArrayLike, share: float = TAIL["share"]) -> Array:
    """Weights that pick the mean of the worst draws.

    Parameters
    ----------
    values : dims [draw, ...]
    share : of the draws, worst first [1], above 0

    Returns
    -------
    array : weights [1], dims of `values`, adding to 1 along the draws

    Equation: 1 / (share n) for each of the worst share n draws, the rest of it on the draw at the
    boundary.
    Source: Rockafellar and Uryasev 2002, J. Banking Finance 26:1443 (from memory).
    """
    values = np.asarray(values, float)
    count = share * len(values)
    by_rank = np.clip(count - np.arange(len(values)), 0.0, 1.0) / count
    weights = np.empty_like(values)
    order = np.argsort(values, axis=0, kind="stable")
    ranked = by_rank.reshape(-1, *([1] * (values.ndim - 1)))
    np.put_along_axis(weights, order, np.broadcast_to(ranked, values.shape), axis=0)
    return weights


def cvar(values: ArrayLike, share: float = TAIL["share"]) -> Array:
    """Mean of the worst draws.

    Parameters
    ----------
    values : dims [draw, ...]
    share : of the draws, worst first [1]

    Returns
    -------
    array : as `values` without the draws

    Equation: sum of tail_weights x values.
    Source: Rockafellar and Uryasev 2002 (from memory).
    """
    return np.sum(tail_weights(values, share) * np.asarray(values, float), axis=0)


def two_piece_normal(share: ArrayLike, low: float, middle: float, high: float) -> Array:
    """Quantiles of an amount known by its middle and by what it is below and above in one of ten.

    Parameters
    ----------
    share : of all years that lie below [1], between 0 and 1
    low, middle, high : the 10, 50 and 90 % quantiles [any unit], rising

    Returns
    -------
    array : the unit of `middle`, dims of `share`

    Equation: x(q) = m + z(q) / z(0.9) (m - x10 where q < 0.5, x90 - m above), z the standard
    normal quantile.
    Source: two halves of normal distributions joined at the median (inference); with even tails it
    is the normal distribution. Departure from the usual split normal: each half holds half of the
    years, so that the given number is the median.
    """
    z = ndtri(np.asarray(share, float)) / ndtri(0.9)
    return middle + z * np.where(z < 0, middle - low, high - middle)
