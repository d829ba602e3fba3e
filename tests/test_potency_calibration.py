"""Does the forecast know what it does not know? Ranks, bands and chances over simulated farms.

Small here; `benchmarks/prove_forecast.py` runs the same at full size.
"""

from functools import cache

import numpy as np
import pytest
from scipy.stats import binom

import forecast_scores as scores
from tierpole import potency
from tierpole.farm import Stock

FARMS = {Stock.CLONE: 50, Stock.SEED: 30}
QUICK = potency.Effort(chains=64, groups=4, warm_sweeps=8, kept_sweeps=8, most_rounds=1)
LEVELS = np.linspace(0.02, 0.98, 49)


@cache
def judged(stock):
    """Scores of farms of clones or of seed."""
    return tuple(scores.score(seed, QUICK, stock) for seed in range(FARMS[stock]))


def of_all(stock, name):
    return np.stack([getattr(score, name) for score in judged(stock)])


@pytest.mark.parametrize("stock", list(Stock))
def test_bands_simulated(stock):
    """The 90 % band of THC holds the truth about nine times in ten, in the first lot of each of
    two varieties: no count that chance would give less than once in a thousand."""
    ranks = of_all(stock, "rank")[:, 0, ::2]
    inside = int(((ranks > 0.05) & (ranks < 0.95)).sum())
    assert binom.cdf(inside, ranks.size, 0.9) > 0.0005
    assert binom.sf(inside - 1, ranks.size, 0.9) > 0.0005


@pytest.mark.parametrize("quantity", scores.QUANTITIES)
def test_ranks_simulated(quantity):
    """Ranks of the truth are even, neither too sure nor too wide, neither high nor low: the band
    that 999 of 1,000 sets of even ranks stay within, one lot of each farm."""
    place = scores.QUANTITIES.index(quantity)
    ranks = np.concatenate([of_all(stock, "rank")[:, place, 0] for stock in Stock])
    band = scores.reach(ranks.size, LEVELS, 0.999)
    assert (np.abs(scores.stray(ranks, LEVELS)) < band).all()


def test_band_against_kolmogorov():
    """The band of even ranks, against the one of Kolmogorov and Smirnov that is equally wide at
    all levels: as wide in the middle, narrower at the ends."""
    middle, end = scores.reach(400, LEVELS)[[24, 1]]
    even = 1.358 / np.sqrt(400)  # 95 %, large samples
    assert middle == pytest.approx(even, rel=0.15)
    assert end < 0.6 * even


def test_skill_simulated():
    """P(pass) of official samples, by Brier's score: better than each simpler way to guess and than
    the same before any test; a quarter better than the share that passed, said of all."""
    said, passed = of_all(Stock.CLONE, "p_pass"), of_all(Stock.CLONE, "passed")
    ours = scores.brier(said, passed)
    guess = scores.with_base_rates(of_all(Stock.CLONE, "guess"), passed)
    for place, name in enumerate(scores.BASELINES):
        assert ours < scores.brier(guess[:, place], passed), name
    assert ours < scores.brier(of_all(Stock.CLONE, "p_before"), passed)
    assert ours < 0.75 * passed.var()


def test_reliability_simulated():
    """Of samples said to pass in about so many of 100, about so many pass, counted by farms."""
    said, passed = of_all(Stock.CLONE, "p_pass"), of_all(Stock.CLONE, "passed")
    for low, high in ((0.0, 0.2), (0.2, 0.8), (0.8, 1.0)):
        here = (said >= low) & (said <= high)
        miss = np.where(here, passed - said, 0.0).sum(axis=(1, 2))
        assert abs(miss.sum()) < 3.5 * np.sqrt(np.square(miss).sum())
