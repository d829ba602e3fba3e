"""How badly predictions miss certificates: the log likelihood, and its slopes.

The two logarithms of one certificate share the scatter of its plants and one Student's t law, so
a certificate that is far off in either loses weight as a whole. A result below quantification
counts by the chance of being below; it is taken on its own, without the other substance.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, stdtr

from tierpole.potency.results import CBD, THC, Results
from tierpole.potency.sampling import COEFFICIENTS

Array = NDArray[np.float64]

TAIL_DF = COEFFICIENTS["tail_df"]
_ROOM = TAIL_DF - 2.0  # what makes the stated spread the standard deviation
_STRETCH = np.sqrt(TAIL_DF / _ROOM)
_T_PEAK = np.exp(gammaln((TAIL_DF + 1) / 2) - gammaln(TAIL_DF / 2)) / np.sqrt(TAIL_DF * np.pi)
_SURE = 1e-300  # keeps the logarithm of a chance finite


class Misfit(NamedTuple):
    """Log likelihood [test, chain] and its slopes by prediction and variance [substance, ...].

    `weight` [test, chain] is what the certificate counts for: 1 on average, less the farther off.
    """

    log_likelihood: Array
    by_prediction: Array
    by_variance: Array
    weight: Array


def misfit(results: Results, predicted: Array, variance: Array, covariance: Array) -> Misfit:
    """Log likelihood of log results given their predictions.

    Parameters
    ----------
    results : log totals [substance, test]
    predicted : log totals expected [substance, test, chain]
    variance : of their errors [substance, test, chain]
    covariance : of the two errors of one certificate [test, chain]

    Returns
    -------
    log likelihood up to a constant, its slopes, and the weight of each certificate

    Equation: -ln|S|/2 - (n + d)/2 ln(1 + Q/(n - 2)), Q = r' S^-1 r, for d values seen; weight
    (n + d)/(n + Q n/(n - 2)); ln F_n((L - m)/s) for a value below L.

    Source: multivariate Student's t with covariance S; the weight is the mean of its mixing
    variable (Lange, Little & Taylor 1989, J. Am. Stat. Assoc. 84:881, from memory).
    """
    cbd_miss, thc_miss = (results.value[:, :, None] - predicted) * results.seen[:, :, None]
    cbd_var, thc_var = _where(results.seen, variance, 1.0)
    shared = _where(results.seen[CBD] & results.seen[THC], covariance, 0.0)
    count = results.seen.sum(axis=0)[:, None]
    sharpness = 1.0 / (cbd_var * thc_var - shared**2)
    cbd_pull = (thc_var * cbd_miss - shared * thc_miss) * sharpness
    thc_pull = (cbd_var * thc_miss - shared * cbd_miss) * sharpness
    distance = cbd_miss * cbd_pull + thc_miss * thc_pull
    weight = (TAIL_DF + count) / (_ROOM + distance)
    log_likelihood = 0.5 * np.log(sharpness)
    log_likelihood -= 0.5 * (TAIL_DF + count) * np.log1p(distance / _ROOM)
    pull, precision = np.stack([cbd_pull, thc_pull]), np.stack([thc_var, cbd_var]) * sharpness
    by_prediction = weight * pull
    by_variance = 0.5 * (by_prediction * pull - precision) * results.seen[:, :, None]
    found = Misfit(log_likelihood, by_prediction, by_variance, weight * (_ROOM / TAIL_DF))
    if results.below.any():
        _add_below(results, predicted, variance, found)
    return found


def _add_below(results: Results, predicted: Array, variance: Array, found: Misfit) -> None:
    """Add what results below quantification say, in place."""
    for substance in (CBD, THC):
        tests = np.flatnonzero(results.below[substance])
        sd = np.sqrt(variance[substance, tests]) / _STRETCH
        standard = (results.value[substance, tests, None] - predicted[substance, tests]) / sd
        chance = np.maximum(stdtr(TAIL_DF, standard), _SURE)
        density = _T_PEAK * (1.0 + standard**2 / TAIL_DF) ** (-(TAIL_DF + 1.0) / 2.0)
        pull = density / chance
        found.log_likelihood[tests] += np.log(chance)
        found.by_prediction[substance, tests] = -pull / sd
        found.by_variance[substance, tests] = -0.5 * pull * standard / variance[substance, tests]


def _where(kept: NDArray[np.bool_], values: Array, other: float) -> Array:
    """Values where kept, the other elsewhere; the chains' axis is not looked at."""
    return values if kept.all() else np.where(kept[..., None], values, other)
