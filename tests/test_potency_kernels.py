"""Parts of the forecast against differences, scipy, and results worked out by hand."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.special import ndtr
from scipy.stats import lognorm, multivariate_t, norm
from scipy.stats import t as student

import potency_truth as truth
from tierpole import potency
from tierpole.farm import Stock
from tierpole.potency import convergence, flower_law, misfit, pairing, sampling, slopes
from tierpole.potency.assemble import Problem
from tierpole.potency.laplace import laplace
from tierpole.potency.model import spread_factor
from tierpole.potency.results import CBD, THC, Material, Results
from tierpole.potency.whiten import Level, Whitening

PLAN = tuple(
    truth.Planned(lot, tau, 2 + lot, laboratory)
    for lot in range(3)
    for tau, laboratory in ((21.0, "north"), (33.0, "south"), (44.0, "north"))
)


def problem(seed=1, stock=Stock.CLONE, change=lambda tests: tests):
    farm = truth.draw_farm(np.random.default_rng(seed), (0, 0, 1), PLAN, stock)
    made = Problem.of(farm.draws, farm.flower_day, change(list(farm.tests)))
    assert made is not None
    return made


def mixed_up(tests):
    """Missing values, values below quantification, dry material, days before any flower."""
    tests[0] = replace(tests[0], cbd=None)
    tests[1] = replace(tests[1], thc_below=True)
    tests[2] = replace(tests[2], cbd_below=True, thc=None)
    tests[3] = replace(tests[3], cbd_below=True, thc_below=True)
    tests[4] = replace(tests[4], material=Material.BIOMASS)
    tests[5] = replace(tests[5], material=Material.WHOLE_PLANT)
    tests[6] = replace(tests[6], day=truth.FLOWER - 30.0)
    return tests


def differences(function, point, width=1e-5):
    """Central differences of a function of [coordinate, chain] by each coordinate."""
    slopes_found = []
    for coordinate in range(point.shape[0]):
        ahead, behind = point.copy(), point.copy()
        ahead[coordinate] += width
        behind[coordinate] -= width
        slopes_found.append((function(ahead) - function(behind)) / (2.0 * width))
    return np.array(slopes_found)


@given(
    st.floats(2.0, 100.0), st.floats(0.03, 0.4), st.floats(10.0, 40.0),
    st.floats(30.0, 80.0), st.floats(0.36, 0.61), st.floats(0.0, 0.05),
)  # fmt: skip
def test_slopes_against_differences(day, rate, midpoint, peak_day, steepest, fall):
    """Logs of both curves are those of the curves, and their slopes those of differences."""
    if abs(day - peak_day) < 0.01:  # at the peak the fall sets in: two slopes meet
        return
    point = np.array(
        [np.log(rate), midpoint, peak_day, 1 / (1 - steepest), np.log(fall + 1e-3), day]
    )

    def cbd(x):
        return slopes.cbd_slopes(x[5], np.exp(x[0]), x[1])

    def thc(x):
        return slopes.thc_slopes(x[5], x[2], x[3], np.exp(x[4]))

    plain_cbd = potency.cbd_course(np.array(day), 1.0, rate, midpoint)
    plain_thc = potency.thc_course(np.array(day), 1.0, peak_day, steepest, fall + 1e-3)
    assert np.exp(cbd(point).value) == pytest.approx(float(plain_cbd), rel=1e-9)
    assert np.exp(thc(point).value) == pytest.approx(float(plain_thc), rel=1e-9)
    by_cbd = differences(lambda x: cbd(x).value, point)
    by_thc = differences(lambda x: thc(x).value, point)
    ours_cbd = [cbd(point).by_log_rate, cbd(point).by_midpoint, -cbd(point).by_midpoint]
    ours_thc = [
        thc(point).by_peak_day,
        thc(point).by_power,
        thc(point).by_log_fall,
        thc(point).by_day,
    ]
    assert ours_cbd == pytest.approx(by_cbd[[0, 1, 5]], rel=1e-4, abs=1e-6)
    assert ours_thc == pytest.approx(by_thc[[2, 3, 4, 5]], rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("change", [lambda tests: tests, mixed_up])
def test_gradient_against_differences(change):
    """Every slope of the log posterior, results missing or censored among them."""
    made = problem(change=change)
    model, pooled = made.model, made.evenness.usual(made.model.results)
    state = model.prior_state(6, np.random.default_rng(2))
    by_difference = differences(
        lambda x: model.gradient(model.state_of(x), pooled)[0].farm, state.flat()
    )
    _, slope = model.gradient(state, pooled)
    spreads = model.places()[0]
    below = np.delete(by_difference, spreads, axis=0)
    ours = np.concatenate([part.reshape(-1, 6) for part in slope[1:]])
    assert ours == pytest.approx(below, rel=1e-5, abs=1e-5)


def test_prediction_slopes_against_differences():
    """Slopes of every prediction by every coordinate, as the normal law about the mode needs."""
    model = problem(change=mixed_up).model
    one = model.prior_state(1, np.random.default_rng(3))
    ours = model.slopes(model.expected(one))
    by_difference = differences(lambda x: model.expected(model.state_of(x)).value, one.flat())
    assert np.moveaxis(ours, -1, 0) == pytest.approx(by_difference[..., 0], abs=1e-7)


def test_misfit_against_scipy():
    """Log likelihoods of certificates up to a constant: multivariate and censored Student's t."""
    made = problem(change=mixed_up)
    results, freedom = made.model.results, sampling.COEFFICIENTS["tail_df"]
    rng = np.random.default_rng(4)
    predicted = results.value[:, :, None] + rng.normal(0.0, 0.3, (2, len(results), 2))
    variance = rng.uniform(0.005, 0.03, (2, len(results), 2))
    covariance = 0.8 * np.sqrt(variance[CBD] * variance[THC])
    found = misfit.misfit(results, predicted, variance, covariance).log_likelihood
    shrink = (freedom - 2.0) / freedom
    for test in range(len(results)):
        exact = np.zeros(2)
        for chain in range(2):
            cover = np.diag(variance[:, test, chain])
            cover[CBD, THC] = cover[THC, CBD] = covariance[test, chain]
            seen = np.flatnonzero(results.seen[:, test])
            miss = (results.value - predicted[..., chain])[:, test]
            if seen.size:
                law = multivariate_t(
                    np.zeros(seen.size), shrink * cover[np.ix_(seen, seen)], freedom
                )
                exact[chain] += law.logpdf(miss[seen])
            for substance in np.flatnonzero(results.below[:, test]):
                sd = np.sqrt(shrink * cover[substance, substance])
                exact[chain] += student.logcdf(miss[substance] / sd, freedom)
        assert found[test, 1] - found[test, 0] == pytest.approx(exact[1] - exact[0], abs=1e-9)


