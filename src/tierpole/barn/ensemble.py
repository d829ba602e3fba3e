"""An ensemble of what may be, drawn towards readings: an ensemble square-root filter.

Readings come one after another. Each moves every member by what it says of the quantity read, and
everything else by how it goes with that quantity among the members. Nothing is drawn at random, so
the same readings always give the same answer.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

COEFFICIENTS = Table(
    "Ensemble filter",
    (
        Value(
            "relaxation", 0.10, "share", Mark.INFERENCE,
            "of the spread a window of readings took away, given back for what the model leaves "
            "out (relaxation to prior spread); 0 on a linear model",
            low=0.0, high=0.3,
        ),
        Value(
            "gross", 4.0, "SD", Mark.PRACTICE,
            "a reading further than this from the forecast is told and not used",
        ),
    ),
)  # fmt: skip


def sampling_taper(correlation: ArrayLike, members: int) -> Array:
    """How far a correlation seen among few members is trusted.

    Parameters
    ----------
    correlation : among the members [1], any shape
    members : how many there are [1]

    Returns
    -------
    taper : factor on the gain [share]; tends to 1 with many members

    Equation: 1 / (1 + (1 + 1/r²) / N).
    Source: Furrer & Bengtsson 2007, J. Multivariate Anal. 98:227-255, optimal tapering of a sample
    covariance, from memory.
    """
    squared = np.maximum(np.square(np.asarray(correlation, dtype=float)), 1e-12)
    return 1 / (1 + (1 + 1 / squared) / members)


def deviation_factor(variance: ArrayLike, error: ArrayLike) -> Array:
    """Share of the gain by which the members' deviations move, so that their spread comes right.

    Parameters
    ----------
    variance : of the quantity read among the members [unit²], any shape
    error : standard deviation of the reading [unit], broadcast

    Returns
    -------
    factor : [1], ½ to 1

    Equation: 1 / (1 + √(R / (s² + R))), R the squared error.
    Source: Whitaker & Hamill 2002, Mon. Weather Rev. 130:1913-1924, eq. 13, from memory.
    """
    noise = np.square(np.asarray(error, dtype=float))
    return 1 / (1 + np.sqrt(noise / (np.asarray(variance) + noise)))


def relaxed(after: Array, before: Array, share: float = COEFFICIENTS["relaxation"]) -> Array:
    """Members spread out again by a share of the spread that readings took from them.

    Parameters
    ----------
    after : members after the readings, [member, state]
    before : the same before them, [member, state]
    share : of the lost spread that is given back [share]

    Returns
    -------
    members : of the same mean, [member, state]

    Equation: x' (1 + α (σ_b - σ_a) / σ_a).
    Source: Whitaker & Hamill 2012, Mon. Weather Rev. 140:3078-3089, relaxation to prior spread,
    from memory.
    """
    mean, spread = after.mean(axis=0), after.std(axis=0)
    lost = np.maximum(before.std(axis=0) - spread, 0)
    return mean + (after - mean) * (1 + share * lost / np.maximum(spread, 1e-300))


def is_gross(
    predicted: Array, value: ArrayLike, error: ArrayLike, limit: float = COEFFICIENTS["gross"]
) -> NDArray[np.bool_]:
    """True where a reading lies so far from the forecast that it is a slip before it is news.

    Parameters
    ----------
    predicted : what the members foretell, [member, reading]
    value : read, [reading]
    error : standard deviation of the readings, [reading]
    limit : [SD]
    """
    spread = np.sqrt(predicted.var(axis=0, ddof=1) + np.square(np.asarray(error, dtype=float)))
    return np.abs(np.asarray(value) - predicted.mean(axis=0)) > limit * spread


def assimilate(
    members: Array, predicted: Array, value: ArrayLike, error: ArrayLike, tapered: bool = True
) -> Array:
    """Members after readings of what each of them foretold.

    Parameters
    ----------
    members : states and parameters, in units in which they are about normal, [member, state]
    predicted : what each member foretells of each reading, [member, reading]
    value : read, [reading]
    error : standard deviation of the readings, unrelated to each other, [reading]
    tapered : whether chance correlations are tempered by `sampling_taper` [bool]

    Returns
    -------
    members : of the same shape

    Equation: serially for each reading o: K = cov(x, y) / (s² + R), mean += K (o - ȳ),
    deviations -= `deviation_factor` K y'; the readings still to come are moved alike.
    Source: Whitaker & Hamill 2002, Mon. Weather Rev. 130:1913-1924, section 2, from memory;
    readings within a window are foretold by the run that leads to its end (asynchronous filter,
    Sakov, Evensen & Bertino 2010, Tellus A 62:24-29, from memory).
    """
    count = members.shape[0]
    joined = np.concatenate((members, predicted), axis=1)
    first = members.shape[1]
    for number, (read, noise) in enumerate(zip(np.ravel(value), np.ravel(error), strict=True)):
        mean = joined.mean(axis=0)
        deviation = joined - mean
        own = deviation[:, first + number]
        variance = float(own @ own) / (count - 1)
        if variance <= 0:
            continue  # every member foretells the same: it tells nothing of them
        along = own @ deviation / (count - 1)
        gain = along / (variance + noise**2)
        if tapered:
            both = np.sqrt(variance * np.square(deviation).sum(axis=0) / (count - 1))
            gain *= sampling_taper(along / np.maximum(both, 1e-300), count)
        factor = float(deviation_factor(variance, noise))
        joined = mean + gain * (read - mean[first + number]) + deviation
        joined -= factor * own[:, None] * gain
    return joined[:, :first]
