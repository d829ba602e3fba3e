"""Design of sampling against scipy's laws, rules of counting and the compliance engine."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta, binom, hypergeom, lognorm

import published_values
from tierpole.compliance.plants import plants_unlimited
from tierpole.potency import design

PUBLISHED = published_values.load("potency")


@given(st.floats(1e-6, 0.5), st.integers(1, 400))
def test_chance_of_any_against_scipy(share, plants):
    """One of a kind among the sampled plants, against the binomial law, and back again."""
    chance = design.chance_of_any(share, plants)
    assert chance == pytest.approx(binom.sf(0, plants, share), rel=1e-9)
    if chance < 1 - 1e-9:
        assert design.share_shown(plants, float(chance)) == pytest.approx(share, rel=1e-5)


@pytest.mark.parametrize(("confidence", "share"), [(0.95, 0.01), (0.80, 0.20), (0.95, 0.10)])
def test_plants_against_sampling_guideline(confidence, share):
    """The federal number of plants, unlimited, is the fewest that show the share."""
    plants = plants_unlimited(confidence, share)
    assert design.chance_of_any(share, plants) >= confidence
    assert design.chance_of_any(share, plants - 1) < confidence
    assert design.share_shown(plants, confidence) <= share


def test_tolerated_share_against_worked_value():
    """In a lot of 0.25 % THC, 2 % of off-types at 3.5 % bring the mean to 0.315 %."""
    worked = PUBLISHED["off_type"]
    share = design.share_tolerated(worked["true_type"], worked["off_type"], worked["mean"])
    assert float(share) == pytest.approx(worked["share"], abs=1e-9)
    assert design.share_tolerated(0.35, 3.5, 0.30) == 0.0


@given(st.floats(0.001, 0.006), st.floats(0.02, 0.4))
def test_plants_over_against_scipy(thc, plant_cv):
    """Single plants over the limit in a lot known by its mean, against scipy's lognormal law."""
    shape = np.sqrt(np.log1p(plant_cv**2))
    law = lognorm(shape, scale=thc * np.exp(-(shape**2) / 2))
    assert law.mean() == pytest.approx(thc)
    assert float(design.share_over(thc, plant_cv, 0.003)) == pytest.approx(law.sf(0.003), abs=1e-9)


def test_rogueing_simulated():
    """Passes through a lot of a million plants, each pulling 60 % of the off-types it meets."""
    rng = np.random.default_rng(1)
    true, off = 980_000, 20_000
    for passes in range(4):
        assert float(design.share_rogued(0.02, 0.6, passes)) == pytest.approx(
            off / (true + off), rel=0.05
        )
        off -= rng.binomial(off, 0.6)


def test_rogueing_limits():
    """Each pass lowers the share, the chance to sample an off-type, and the mean, towards that of
    true plants."""
    bought = design.rogueing(0.0025, 0.035, 0.02, 0.6, plants=5, most_passes=3)
    for quantity in (bought.share, bought.chance_in_sample, bought.thc):
        assert (np.diff(quantity) < 0.0).all()
    assert bought.thc[0] == pytest.approx(0.00315)
    assert bought.thc[-1] > 0.0025


@given(st.integers(2, 60), st.data())
def test_lots_against_scipy(lots, data):
    """A sample of lots without a bad one, against the hypergeometric law."""
    bad = data.draw(st.integers(1, lots))
    sampled = data.draw(st.integers(0, lots))
    exact = hypergeom.pmf(0, lots, bad, sampled)
    assert design.chance_all_good(lots, bad, sampled) == pytest.approx(exact, abs=1e-10)


@pytest.mark.parametrize(("lots", "share"), [(10, 0.1), (40, 0.05), (200, 0.02), (7, 0.01)])
def test_lots_to_sample_against_scipy(lots, share):
    """The fewest lots that find one of the bad ones with 95 % confidence."""
    bad = max(1, int(np.ceil(round(share * lots, 9))))
    fewest = design.lots_to_sample(lots, share, 0.95)
    assert hypergeom.sf(0, lots, bad, fewest) >= 0.95 - 1e-9
    assert fewest == 1 or hypergeom.sf(0, lots, bad, fewest - 1) < 0.95


@given(st.integers(1, 200), st.data())
def test_most_failing_against_scipy(sampled, data):
    """The upper limit of Clopper and Pearson, by the beta law and by what it means."""
    failed = data.draw(st.integers(0, sampled))
    most = design.most_failing(sampled, failed, 0.95)
    if failed == sampled:
        assert most == 1.0
        return
    assert most == pytest.approx(beta.ppf(0.95, failed + 1, sampled - failed), rel=1e-9)
    assert binom.cdf(failed, sampled, most) == pytest.approx(0.05, abs=1e-6)


def test_record_against_rule_of_three():
    """After n lots without a fail, at 95 %, no more than about 3/n fail."""
    for sampled in (30, 100, 300):
        assert design.most_failing(sampled, 0, 0.95) == pytest.approx(3.0 / sampled, rel=0.05)