def test_weight_limits():
    """A certificate loses weight with its distance; weights of fitting errors average one."""
    test = potency.PotencyTest(0, 170.0, 3, "north", cbd=0.05, thc=0.002)
    results = Results.of([test], ("north",))
    off = np.array([0.0, 0.2, 0.5, 1.0])
    predicted = results.value[:, :, None] + off
    variance = np.full((2, 1, 4), 0.01)
    weight = misfit.misfit(results, predicted, variance, np.zeros((1, 4))).weight[0]
    assert (np.diff(weight) < 0.0).all()
    freedom = sampling.COEFFICIENTS["tail_df"]
    draws = multivariate_t(np.zeros(2), 0.01 * (freedom - 2) / freedom * np.eye(2), freedom)
    errors = draws.rvs(200_000, random_state=np.random.default_rng(5)).T[:, None]
    many = misfit.misfit(
        results,
        results.value[:, :, None] + errors,
        np.full(errors.shape, 0.01),
        np.zeros((1, 200_000)),
    )
    assert many.weight.mean() == pytest.approx(1.0, abs=0.01)


@settings(max_examples=25)
@given(st.integers(1, 40), st.integers(0, 5), st.floats(0.04, 0.3), st.floats(3.0, 16.0))
def test_composite_law_simulated(plants, off_types, plant_cv, multiple):
    """Median and variance of the log of a composite, against composites of lognormal plants."""
    off_types = min(off_types, plants)
    rng = np.random.default_rng(6)
    variance = np.log1p(plant_cv**2)
    one_each = np.exp(rng.normal(-variance / 2, np.sqrt(variance), (40_000, plants)))
    one_each[:, :off_types] *= multiple
    pooled = np.log(one_each.mean(axis=1))
    median, spread = sampling.composite_law(plant_cv, float(plants), float(off_types), multiple)
    assert float(median) == pytest.approx(np.median(pooled), abs=0.012)
    assert float(np.sqrt(spread)) == pytest.approx(pooled.std(), rel=0.06)


