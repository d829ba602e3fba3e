"""The usual course of a daily quantity through the year."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tierpole.evidence import Mark, Table, Value

YEAR = 365.25  # days of a Julian year

COEFFICIENTS = Table(
    "Daily climatology",
    (
        Value(
            "harmonics",
            3,
            "waves a year",
            Mark.INFERENCE,
            "two follow the eastern United States to about 0.3 °C; the third takes up late springs",
        ),
    ),
)


def climatological_mean(
    values: NDArray[np.float64], day_of_year: NDArray[np.int64]
) -> NDArray[np.float64]:
    """The usual value of each day of the year, smooth across years and gaps.

    Parameters
    ----------
    values : [any unit], [day], NaN where missing
    day_of_year : [day], 1 on 1 January, [day]

    Returns
    -------
    mean : [same unit], [366], by day of the year; all NaN when no value is known

    Equation: least squares of ``a + sum_k (b_k cos k t + c_k sin k t)``, ``t = 2 pi J / 365.25``.
    Source: harmonic regression, common practice; the number of waves is inference.
    """
    known = np.isfinite(values)
    if not known.any():
        return np.full(366, np.nan)
    fit = np.linalg.lstsq(_waves(day_of_year[known]), values[known], rcond=None)[0]
    return _waves(np.arange(1, 367)) @ fit


def _waves(day_of_year: NDArray[np.int64]) -> NDArray[np.float64]:
    angle = 2 * np.pi / YEAR * np.asarray(day_of_year, float)
    count = int(COEFFICIENTS["harmonics"])
    pairs = [wave(k * angle) for k in range(1, count + 1) for wave in (np.cos, np.sin)]
    return np.column_stack([np.ones_like(angle), *pairs])
