"""How an uncertain amount of money is judged: worst cases, and what it is surely worth."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp

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


def certainty_equivalent_cara(values: ArrayLike, aversion: float) -> Array:
    """Sure amount worth as much as the draws at constant absolute risk aversion.

    Parameters
    ----------
    values : dollars, dims [draw, ...]
    aversion : r [1/dollar]; 0 gives the mean

    Returns
    -------
    array : dollars, as `values` without the draws

    Equation: -ln E[exp(-r x)] / r.
    Source: textbook; scale of r as in Babcock, Choi and Feinerman 1993, JARE 18:17.
    """
    values = np.asarray(values, float)
    if aversion == 0:
        return values.mean(axis=0)
    return -(logsumexp(-aversion * values, axis=0) - np.log(len(values))) / aversion


def certainty_equivalent_crra(values: ArrayLike, wealth: float, aversion: float) -> Array:
    """Sure change of wealth worth as much as the draws at constant relative risk aversion.

    Parameters
    ----------
    values : dollars, dims [draw, ...], all above -`wealth`
    wealth : before the season [dollars]
    aversion : gamma [1], 0.5 to 4 in the literature

    Returns
    -------
    array : dollars, as `values` without the draws

    Equation: (E[w^(1 - gamma)])^(1 / (1 - gamma)) - w0 with w = w0 + x; exp(E ln w) - w0 at 1.
    Source: textbook; range of gamma after Hardaker et al. (from memory).
    """
    log_w = np.log(wealth + np.asarray(values, float))
    if aversion == 1:
        return np.exp(log_w.mean(axis=0)) - wealth
    power = 1 - aversion
    log_mean = logsumexp(power * log_w, axis=0) - np.log(len(log_w))
    return np.exp(log_mean / power) - wealth
