"""How many plants, how many lots, and what rogueing buys: the design of sampling.

The federal table asks how many plants show a hot one; the test measures the mean of a pool. The two
answer different questions: a composite passes while single plants are over the limit, and a few
off-type plants fail a lot that would pass without them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, gammaln, ndtr

from tierpole.potency.sampling import off_type_rise

Array = NDArray[np.float64]


def chance_of_any(share: Array | float, plants: Array | int) -> Array:
    """Chance that at least one of the plants sampled is of a kind.

    Parameters
    ----------
    share : of the lot's plants that are of it: off-type, or over the limit [1]
    plants : plants sampled

    Returns
    -------
    chance [1], broadcast

    Equation: 1 - (1 - q)^n.

    Source: binomial law; CAC/GL 33-1999 as in the USDA Sampling Guidelines for Hemp (from memory).
    Valid range: lots far larger than the sample.
    """
    return -np.expm1(plants * np.log1p(-np.asarray(share, float)))


def share_shown(plants: Array | int, confidence: float) -> Array:
    """Smallest share of a kind that a sample shows with a confidence.

    Parameters
    ----------
    plants : plants sampled
    confidence : chance that at least one of the kind is among them [1]

    Returns
    -------
    share [1], shape of `plants`

    Equation: 1 - (1 - p)^(1/n), the inverse of `chance_of_any`.

    Source: binomial law.
    """
    return -np.expm1(np.log1p(-confidence) / np.asarray(plants, float))


def share_tolerated(thc: Array | float, off_type_thc: Array | float, limit: float) -> Array:
    """Share of off-type plants at which the mean of a lot reaches the limit.

    Parameters
    ----------
    thc : total THC of the true-to-type plants [share of dry weight]
    off_type_thc : of the off-type ones [share of dry weight]
    limit : what the mean may reach [share of dry weight]

    Returns
    -------
    share [1], between 0 and 1, broadcast

    Equation: (L - m) / (x - m).

    Source: mass balance of equal parts.
    """
    thc = np.asarray(thc, float)
    return np.clip((limit - thc) / (np.asarray(off_type_thc) - thc), 0.0, 1.0)


def share_over(thc: Array | float, plant_cv: Array | float, limit: float) -> Array:
    """Share of single plants over the limit in a lot of which only the mean is tested.

    Parameters
    ----------
    thc : mean total THC of the plants [share of dry weight]
    plant_cv : relative standard deviation between plants [1]
    limit : [share of dry weight]

    Returns
    -------
    share [1], broadcast

    Equation: Phi((ln(m/L) - v/2)/sqrt(v)), v = ln(1 + cv^2).

    Source: lognormal law with that mean and deviation; inference.
    """
    variance = np.log1p(np.square(plant_cv))
    return ndtr((np.log(np.asarray(thc) / limit) - variance / 2.0) / np.sqrt(variance))


def share_rogued(
    share: Array | float, found: float, passes: Array | NDArray[np.integer] | int
) -> Array:
    """Share of off-types left after walking the lot and pulling what is seen.

    Parameters
    ----------
    share : of off-type plants before [1]
    found : share of them that one pass finds [1]
    passes : times the lot is walked

    Returns
    -------
    share of the plants left [1], broadcast

    Equation: q (1 - d)^k / (1 - q + q (1 - d)^k).

    Source: counting; assumes no true plant is pulled and each pass finds as well as the first.
    """
    left = np.asarray(share, float) * (1.0 - found) ** np.asarray(passes)
    return left / (1.0 - np.asarray(share) + left)


@dataclass(frozen=True)
class Rogueing:
    """What walking the lot buys, by passes [pass], none first.

    `share` of off-types left, `chance_in_sample` that the composite holds one, and `thc`, the mean
    total THC of the lot [share of dry weight].
    """

    share: Array
    chance_in_sample: Array
    thc: Array


def rogueing(
    thc: float, off_type_thc: float, share: float, found: float, plants: int, most_passes: int
) -> Rogueing:
    """What 0, 1, ... passes buy for a lot whose composite has so many plants."""
    left = share_rogued(share, found, np.arange(most_passes + 1))
    mean = thc * np.asarray(off_type_rise(off_type_thc / thc, left, 1))
    return Rogueing(left, chance_of_any(left, plants), mean)


# --- sampling of lots, where a plan approved by performance allows it ----------------------------


def chance_all_good(lots: int, bad: int, sampled: int) -> float:
    """Chance that a sample of lots holds none of the bad ones.

    Parameters
    ----------
    lots, bad, sampled : lots in all, over the limit, and drawn at random without return

    Returns
    -------
    chance [1]

    Equation: C(N - B, n) / C(N, n).

    Source: hypergeometric law.
    """
    good = lots - bad
    if sampled > good:
        return 0.0
    logs = gammaln(good + 1) - gammaln(good - sampled + 1) - gammaln(lots + 1)
    return float(np.exp(logs + gammaln(lots - sampled + 1)))


def lots_to_sample(lots: int, share: float, confidence: float) -> int:
    """Fewest lots that show, with a confidence, that no more than a share of them is bad.

    Parameters
    ----------
    lots : lots in all
    share : of bad lots that must not go unseen [1]; at least one lot
    confidence : chance to draw at least one of so many [1]

    Returns
    -------
    lots to draw

    Equation: smallest n with 1 - C(N - B, n)/C(N, n) >= p, B = ceil(share N).

    Source: discovery sampling by the hypergeometric law, as performance-based plans must "ensure,
    at a confidence level of 95 percent" (7 CFR 990.3(a)(2)(iii), from memory).
    """
    bad = max(1, int(np.ceil(round(share * lots, 9))))
    allowed = 1.0 - confidence
    sizes = range(1, lots + 1)
    return next(n for n in sizes if chance_all_good(lots, bad, n) <= allowed + 1e-12)


def most_failing(sampled: int, failed: int, confidence: float) -> float:
    """Largest share of lots over the limit that the record of a grower does not rule out.

    Parameters
    ----------
    sampled, failed : lots sampled so far, and those over the limit
    confidence : one-sided [1]

    Returns
    -------
    share [1]

    Equation: the q at which P(at most k of n) = 1 - p; 1 - (1 - p)^(1/n) without a fail.

    Source: Clopper & Pearson 1934, Biometrika 26:404, upper limit (from memory).
    """
    if failed >= sampled:
        return 1.0
    return float(betaincinv(failed + 1.0, sampled - failed, confidence))