# --- flower days ----------------------------------------------------------------------------------


def test_flower_law_against_scipy():
    """Between the outer nodes days follow scipy's monotone cubic through the same quantiles."""
    days = np.random.default_rng(7).gamma(4.0, 3.0, (20_000, 1)) + 120.0
    law = flower_law.FlowerLaw.of(days, np.zeros(1, int))
    nodes = np.linspace(-2.5, 2.5, 11)
    cubic = PchipInterpolator(nodes, np.quantile(days[:, 0], ndtr(nodes)))
    score = np.linspace(-1.99, 1.99, 57)
    day, slope = law.day(score[None])
    assert day[0] == pytest.approx(cubic(score), rel=1e-12)
    assert slope[0] == pytest.approx(cubic.derivative()(score), rel=1e-9)


def test_flower_law_simulated():
    """Scores drawn by the law bring back the draws' own law and what lots share of it."""
    rng = np.random.default_rng(8)
    shared, own = rng.normal(0.0, 3.0, (4000, 1)), rng.normal(0.0, 2.0, (4000, 3))
    days = 130.0 + np.maximum(shared + own, -4.0)  # cut off early, as by a count of none in flower
    law = flower_law.FlowerLaw.of(days, np.zeros(3, int))
    factor = rng.standard_normal((1, 50_000))
    again, _ = law.day(law.score(factor, rng.standard_normal((3, 50_000))))
    levels = [0.05, 0.25, 0.5, 0.75, 0.95]
    assert np.quantile(again[0], levels) == pytest.approx(np.quantile(days[:, 0], levels), abs=0.25)
    assert np.corrcoef(again)[0, 1] == pytest.approx(np.corrcoef(days.T)[0, 1], abs=0.04)


def test_one_factor_against_algebra():
    """Loadings behind a correlation matrix that has one factor, and of a lone lot."""
    loading = np.array([0.9, 0.6, 0.4, 0.7])
    correlation = np.outer(loading, loading)
    np.fill_diagonal(correlation, 1.0)
    assert flower_law.one_factor(correlation) == pytest.approx(loading, abs=1e-3)
    assert flower_law.one_factor(np.eye(1)) == pytest.approx([0.0])


# --- directions, agreement, pairing ---------------------------------------------------------------


def test_whitening_against_linear_algebra():
    """Moved level by level along its directions, a normal law is the one it was fitted to."""
    made = problem()
    model = made.model
    covariance = laplace(model, made.evenness.usual(model.results)).covariance
    directions = Whitening.of(model, covariance)
    rng, count = np.random.default_rng(9), 200_000
    start = model.state_of(np.zeros((model.coordinates, count)))
    for level in Level:
        units = () if level is Level.FARM else (model.sizes[level][0],)
        inner = rng.standard_normal((*units, model.sizes[level][-1], count))
        start = directions.lead(level, start, inner)
    spreads = model.places()[0].size
    scale = np.sqrt(np.diag(covariance)[spreads:])
    ours = np.cov(start.flat()[spreads:]) / np.outer(scale, scale)
    exact = covariance[spreads:, spreads:] / np.outer(scale, scale)
    # lots of different varieties meet only through the farm, and lots of one through their variety
    assert ours == pytest.approx(exact, abs=0.03)


def test_follow_against_differences():
    """The slope along directions is the slope of what moving along them does."""
    made = problem()
    model, pooled = made.model, made.evenness.usual(made.model.results)
    fit = laplace(model, pooled)
    directions = Whitening.of(model, fit.covariance)
    state = model.state_of(fit.mode[:, None])
    slope = model.gradient(state, pooled)[1]
    for level in Level:
        ours = directions.follow(level, slope)
        for place in np.ndindex(ours.shape[:-1]):
            inner = np.zeros(ours.shape)
            inner[place] = 1e-5
            ahead, behind = (
                model.gradient(directions.lead(level, state, sign * inner), pooled)[0].farm
                for sign in (1.0, -1.0)
            )
            assert ours[place] == pytest.approx((ahead - behind) / 2e-5, rel=1e-4, abs=1e-4)


