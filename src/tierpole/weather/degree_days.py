"""Degree days: warmth above a threshold, by the three rules growers and advisers use.

The rules differ by up to a third on cool days, so a threshold from a publication goes with the
rule of that publication: average for hemp and maize, single sine for most insects.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def degree_days_average(t_min: ArrayLike, t_max: ArrayLike, lower: float) -> NDArray[np.float64]:
    """Degree days of the daily mean, counted from the threshold, never below zero.

    Parameters
    ----------
    t_min, t_max : [°C or °F], daily minimum and maximum, any shape
    lower : [°C or °F], threshold

    Returns
    -------
    degree_days : [°C d or °F d], same shape

    Equation: ``DD = max(0, (Tmin + Tmax) / 2 - lower)``.
    Source: McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291-300, method 1.
    """
    mean = (np.asarray(t_min, float) + np.asarray(t_max, float)) / 2
    return np.maximum(mean - lower, 0.0)


def degree_days_clipped(
    t_min: ArrayLike, t_max: ArrayLike, lower: float, upper: float = np.inf
) -> NDArray[np.float64]:
    """Degree days of the mean of minimum and maximum, each first brought within the thresholds.

    Parameters
    ----------
    t_min, t_max : [°C or °F], daily minimum and maximum, any shape
    lower, upper : [°C or °F], thresholds; without an upper one this is McMaster's method 2

    Returns
    -------
    degree_days : [°C d or °F d], same shape

    Equation: ``DD = (clip(Tmin) + clip(Tmax)) / 2 - lower``, clip to ``lower..upper``.
    Source: McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291-300, method 2; with an upper
    threshold it is the maize and corn borer rule of the Midwestern extension services.
    """
    low = np.clip(np.asarray(t_min, float), lower, upper)
    high = np.clip(np.asarray(t_max, float), lower, upper)
    return (low + high) / 2 - lower


def degree_days_sine(
    t_min: ArrayLike, t_max: ArrayLike, lower: float, upper: float = np.inf
) -> NDArray[np.float64]:
    """Degree days under one sine wave a day, with a horizontal cut-off at the upper threshold.

    Parameters
    ----------
    t_min, t_max : [°C or °F], daily minimum and maximum, any shape
    lower, upper : [°C or °F], thresholds

    Returns
    -------
    degree_days : [°C d or °F d], same shape

    Equation: area of the sine above `lower` minus area above `upper`; above a threshold L it is
    ``((M - L)(pi/2 - q) + A cos q) / pi`` with mean M, half range A and ``q = asin((L - M) / A)``.
    Source: Zalom, Goodell, Wilson, Barnett & Bentley 1983, Univ. California leaflet 21373;
    closed form from Allen 1976, Environ. Entomol. 5:388-396, from memory.
    """
    low, high = np.asarray(t_min, float), np.asarray(t_max, float)
    return _area_above(low, high, lower) - _area_above(low, high, upper)


def _area_above(
    low: NDArray[np.float64], high: NDArray[np.float64], threshold: float
) -> NDArray[np.float64]:
    """Mean height of a day's sine above a threshold."""
    mean, half = (low + high) / 2, (high - low) / 2
    crossing = np.clip(threshold, low, high)
    # A day without a range has no wave to cut: the crossing term vanishes with `half`.
    sine = np.divide(crossing - mean, half, out=np.zeros_like(mean), where=half > 0)
    angle = np.arcsin(np.clip(sine, -1.0, 1.0))
    wave = ((mean - crossing) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
    return wave + np.maximum(low - threshold, 0.0)
