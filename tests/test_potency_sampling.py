"""Error of a laboratory result against hand-worked values, scipy's laws and simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

import published_values
from tierpole import potency

PUBLISHED = published_values.load("potency")


def test_composite_against_worked_values():
    """Spread of composites of 1, 5 and 10 plants."""
    composite = PUBLISHED["composite"]
    sd = potency.sd_composite(composite["plant_sd"], np.array(composite["plants"]))
    assert sd == pytest.approx(composite["sd"], abs=5e-5)


def test_result_against_worked_value():
    """Two plants of a clone and the laboratory: 13.6 % in all."""
    worked = PUBLISHED["result"]
    precision = potency.Precision(worked["repeatability"], worked["between_labs"])
    sd = potency.log_sd(worked["plant_cv"], worked["plants"], precision)
    assert sd == pytest.approx(worked["log_sd"], abs=5e-4)


def test_off_type_mean_against_worked_value():
    """2 % off-types turn a passing seed lot into a failing one."""
    worked = PUBLISHED["off_type"]
    multiple = worked["off_type"] / worked["true_type"]
    mean = worked["true_type"] * potency.off_type_rise(multiple, worked["share"] * 100, 100)
    assert mean == pytest.approx(worked["mean"], abs=1e-9)


@given(st.just(0.0) | st.floats(1e-9, 1.0), st.integers(1, 30))
def test_off_type_chances_against_scipy(share, plants):
    """Chance of each number of off-types, against the binomial law of scipy."""
    chance = potency.off_type_chances(share, plants)
    assert chance == pytest.approx(binom.pmf(np.arange(plants + 1), plants, share), abs=1e-12)


def test_off_type_moments_simulated():
    """Mean and variance of the log rise against a million composites."""
    share, multiple, plants = 0.02, 14.0, 5
    count = np.random.default_rng(1).binomial(plants, share, 1_000_000)
    rise = np.log(1 + (multiple - 1) * count / plants)
    mean, variance = potency.off_type_log_moments(share, multiple, plants)
    assert mean == pytest.approx(rise.mean(), rel=0.01)
    assert variance == pytest.approx(rise.var(), rel=0.01)


@given(st.integers(1, 50), st.integers(1, 50), st.floats(0.01, 0.3))
def test_log_sd_limits(plants, more, plant_cv):
    """More plants never make a result less sure, and never surer than the laboratory."""
    few, many = potency.log_sd(plant_cv, plants), potency.log_sd(plant_cv, plants + more)
    assert np.hypot(0.04, 0.12) < many <= few


def test_clone_and_seed_limits():
    """Common practice, no source: composites of clones scatter less than those of seedlings."""
    clone, seed = (potency.STOCK_PRIOR[stock].plant_cv for stock in ("clone", "seed"))
    assert potency.sd_composite(clone, 3) < potency.sd_composite(seed, 3)