def test_nested_r_hat_against_hand():
    """Two groups with means 1 apart and variance 1 each: sqrt(1 + 1/2)."""
    means, variances = np.array([[0.0, 5.0], [1.0, 5.0]]), np.ones((2, 2))
    assert convergence.nested_r_hat(means, variances) == pytest.approx([np.sqrt(1.5), 1.0])


def test_effective_size_against_hand():
    """8 chains whose means vary a fiftieth as much as the draws are worth 400."""
    found = convergence.effective_size(np.array([2.0, 1.0]), np.array([0.04, 0.0]), 8)
    assert found[0] == pytest.approx(400.0)
    assert np.isinf(found[1])


@given(st.floats(0.05, 0.8))
def test_spread_factor_against_scipy(unsure):
    """The factor on a stated spread is lognormal, and its mean square is one."""
    law = lognorm(unsure, scale=np.exp(-(unsure**2)))
    assert law.moment(2) == pytest.approx(1.0)
    for chance in (0.1, 0.5, 0.9):
        standard = np.array(norm.ppf(chance))
        assert float(spread_factor(standard, unsure)) == pytest.approx(law.ppf(chance))


@pytest.mark.parametrize("memory", [0.0, 0.6, 0.9])
def test_effective_size_against_theory(memory):
    """Chains with a known memory are worth n (1 - r)/(1 + r) draws each, n sweeps being many."""
    rng, sweeps, chains = np.random.default_rng(10), 400, 1500
    tally, state = convergence.Tally(10), rng.standard_normal((1, chains))
    for _ in range(sweeps):
        fresh = rng.standard_normal((1, chains))
        state = memory * state + np.sqrt(1.0 - memory**2) * fresh
        tally.add(state)
    found = tally.convergence()
    assert found.effective[0] == pytest.approx(
        chains * sweeps * (1 - memory) / (1 + memory), rel=0.12
    )
    assert found.r_hat[0] < 1.001


def test_pairing_against_all_orders():
    """The pairing of six draws is the best of all 720."""
    rng = np.random.default_rng(11)
    before, after = rng.normal(0.0, 4.0, (6, 3)), rng.normal(50.0, 2.0, (6, 3))
    pairs = pairing.pair_draws(before, after)
    first = (before - before.mean(axis=0)) / before.std(axis=0)
    second = (after - after.mean(axis=0)) / after.std(axis=0)
    best = min(permutations(range(6)), key=lambda order: np.sum((first - second[list(order)]) ** 2))
    assert tuple(pairs) == best


def test_pairing_limits():
    """Every state is taken once, in blocks too, and one lot pairs in order."""
    rng = np.random.default_rng(12)
    before, after = rng.normal(0.0, 4.0, (1500, 1)), rng.normal(50.0, 2.0, (1500, 1))
    pairs = pairing.pair_draws(before, after)
    assert sorted(pairs) == list(range(1500))
    assert np.corrcoef(before[:, 0], after[pairs, 0])[0, 1] > 0.99


def test_picked_states_simulated():
    """Means over picked states miss those over all by less than half of what chance would."""
    rng = np.random.default_rng(13)
    pool = rng.standard_normal((4000, 3)) @ rng.standard_normal((3, 6))
    misses = np.array(
        [
            pool[pairing.pick_states(pool, 200, rng)].mean(axis=0) - pool.mean(axis=0)
            for _ in range(60)
        ]
    )
    by_chance = pool.std(axis=0) / np.sqrt(200)
    assert (np.sqrt((misses**2).mean(axis=0)) < 0.5 * by_chance).all()
    assert (np.abs(misses.mean(axis=0)) < 0.2 * by_chance).all()


def test_picked_states_limits():
    """No state twice while there are enough, all of them when all are wanted, some twice beyond."""
    pool = np.random.default_rng(14).standard_normal((100, 2))
    for count, distinct in ((40, 40), (100, 100), (250, 100)):
        picked = pairing.pick_states(pool, count, np.random.default_rng(15))
        assert picked.size == count
        assert np.unique(picked).size == distinct
