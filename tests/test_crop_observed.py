"""Shifting a lot's draws by what was seen of its flowering."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, norm

from tierpole import crop

MEAN, SD, SPREAD = 130.0, 4.0, 2.5


def draws(count=2000):
    """Draws whose mean and deviation are exactly MEAN and SD."""
    quantile = norm.ppf((np.arange(count) + 0.5) / count)
    return MEAN + SD * quantile / quantile.std()


def posterior_by_sum(in_flower, looked_at, day):
    """Mean and deviation by plain summation over a fine grid, with scipy's laws."""
    grid = np.linspace(MEAN - 10 * SD, MEAN + 10 * SD, 40_001)
    weight = norm.pdf(grid, MEAN, SD) * binom.pmf(
        in_flower, looked_at, norm.cdf((day - grid) / SPREAD)
    )
    mean = np.average(grid, weights=weight)
    return mean, np.sqrt(np.average((grid - mean) ** 2, weights=weight))


@pytest.mark.parametrize(
    ("in_flower", "looked_at", "day"),
    [(10, 20, 133.0), (3, 20, 131.0), (0, 20, 130.0), (20, 20, 128.0), (0, 1, 126.0)],
)
def test_count_against_bayes_by_summation(in_flower, looked_at, day):
    """Also for none or all in flower, where no single date is implied."""
    shifted = crop.shift_counted(draws(), day, in_flower, looked_at, SPREAD)
    mean, sd = posterior_by_sum(in_flower, looked_at, day)
    assert shifted.mean() == pytest.approx(mean, abs=0.02)
    assert shifted.std() == pytest.approx(sd, rel=0.02)


@pytest.mark.parametrize("in_flower", [0, 6, 20])
def test_judged_count_against_bayes_by_summation(in_flower):
    """An eye two days off: the likelihood is summed over its errors as well as over the day."""
    errors = np.linspace(-10.0, 10.0, 401)
    grid = np.linspace(MEAN - 8 * SD, MEAN + 8 * SD, 2001)
    seen = norm.cdf((131.0 - grid[:, None] - errors) / SPREAD)
    likelihood = binom.pmf(in_flower, 20, seen) @ norm.pdf(errors, 0.0, 2.0)
    weight = norm.pdf(grid, MEAN, SD) * likelihood
    mean = np.average(grid, weights=weight)
    sd = np.sqrt(np.average((grid - mean) ** 2, weights=weight))
    shifted = crop.shift_counted(draws(), 131.0, in_flower, 20, SPREAD, judgement=2.0)
    assert shifted.mean() == pytest.approx(mean, abs=0.02)
    assert shifted.std() == pytest.approx(sd, rel=0.02)
    sure = crop.shift_counted(draws(), 131.0, in_flower, 20, SPREAD)
    assert shifted.std() > 1.05 * sure.std()


@given(
    in_flower=st.integers(0, 30),
    more=st.integers(0, 20),
    day=st.floats(120.0, 140.0),
    judgement=st.sampled_from([0.0, 2.0]),
)
def test_count_limits(in_flower, more, day, judgement):
    """Order is kept, and one more plant in flower never makes the lot later."""
    before = draws(50)
    looked_at = in_flower + more + 1
    fewer = crop.shift_counted(before, day, in_flower, looked_at, SPREAD, judgement)
    greater = crop.shift_counted(before, day, in_flower + 1, looked_at, SPREAD, judgement)
    assert (np.diff(fewer) >= 0).all()
    assert (greater <= fewer + 1e-9).all()


def test_far_count_moves_nothing_limits():
    """None in flower three weeks before the earliest draw says nothing."""
    before = draws(200)
    assert crop.shift_counted(before, 90.0, 0, 20, SPREAD) == pytest.approx(before, abs=1e-3)


def test_certain_lot_limits():
    """Draws without spread stay where they are."""
    same = np.full(10, MEAN)
    assert np.array_equal(crop.shift_counted(same, 120.0, 5, 10, SPREAD), same)


def test_sister_lots_simulated():
    """A lot that shares 3 of 4 parts of its variance follows by three quarters; others stay."""
    rng = np.random.default_rng(3)
    common = rng.normal(0.0, np.sqrt(12.0), 20_000)
    own = rng.normal(0.0, 2.0, (20_000, 2))
    stranger = rng.normal(0.0, 4.0, 20_000)
    days = MEAN + np.column_stack([common + own[:, 0], common + own[:, 1], stranger])
    shifted = 137.0 + 0.25 * (days[:, 0] - 137.0)  # seen a week late, and closely
    moved = crop.carry_shift(days, 0, shifted) - days
    assert np.array_equal(moved[:, 0] + days[:, 0], shifted)
    assert moved[:, 1].mean() == pytest.approx(0.75 * moved[:, 0].mean(), rel=0.03)
    assert abs(moved[:, 2].mean()) < 0.15
