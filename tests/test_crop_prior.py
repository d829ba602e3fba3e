"""Draws of the crop: their middles, spreads and what lots share."""

import numpy as np
import pytest
from scipy.stats import beta

from tierpole import crop
from tierpole.farm import Response, Stock, Variety

DRAWS = 20_000


def flowering(variety, lots=(0, 0), seed=1):
    prior = crop.flowering_prior(variety)
    return crop.draw_flowering([prior], np.array(lots), DRAWS, np.random.default_rng(seed))


def test_stated_values_limits():
    """What the farm states replaces the middle and spread of the kind."""
    stated = crop.flowering_prior(
        Variety(name="A", critical_day_length=14.9, critical_day_length_sd=0.05, inductive_days=10)
    )
    assert (stated.critical, stated.critical_sd, stated.inductive_days) == (14.9, 0.05, 10)
    unknown = crop.flowering_prior(Variety(name="B"))
    assert unknown.critical_sd > 2 * stated.critical_sd
    assert unknown.slope_log_sd == pytest.approx(3 * stated.slope_log_sd)


def test_day_neutral_limits():
    """Day length never matters; 30 days at full rate, give or take four."""
    draws = flowering(Variety(name="A", response=Response.DAY_NEUTRAL))
    assert np.isinf(draws.critical).all()
    assert np.median(draws.inductive_days) == pytest.approx(30.0, rel=0.01)
    assert draws.inductive_days.std() == pytest.approx(4.0, rel=0.05)


def test_flowering_draws_simulated():
    """Lots of one variety share all but their own residual; another variety shares nothing."""
    priors = [crop.flowering_prior(Variety(name=name)) for name in "AB"]
    draws = crop.draw_flowering(priors, np.array([0, 0, 1]), DRAWS, np.random.default_rng(2))
    assert np.array_equal(draws.critical[:, 0], draws.critical[:, 1])
    assert draws.critical[:, 0].mean() == pytest.approx(priors[0].critical, abs=0.01)
    assert draws.critical[:, 0].std() == pytest.approx(priors[0].critical_sd, rel=0.03)
    assert np.median(draws.slope[:, 0]) == pytest.approx(priors[0].slope, rel=0.02)
    prior = priors[0]
    shared = prior.lag_sd**2 + prior.year_sd**2
    correlation = np.corrcoef(draws.lag, rowvar=False)
    assert draws.lag.std(axis=0) == pytest.approx(np.hypot(np.sqrt(shared), prior.lot_sd), rel=0.03)
    assert correlation[0, 1] == pytest.approx(shared / (shared + prior.lot_sd**2), abs=0.03)
    assert abs(correlation[0, 2]) < 0.03


def test_mass_draws_simulated():
    """Medians and spreads as asked; half of the variance is common to all lots."""
    median, spread = np.array([0.37, 0.15]), np.array([0.35, 0.20])
    mass = crop.draw_mass(median, DRAWS, np.random.default_rng(3), spread)
    assert np.median(mass, axis=0) == pytest.approx(median, rel=0.02)
    assert np.log(mass).std(axis=0) == pytest.approx(spread, rel=0.03)
    assert np.corrcoef(np.log(mass), rowvar=False)[0, 1] == pytest.approx(0.5, abs=0.03)


def test_loss_draws_simulated():
    """Each law against its stated middle; 3 in 10 years bring a flight of moths."""
    draws = crop.draw_losses(DRAWS, np.random.default_rng(4))
    assert np.median(draws.mould_rate) == pytest.approx(0.010, rel=0.03)
    assert np.median(draws.shatter_rate) == pytest.approx(0.003, rel=0.03)
    assert draws.frost_half.mean() * 1.8 + 32 == pytest.approx(25.5, abs=0.02)
    assert draws.frost_most.mean() == pytest.approx(0.30, abs=0.005)
    assert draws.caterpillar_loss.mean() == pytest.approx(0.3 * 0.08 + 0.7 * 0.01, abs=0.001)
    heavy = (draws.caterpillar_loss > 0.05).mean()
    assert heavy == pytest.approx(0.3 * beta.sf(0.05, 1.6, 18.4), abs=0.01)
    for rate in (draws.frost_most, draws.mould_growth, draws.caterpillar_loss):
        assert ((rate > 0) & (rate < 1)).all()


def test_same_seed_limits():
    """Same seed, same answer."""
    first, second = (flowering(Variety(name="A"), seed=9) for _ in range(2))
    assert np.array_equal(first.lag, second.lag)


def test_plant_spread_limits():
    """Common practice, no source: seedlings of a lot flower less evenly than its clones."""
    assert crop.PLANT_SPREAD[Stock.CLONE] < crop.PLANT_SPREAD[Stock.SEED]
