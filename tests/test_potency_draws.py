"""Draws of potency: prior predictive against worked quantiles, a hot-prone lot, what lots share."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

import published_values
from tierpole import potency
from tierpole.farm import Response, Stock, Variety

PUBLISHED = published_values.load("potency")
LIMIT = 0.003
KNOWN = potency.PotencyPrior(cbd_plateau_sd=0.0, cbd_to_thc_sd=0.0, site_plateau_sd=0.0)


def lots(*variety, stock=Stock.CLONE, thc_factor=1.0):
    count = len(variety)
    return potency.PotencyLots(np.array(variety), (stock,) * count, np.full(count, thc_factor))


def draw(priors, of_lots, count=20_000, seed=1):
    return potency.draw_potency(priors, of_lots, count, np.random.default_rng(seed))


def first_day_above(curves, limit=LIMIT):
    """First whole day of flowering above the limit, [draw]; infinite if none."""
    days = np.arange(0.0, 120.0)
    above = curves.thc(days[:, None]) > limit
    return np.where(above.any(axis=0), days[above.argmax(axis=0)], np.inf)


def test_prior_predictive_against_worked_values():
    """How high THC peaks and when it passes 0.3 %, knowing nothing of the variety."""
    worked = PUBLISHED["prior"]
    prior = replace(
        potency.PotencyPrior(), season_plateau_sd=0.0, season_ratio_sd=0.0, site_plateau_sd=0.0
    )
    law = potency.potency_law([prior], lots(0))
    standard = np.random.default_rng(2).standard_normal((40_000, law.mean.size))
    curves = potency.Curves.of(law.mean[0] + law.shared_sd[0] * standard)
    peaks = np.quantile(curves.thc_peak, [0.1, 0.5, 0.9]) * 100
    assert peaks == pytest.approx(worked["thc_peak"], abs=0.01)
    first = first_day_above(curves)
    assert np.quantile(first, worked["crossing_share"]) == pytest.approx(
        worked["crossing_day"], abs=1.0
    )
    assert (first <= 50).mean() == pytest.approx(worked["by_50_days"], abs=0.02)
    assert np.isinf(first).mean() == pytest.approx(worked["never"], abs=0.02)


def test_hot_lot_against_worked_chances():
    """A lot 6 % above its variety: chance that the truth is over, and that a sample passes."""
    hot = PUBLISHED["hot_lot"]
    prior = replace(
        KNOWN,
        cbd_plateau=hot["cbd_plateau"] / 100,
        cbd_to_thc=hot["cbd_to_thc"],
        peak_day_sd=hot["peak_day_sd"],
    )
    draws = draw([prior], lots(0, thc_factor=hot["thc_factor"]), 40_000)
    flower = np.random.default_rng(3).normal(0.0, hot["flower_sd"], (40_000, 1))
    _, thc = potency.curves(draws, flower, np.array(hot["days"], float))
    spread = potency.log_sd(0.07, hot["plants"])
    room = (hot["limit"] + hot["allowance"]) / 100 / thc[:, 0] - 1
    assert (thc[:, 0] > LIMIT).mean(axis=0) == pytest.approx(hot["crossed"], abs=0.01)
    assert norm.cdf(room / spread).mean(axis=0) == pytest.approx(hot["passes"], abs=0.01)


def test_lots_of_a_variety_simulated():
    """Lots share variety, site and season; clones scatter less than seed (common practice)."""
    spread = {}
    for stock in Stock:
        level = np.log(draw([potency.PotencyPrior()], lots(0, 0, stock=stock)).curves.cbd_plateau)
        spread[stock] = (level[:, 0] - level[:, 1]).std()
        shared = 0.25**2 + 0.10**2 + 0.10**2
        own = potency.STOCK_PRIOR[stock].lot_plateau_sd ** 2
        correlation = np.corrcoef(level, rowvar=False)[0, 1]
        assert correlation == pytest.approx(shared / (shared + own), abs=0.02)
    assert spread[Stock.CLONE] < spread[Stock.SEED]


def test_two_varieties_simulated():
    """Lots of two varieties share nothing."""
    level = np.log(draw([potency.PotencyPrior()] * 2, lots(0, 1)).curves.thc_peak)
    assert abs(np.corrcoef(level, rowvar=False)[0, 1]) < 0.03


def test_plants_simulated():
    """Common practice, no source: plants of a clone differ less than seedlings, which alone have
    off-types."""
    clone, seed = (draw([KNOWN], lots(0, stock=stock)) for stock in (Stock.CLONE, Stock.SEED))
    assert np.median(clone.plant_cv) == pytest.approx(0.07, rel=0.02)
    assert np.median(seed.plant_cv) == pytest.approx(0.18, rel=0.02)
    assert (clone.off_type_share == 0.0).all()
    assert seed.off_type_share.mean() == pytest.approx(0.5 / 60.5, rel=0.05)
    off_type_thc = seed.off_type_multiple * KNOWN.cbd_plateau / KNOWN.cbd_to_thc
    assert ((off_type_thc >= 0.02) & (off_type_thc <= 0.06)).all()


def test_thc_factor_limits():
    """A lot's factor raises its THC by just that and leaves CBD alone."""
    plain, hot = (draw([KNOWN], lots(0, thc_factor=factor), 50) for factor in (1.0, 1.06))
    assert hot.curves.thc_peak == pytest.approx(1.06 * plain.curves.thc_peak)
    assert np.array_equal(hot.curves.cbd_plateau, plain.curves.cbd_plateau)


def test_stated_values_limits():
    """What the farm states replaces the middle; a stated spread already holds the site's."""
    variety = Variety(name="A", cbd_plateau=0.098, cbd_plateau_sd=0.1, cbd_to_thc=25.5)
    prior = potency.potency_prior(variety)
    assert (prior.cbd_plateau, prior.cbd_plateau_sd, prior.cbd_to_thc) == (0.098, 0.1, 25.5)
    assert prior.site_plateau_sd == 0.0
    unknown = potency.potency_prior(Variety(name="B", response=Response.DAY_NEUTRAL))
    assert unknown.site_plateau_sd > 0.0
    assert unknown.peak_day < prior.peak_day


def test_curves_limits():
    """A window of days is a window of the season; curves are those of the formulas."""
    draws = draw([KNOWN, potency.PotencyPrior()], lots(0, 1), 20)
    flower = np.random.default_rng(4).normal(130.0, 5.0, (20, 2))
    season = potency.curves(draws, flower, np.arange(275.0))
    window = potency.curves(draws, flower, np.arange(150.0, 200.0))
    for whole, part in zip(season, window, strict=True):
        assert whole.dtype == np.float32
        assert np.array_equal(whole[:, :, 150:200], part)
    of = draws.curves
    one = potency.thc_course(
        np.array(180.0 - flower[3, 1]),
        of.thc_peak[3, 1],
        of.peak_day[3, 1],
        of.steepest[3, 1],
        of.fall[3, 1],
    )
    assert season[1][3, 1, 180] == pytest.approx(float(one), rel=1e-6)


def test_extreme_draws_limits():
    """Curves stay defined and finite when a farm is very unsure of the peak day."""
    draws = draw([replace(potency.PotencyPrior(), peak_day_sd=20.0, steepest_sd=0.5)], lots(0))
    cbd, thc = potency.curves(draws, np.full((20_000, 1), 130.0), np.array([120.0, 160.0, 200.0]))
    assert np.isfinite(cbd).all()
    assert np.isfinite(thc).all()
    assert (thc[:, 0, 0] == 0.0).all()
