"""Does the forecast know what it does not know? Ranks and bands over simulated farms.

Small here; `benchmarks/prove_forecast.py` runs the same at full size.
"""

from functools import cache

import numpy as np
import pytest
from scipy.stats import binom, chisquare

import potency_truth as truth
from tierpole import potency
from tierpole.farm import Stock

FARMS = {Stock.CLONE: 60, Stock.SEED: 30}
LATER = 45.0  # days after the usual flower day, a week beyond the last certificate
QUICK = potency.Effort(chains=64, groups=4, warm_sweeps=8, kept_sweeps=8, most_rounds=1)
PLAN = tuple(
    truth.Planned(lot, tau, laboratory=laboratory)
    for lot in range(2)
    for tau, laboratory in ((21.0, "north"), (30.0, "north"), (38.0, "south"))
)


@cache
def ranks(stock):
    """Rank of the true THC among the forecast's draws [farm, lot], of two lots of two varieties."""
    found = []
    for seed in range(FARMS[stock]):
        rng = np.random.default_rng([seed, 40])
        farm = truth.draw_farm(rng, (0, 1), PLAN, stock)
        after = potency.update(farm.draws, farm.flower_day, farm.tests, rng, effort=QUICK)
        found.append([rank(farm, after, lot) for lot in range(2)])
    return np.array(found)


def rank(farm, after, lot):
    day = farm.usual_day(lot, LATER)
    curves = potency.Curves.of(after.draws.normal[:, lot])
    thc = curves.thc(day - after.flower_day[:, lot])
    return (thc < farm.lots[lot].thc(day)).mean()


@pytest.mark.parametrize("stock", list(Stock))
def test_bands_simulated(stock):
    """The 90 % band holds the truth about nine times in ten: no count that chance would give less
    than once in a thousand."""
    inside = int(((ranks(stock) > 0.05) & (ranks(stock) < 0.95)).sum())
    count = ranks(stock).size
    assert binom.cdf(inside, count, 0.9) > 0.0005
    assert binom.sf(inside - 1, count, 0.9) > 0.0005


def test_ranks_simulated():
    """Ranks of the truth are even: neither too sure nor too wide, neither high nor low."""
    every = np.concatenate([ranks(stock) for stock in Stock])
    for lot in range(2):  # lots of one farm share a laboratory: each is judged on its own
        counts = np.histogram(every[:, lot], bins=6, range=(0.0, 1.0))[0]
        assert chisquare(counts).pvalue > 0.001
