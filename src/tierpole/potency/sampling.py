"""What a laboratory result can differ by from the truth of its lot.

A sample is a composite of a few tops. Its result carries the difference between plants, the
repeatability of one laboratory and the difference between laboratories, all relative. Laboratory
error has a heavier tail than the normal law: two accredited laboratories have differed by 0.1 to
0.2 % absolute near the limit (Smith 2020, Cannabis Sci. Technol. 3(2) and 3(5)). The measurement
uncertainty (MU) on a certificate is an allowance in the rule and never enters here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import comb

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

COEFFICIENTS = Table(
    "Sampling and laboratory",
    (
        Value(
            "repeatability_thc",
            0.04,
            "1",
            Mark.INFERENCE,
            "inside the 5 % asked by AOAC SMPR 2017.002, table 4, at 0.3 to 1 %",
            low=0.02,
            high=0.06,
        ),
        Value(
            "between_labs_thc",
            0.12,
            "1",
            Mark.INFERENCE,
            "AOAC SMPR 2017.002 asks 7 %; two-laboratory studies found 0.11 to 0.2 % absolute",
            low=0.06,
            high=0.25,
        ),
        Value("repeatability_cbd", 0.03, "1", Mark.INFERENCE, "AOAC SMPR 2017.002 asks 4 %"),
        Value(
            "between_labs_cbd",
            0.07,
            "1",
            Mark.INFERENCE,
            "AOAC SMPR 2017.002 asks 5 %; half of the laboratories missed the range of one oil "
            "(NISTIR 8385)",
        ),
        Value(
            "plant_correlation",
            0.95,
            "1",
            Mark.INFERENCE,
            "CBD and THC of one plant rise together; the ratio varies far less than the level",
        ),
        Value(
            "reading_error",
            5e-5,
            "share",
            Mark.INFERENCE,
            "0.005 % absolute: small readings are less sure than their size",
        ),
        Value(
            "tail_df",
            5.0,
            "1",
            Mark.INFERENCE,
            "two accredited laboratories differed by 0.11 to 0.2 % absolute (Smith 2020)",
            note="degrees of freedom of the log error, Student's t: heavier tails than normal",
        ),
        Value(
            "repeatability_spread",
            0.35,
            "1",
            Mark.INFERENCE,
            "log, how unsure the stated repeatability is: 4 % stands for 2 to 6 %",
        ),
        Value(
            "between_labs_spread",
            0.50,
            "1",
            Mark.INFERENCE,
            "log, how unsure the stated difference is: 12 % stands for 6 to 25 %",
        ),
    ),
)


@dataclass(frozen=True)
class Precision:
    """Relative standard deviations [1] of a result within one laboratory and between them."""

    repeatability: float
    between_labs: float


PRECISION_THC = Precision(COEFFICIENTS["repeatability_thc"], COEFFICIENTS["between_labs_thc"])
PRECISION_CBD = Precision(COEFFICIENTS["repeatability_cbd"], COEFFICIENTS["between_labs_cbd"])


def sd_composite(plant_cv: Array | float, plants: Array | float) -> Array | float:
    """Relative standard deviation of a composite of several plants about its lot.

    Parameters
    ----------
    plant_cv : relative standard deviation between plants of the lot [1]
    plants : plants in the composite

    Returns
    -------
    relative standard deviation [1], broadcast

    Equation: cv / sqrt(n).

    Source: variance of a mean of equal parts.
    Valid range: plants picked without regard to their potency, of equal mass.
    """
    return plant_cv / np.sqrt(plants)


def composite_law(
    plant_cv: Array | float,
    plants: Array | float,
    off_types: Array | float,
    multiple: Array | float,
) -> tuple[Array, Array]:
    """Median and variance of the logarithm of a composite's THC over that of true-to-type plants.

    Parameters
    ----------
    plant_cv : relative standard deviation between plants of one type [1]
    plants : plants in the composite
    off_types : off-type plants among them
    multiple : THC of an off-type plant over that of a true one [1]

    Returns
    -------
    log median, variance of the logarithm [1], broadcast

    Equation: v = ln(1 + cv^2 (n - k + k x^2)/(n - k + k x)^2), m = ln(1 + (k/n)(x - 1)) - v/2.

    Source: a lognormal law with the mean and variance of a mean of equal parts.
    """
    true = np.asarray(plants - off_types, float)
    total = true + off_types * multiple
    variance = np.log1p(np.square(plant_cv) * (true + off_types * np.square(multiple)) / total**2)
    return np.log(total / plants) - variance / 2.0, variance


def log_sd(
    plant_cv: Array | float, plants: Array | float, precision: Precision = PRECISION_THC
) -> Array | float:
    """Standard deviation of the logarithm of a result about that of its lot's truth.

    Parameters
    ----------
    plant_cv : relative standard deviation between plants of the lot [1]
    plants : plants in the composite
    precision : of the laboratory, for the substance in question

    Returns
    -------
    standard deviation of the log result [1], broadcast

    Equation: sqrt(cv^2/n + s_within^2 + s_between^2).

    Source: independent relative errors, for small values equal to log errors. A heavier tail than
    normal is likely (see the module); a lot's off-types are not in it.
    """
    squares = sd_composite(plant_cv, plants) ** 2
    return np.sqrt(squares + precision.repeatability**2 + precision.between_labs**2)


def off_type_chances(share: Array | float, plants: int) -> Array:
    """Chance that a composite holds 0, 1, ... `plants` off-type plants.

    Parameters
    ----------
    share : of the lot's plants that are off-type (chemotype II) [1]
    plants : plants in the composite

    Returns
    -------
    chance [1], shape of `share` with one more axis of plants + 1

    Equation: binomial, C(n, k) q^k (1 - q)^(n - k).

    Source: binomial law.
    Valid range: lots far larger than the sample.
    """
    count = np.arange(plants + 1)
    q = np.asarray(share)[..., None]
    return comb(plants, count) * q**count * (1.0 - q) ** (plants - count)


def off_type_rise(multiple: Array | float, off_types: Array | float, plants: int) -> Array | float:
    """Total THC of a composite with off-types over that of one without.

    Parameters
    ----------
    multiple : THC of an off-type plant over that of a true one [1]
    off_types : off-type plants in the composite
    plants : plants in the composite

    Returns
    -------
    ratio [1], broadcast

    Equation: 1 + (k/n)(x - 1).

    Source: mass balance of equal parts. With k/n the share of the whole lot, it is the lot's mean.
    """
    return 1.0 + (multiple - 1.0) * off_types / plants


def off_type_log_moments(
    share: Array | float, multiple: Array | float, plants: int
) -> tuple[Array, Array]:
    """Mean and variance of what off-types add to the log THC of a composite.

    Parameters
    ----------
    share : of the lot's plants that are off-type [1]
    multiple : THC of an off-type plant over that of a true one [1]
    plants : plants in the composite

    Returns
    -------
    mean, variance [1], broadcast

    Equation: moments of ln(1 + (k/n)(x - 1)), k binomial.

    Source: `off_type_chances`, `off_type_rise`.
    Departure: the law is two-humped, nothing or much; its two moments let a fit that knows only
    normal errors take a seed lot's results for as loose as they are.
    """
    chance = off_type_chances(share, plants)
    count = np.arange(plants + 1, dtype=float)
    rise = np.log(off_type_rise(np.asarray(multiple)[..., None], count, plants))
    mean = (chance * rise).sum(axis=-1)
    return mean, (chance * rise**2).sum(axis=-1) - mean**2
