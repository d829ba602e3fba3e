"""What a walk through the lot tells about its flowering.

A count in flower shifts the draws of that lot without drawing again: each draw keeps its
place in the order and its weather, and only moves along the axis. The law of the draws is taken as
normal, multiplied by the likelihood of what was seen on a fine grid, and every draw is carried from
the old law to the new one at equal probability. A count needs no cut-off so, and *none in flower*
moves only the draws that would be in flower by now.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import log_ndtr, ndtr

Array = NDArray[np.float64]

_GRID_POINTS = 4001
_LEAST = 1e-300  # of a likelihood whose greatest is 1, keeps logarithms finite
_REACH = 8.0  # standard deviations of the draws that the grid covers on either side


def shift_counted(
    flower_day: Array,
    day_counted: float,
    in_flower: int,
    looked_at: int,
    spread: float,
    judgement: float = 0.0,
) -> Array:
    """Flower days of a lot after plants in flower were counted.

    Parameters
    ----------
    flower_day : flower initiation of the lot before [day], [draw]
    day_counted : date of the count [day]
    in_flower, looked_at : plants in flower, of how many
    spread : standard deviation of initiation between plants [d]
    judgement : standard deviation of how early or late the eye calls a plant in flower [d]

    Returns
    -------
    flower initiation after [day], [draw], in the same order

    Equation: normal law of the draws times p^k (1-p)^(n-k), p = Phi((day - e - x)/spread),
    averaged over the normal error e of judgement; draws move at equal probability.

    Source: Bayes' rule with the binomial law; moving at equal probability is the optimal transport
    between two laws on a line. Assumes plants looked at were picked without regard to flowering.
    Without an error of judgement forty plants would fix the day to half a day, which no eye does.
    """
    mean, deviation = float(flower_day.mean()), float(flower_day.std())
    if deviation == 0.0:
        return flower_day
    standard = np.linspace(-_REACH, _REACH, _GRID_POINTS)
    ahead = (day_counted - mean - deviation * standard) / spread
    log_likelihood = in_flower * log_ndtr(ahead) + (looked_at - in_flower) * log_ndtr(-ahead)
    blur = judgement / (deviation * (standard[1] - standard[0]))
    log_density = -0.5 * standard**2 + _blurred(log_likelihood, blur)
    new_standard = _standard_after(standard, log_density)
    return mean + deviation * np.interp((flower_day - mean) / deviation, standard, new_standard)


def carry_shift(flower_day: Array, lot: int, shifted: Array) -> Array:
    """Flower days [draw, lot] of lots of one variety after those of one of them were shifted.

    The sister lots move by their regression on the observed lot over the draws (Anderson 2003,
    Mon. Wea. Rev. 131:634, from memory), so an early sighting in one field counts in the next as
    far as the two depend on the same variety, year and weather.
    """
    seen = flower_day[:, lot]
    deviation = seen - seen.mean()
    squares = float(deviation @ deviation)
    slope = deviation @ flower_day / squares if squares > 0.0 else np.zeros(flower_day.shape[1])
    moved = flower_day + np.outer(shifted - seen, slope)
    moved[:, lot] = shifted
    return moved


def _blurred(log_likelihood: Array, width: float) -> Array:
    """The logarithm of a likelihood averaged over a normal error of `width` grid points."""
    if width == 0.0:
        return log_likelihood
    likelihood = np.exp(log_likelihood - log_likelihood.max())
    return np.log(np.maximum(gaussian_filter1d(likelihood, width, mode="nearest"), _LEAST))


def _standard_after(standard: Array, log_density: Array) -> Array:
    """Where each standard normal quantile lies under the law of `log_density`, same grid."""
    density = np.exp(log_density - log_density.max())
    steps = np.concatenate([[0.0], 0.5 * (density[1:] + density[:-1])])
    share = np.cumsum(steps)
    share /= share[-1]
    rising = np.flatnonzero(np.diff(share, prepend=-1.0) > 0.0)
    return np.interp(ndtr(standard), share[rising], standard[rising])
