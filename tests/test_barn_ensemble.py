"""The ensemble filter against the exact Kalman filter, and what it must never do."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tierpole.barn import ensemble


def linear_case(seed: int, members: int = 40):
    """Members with an exactly known mean and covariance, and linear readings of them."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((members, 4)) @ rng.standard_normal((4, 4)) + [1.0, -2.0, 0.5, 3.0]
    h = rng.standard_normal((3, 4))
    value, error = rng.standard_normal(3) * 2, rng.uniform(0.2, 2.0, 3)
    return x, h, value, error


def kalman(x, h, value, error):
    """Textbook Kalman update of the sample mean and covariance, all readings at once."""
    mean, p = x.mean(axis=0), np.cov(x, rowvar=False)
    gain = p @ h.T @ np.linalg.inv(h @ p @ h.T + np.diag(error**2))
    return mean + gain @ (value - h @ mean), (np.eye(mean.size) - gain @ h) @ p


@pytest.mark.parametrize("seed", range(5))
def test_assimilate_against_kalman_1960(seed):
    """Mean and covariance after three linear readings are the exact Kalman filter's (Kalman 1960,
    J. Basic Eng. 82:35-45), to rounding."""
    x, h, value, error = linear_case(seed)
    after = ensemble.assimilate(x, x @ h.T, value, error, tapered=False)
    mean, covariance = kalman(x, h, value, error)
    assert after.mean(axis=0) == pytest.approx(mean, rel=1e-9, abs=1e-9)
    assert np.cov(after, rowvar=False) == pytest.approx(covariance, rel=1e-8, abs=1e-9)


def test_assimilate_against_kalman_1960_step_by_step():
    """A random walk filtered over thirty noisy readings keeps the exact filter's mean and variance
    (scalar Riccati recursion, Kalman 1960)."""
    rng = np.random.default_rng(3)
    x = rng.standard_normal((60, 1)) * 2 + 1
    mean, variance = float(x.mean()), float(x.var(ddof=1))
    for read in rng.standard_normal(30):
        x = 1.2 * x - 0.1
        mean, variance = 1.2 * mean - 0.1, 1.44 * variance
        x = ensemble.assimilate(x, x, [read], [0.7], tapered=False)
        gain = variance / (variance + 0.49)
        mean, variance = mean + gain * (read - mean), (1 - gain) * variance
    assert float(x.mean()) == pytest.approx(mean, rel=1e-9)
    assert float(x.var(ddof=1)) == pytest.approx(variance, rel=1e-9)


def test_assimilate_against_bayes_on_a_grid():
    """A large ensemble meets the posterior of two correlated normals summed on a grid with SciPy's
    density."""
    rng = np.random.default_rng(0)
    cov = np.array([[1.0, 0.7], [0.7, 2.0]])
    x = rng.multivariate_normal([0, 1], cov, 40_000)
    after = ensemble.assimilate(x, x[:, :1] + x[:, 1:], [3.0], [0.8])
    grid = np.stack(np.meshgrid(*[np.linspace(-6, 8, 561)] * 2, indexing="ij"), axis=-1)
    weight = multivariate_normal([0, 1], cov).pdf(grid)
    weight *= np.exp(-0.5 * ((grid.sum(-1) - 3.0) / 0.8) ** 2)
    weight /= weight.sum()
    mean = (grid * weight[..., None]).sum((0, 1))
    sd = np.sqrt(((grid - mean) ** 2 * weight[..., None]).sum((0, 1)))
    assert after.mean(axis=0) == pytest.approx(mean, abs=4 * 1.5 / 200)  # Monte Carlo, 4 SE
    assert after.std(axis=0) == pytest.approx(sd, rel=0.02)


def test_assimilate_limits():
    """A reading never widens what it is about; one with boundless error says nothing; one that is
    exact is met; what goes with nothing read stays where it was."""
    rng = np.random.default_rng(1)
    x = rng.standard_normal((100, 3))
    x[:, 2] = 5.0
    after = ensemble.assimilate(x, x[:, :1], [0.4], [0.3])
    assert after[:, 0].std() < x[:, 0].std()
    assert np.all(after.std(axis=0) <= x.std(axis=0) + 1e-12)
    assert after[:, 2] == pytest.approx(np.full(100, 5.0))
    assert ensemble.assimilate(x, x[:, :1], [9.0], [1e9]) == pytest.approx(x, abs=1e-6)
    exact = ensemble.assimilate(x, x[:, :1], [0.4], [0.0], tapered=False)
    assert exact[:, 0] == pytest.approx(np.full(100, 0.4), abs=1e-9)
    same = np.full((100, 1), 2.0)
    assert np.array_equal(ensemble.assimilate(x, same, [9.0], [0.1]), x)


def test_sampling_taper_limits():
    """A perfect correlation among many members is believed, one of chance size hardly."""
    assert ensemble.sampling_taper(1.0, 1_000) > 0.997
    assert ensemble.sampling_taper(0.05, 50) < 0.12
    rising = ensemble.sampling_taper(np.linspace(0, 1, 11), 50)
    assert np.all(np.diff(rising) > 0)
    assert np.array_equal(ensemble.sampling_taper([-0.4], 20), ensemble.sampling_taper([0.4], 20))


def test_deviation_factor_limits():
    """From one half where the reading says nothing to one where it says all."""
    assert ensemble.deviation_factor(1e-12, 1.0) == pytest.approx(0.5)
    assert ensemble.deviation_factor(1.0, 0.0) == pytest.approx(1.0)


def test_relaxed_limits():
    """Relaxing gives back its share of the lost spread and leaves the mean alone."""
    rng = np.random.default_rng(2)
    before = rng.standard_normal((50, 2))
    after = before * 0.5 + 1
    back = ensemble.relaxed(after, before, 0.2)
    assert back.mean(axis=0) == pytest.approx(after.mean(axis=0))
    assert back.std(axis=0) == pytest.approx(before.std(axis=0) * 0.6)
    assert ensemble.relaxed(after, before, 0.0) == pytest.approx(after)


def test_is_gross_limits():
    """Only what no member and no error can explain is gross."""
    predicted = np.random.default_rng(4).standard_normal((200, 3))
    gross = ensemble.is_gross(predicted, [0.5, 30.0, 4.5], [0.1, 1.0, 5.0])
    assert gross.tolist() == [False, True, False]
