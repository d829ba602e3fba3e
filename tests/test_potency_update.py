"""Updating by tests against importance sampling and simulated truth, and what must not change."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_t
from scipy.stats import t as student

from tierpole import potency
from tierpole.farm import Stock
from tierpole.potency.prior import COEFFICIENTS as PRIOR
from tierpole.potency.sampling import COEFFICIENTS as SAMPLING

DAY_OF_FLOWER = 130.0
EXACT = potency.Precision(1e-4, 1e-4)
NARROW = potency.PotencyPrior(
    peak_day_sd=0.0, steepest_sd=0.0, rate_sd=0.0, midpoint_sd=0.0, fall_sd=0.0
)
QUICK = potency.Effort(chains=64, groups=4, warm_sweeps=8, kept_sweeps=12, most_rounds=1)
FAIR = potency.Effort(chains=128, groups=4, warm_sweeps=8, kept_sweeps=12, most_rounds=1)
THOROUGH = potency.Effort(chains=256, groups=8, warm_sweeps=15, kept_sweeps=40, most_rounds=1)


def farm(variety=(0,), prior=None, count=1000, seed=1, flower_sd=3.0, stock=Stock.CLONE):
    """Fresh draws of lots and their flower days."""
    rng = np.random.default_rng(seed)
    prior = prior or potency.PotencyPrior()
    lots = potency.PotencyLots(np.array(variety), (stock,) * len(variety), np.ones(len(variety)))
    draws = potency.draw_potency([prior] * (max(variety) + 1), lots, count, rng)
    return draws, rng.normal(DAY_OF_FLOWER, flower_sd, (count, len(variety)))


def result(lot=0, tau=35.0, plants=3, laboratory="state", **found):
    return potency.PotencyTest(lot, DAY_OF_FLOWER + tau, plants, laboratory, **found)


def log_thc(draws, flower_day, lot=0, tau=35.0):
    of_lot = potency.Curves.of(draws.normal[:, lot])
    return np.log(of_lot.thc(DAY_OF_FLOWER + tau - flower_day[:, lot]))


def updated(draws, flower_day, tests, seed=7, effort=QUICK, **known):
    return potency.update(
        draws, flower_day, tests, np.random.default_rng(seed), effort=effort, **known
    )


def mean_shift(draws, flower_day, tests, lot=0, tau=35.0, **options):
    """By how much tests move the mean log THC of a lot."""
    after = updated(draws, flower_day, tests, **options)
    moved = log_thc(after.draws, after.flower_day, lot, tau).mean()
    return moved - log_thc(draws, flower_day, lot, tau).mean()


# --- what must not change -------------------------------------------------------------------------


def test_no_test_limits():
    """Without a test every draw is the one it was."""
    draws, flower = farm((0, 0, 1))
    for tests in ([], [result()]):
        after = updated(draws, flower, tests)
        assert after.draws is draws
        assert after.flower_day is flower
        assert after.moved.tolist() == [0.0] * len(tests)
        assert after.posterior is None


def test_other_variety_limits():
    """A test moves the lots of its variety and no other; `moved` keeps the order of the tests."""
    draws, flower = farm((0, 1, 0))
    low, nothing, high = result(2, thc=0.0015), result(1), result(0, thc=0.0045)
    after = updated(draws, flower, [low, nothing, high])
    for name in ("normal", "plant_cv", "top_to_plant", "top_to_flower"):
        before, now = getattr(draws, name), getattr(after.draws, name)
        assert np.array_equal(before[:, 1], now[:, 1])
        assert not np.array_equal(before[:, 0], now[:, 0])
    assert np.array_equal(after.flower_day[:, 1], flower[:, 1])
    assert after.moved[0] < 0 < after.moved[2]
    assert after.moved[1] == 0.0


def test_weather_pairing_limits():
    """Draws keep their order: what was late before is, on the whole, late after."""
    draws, flower = farm((0, 0, 1, 1), count=1000)
    tests = [result(lot, thc=0.0022, cbd=0.05) for lot in range(4)]
    after = updated(draws, flower, tests)
    for lot in range(4):
        assert np.corrcoef(flower[:, lot], after.flower_day[:, lot])[0, 1] > 0.8


def test_same_seed_limits():
    """Same seed, same answer; another seed, another."""
    draws, flower = farm()
    first, second, other = (updated(draws, flower, [result(thc=0.003)], seed) for seed in (7, 7, 8))
    assert np.array_equal(first.draws.normal, second.draws.normal)
    assert not np.array_equal(first.draws.normal, other.draws.normal)


# --- against independent sampling -----------------------------------------------------------------


def unsure_spreads(draws, rng, stock):
    """Draws of one lot whose own deviations have an unsure spread, as the forecast holds them."""
    own, sd, normal = potency.STOCK_PRIOR[stock], PRIOR["lot_sd_spread"], draws.normal.copy()
    count = len(normal)
    for place, lot_sd in ((0, own.lot_plateau_sd), (1, own.lot_ratio_sd)):
        factor = np.exp(sd * rng.standard_normal(count) - sd**2)
        shared = draws.law.shared_sd[0, place] * rng.standard_normal(count)
        stray = lot_sd * factor * rng.standard_normal(count)
        normal[:, 0, place] = draws.law.mean[0, place] + shared + stray
    return replace(draws, normal=normal)


def weighted(found, seed=11, count=400_000):
    """Draws of one lot from everything's prior, weighted by certificates of one laboratory.

    `found` holds tau, plants, CBD and THC of each certificate. Written with scipy's law alone.
    """
    draws, flower = farm(count=count, seed=seed)
    rng = np.random.default_rng(seed + 1)
    draws = unsure_spreads(draws, rng, Stock.CLONE)
    curves = potency.Curves.of(draws.normal[:, 0])
    log_weight = np.zeros(count)
    stated = (potency.PRECISION_CBD, potency.PRECISION_THC)
    bias, within = np.empty((2, count)), np.empty((2, count))
    for substance, precision in enumerate(stated):
        for spread, name in ((bias, "between_labs_spread"), (within, "repeatability_spread")):
            sd = SAMPLING[name]
            spread[substance] = np.exp(sd * rng.standard_normal(count) - sd**2)
        bias[substance] *= precision.between_labs * rng.standard_normal(count)
        within[substance] *= precision.repeatability
    freedom = SAMPLING["tail_df"]
    standard = multivariate_t(np.zeros(2), np.eye(2), freedom)
    for tau, plants, cbd, thc in found:
        since = DAY_OF_FLOWER + tau - flower[:, 0]
        scatter = np.log1p(draws.plant_cv[:, 0] ** 2 / plants)
        expected = np.log([curves.cbd(since), curves.thc(since)]) + bias - scatter / 2
        miss = np.log([[cbd], [thc]]) - expected
        reading = (SAMPLING["reading_error"] / np.array([[cbd], [thc]])) ** 2
        cover = np.zeros((count, 2, 2))
        cover[:, 0, 0], cover[:, 1, 1] = scatter + within**2 + reading
        cover[:, 0, 1] = cover[:, 1, 0] = SAMPLING["plant_correlation"] * scatter
        root = np.linalg.cholesky(cover * (freedom - 2) / freedom)
        white = np.linalg.solve(root, miss.T[..., None])[..., 0]
        log_weight += standard.logpdf(white) - np.log(np.linalg.det(root))
    weight = np.exp(log_weight - log_weight.max())
    return draws, flower, weight / weight.sum()


@pytest.mark.parametrize(
    "found",
    [
        [(24.0, 3, 0.035, 0.0012)],
        [(35.0, 3, 0.060, 0.0026), (42.0, 5, 0.075, 0.0027)],
        [(30.0, 3, 0.045, 0.0016), (36.0, 3, 0.062, 0.0045)],  # the two do not agree
    ],
)
def test_certificates_against_importance_sampling(found):
    """One lot, one or two certificates: mean and spread of log THC on two days, against 400,000
    weighted draws of everything unknown."""
    many, many_flower, weight = weighted(found)
    draws, flower = farm(count=4000, seed=12)
    tests = [result(tau=tau, plants=n, cbd=cbd, thc=thc) for tau, n, cbd, thc in found]
    after = updated(draws, flower, tests, effort=THOROUGH)
    for tau in (found[0][0], 45.0):
        exact = log_thc(many, many_flower, tau=tau)
        mean = np.average(exact, weights=weight)
        sd = np.sqrt(np.average((exact - mean) ** 2, weights=weight))
        ours = log_thc(after.draws, after.flower_day, tau=tau)
        assert ours.mean() == pytest.approx(mean, abs=0.08 * sd)
        assert ours.std() == pytest.approx(sd, rel=0.05)


def test_off_types_against_bayes():
    """The chance that a high composite of a seed lot holds an off-type, against Bayes' rule on
    draws of the prior."""
    prior = replace(NARROW, cbd_plateau_sd=0.02, cbd_to_thc_sd=0.02, site_plateau_sd=0.0)
    known = {"prior": prior, "flower_sd": 0.01, "stock": Stock.SEED}
    draws, flower = farm(**known, count=2000)
    plants, count = 3, 300_000
    found = 2.5 * float(np.exp(log_thc(draws, flower, tau=58.0)).mean())
    test = result(tau=58.0, plants=plants, thc=found)
    after = updated(draws, flower, [test], effort=THOROUGH)
    held = after.posterior.pool.held.off_types[0]

    many, many_flower = farm(**known, count=count, seed=3)
    rng = np.random.default_rng(4)
    many = unsure_spreads(many, rng, Stock.SEED)
    row = rng.integers(len(flower), size=count)  # evenness has the law of the season's own draws
    number = rng.binomial(plants, draws.off_type_share[row, 0])
    cv, multiple = draws.plant_cv[row, 0], draws.off_type_multiple[row, 0]
    whole = plants + number * (multiple - 1)
    scatter = np.log1p(cv**2 * (plants + number * (multiple**2 - 1)) / whole**2)
    stated, spread = potency.PRECISION_THC, np.empty((2, count))
    for each, name in zip(spread, ("repeatability_spread", "between_labs_spread"), strict=True):
        sd = SAMPLING[name]
        each[:] = np.exp(sd * rng.standard_normal(count) - sd**2)
    bias = stated.between_labs * spread[1] * rng.standard_normal(count)
    sd = np.sqrt(scatter + (stated.repeatability * spread[0]) ** 2)
    middle = log_thc(many, many_flower, tau=58.0) + np.log(whole / plants) - scatter / 2 + bias
    freedom = SAMPLING["tail_df"]
    near = (
        student.pdf((np.log(found) - middle) / sd * np.sqrt(freedom / (freedom - 2)), freedom) / sd
    )
    exact = near[number > 0].sum() / near.sum()
    assert 0.3 < exact < 0.99
    assert (held > 0).mean() == pytest.approx(exact, abs=0.03)


def test_many_exact_tests_simulated():
    """Results without error, week by week, bring the curve to the truth they came from."""
    truth, true_flower = farm(count=2, seed=21)
    draws, flower = farm(count=500, seed=22)
    taus = np.arange(17.0, 60.0, 4.0)
    tests = [
        result(tau=tau, plants=400, thc=float(np.exp(log_thc(truth, true_flower, tau=tau)[0])),
               precision_thc=EXACT)
        for tau in taus
    ]  # fmt: skip
    after = updated(draws, flower, tests, effort=FAIR)
    for tau in taus[3:]:
        ours = log_thc(after.draws, after.flower_day, tau=tau)
        assert ours.mean() == pytest.approx(log_thc(truth, true_flower, tau=tau)[0], abs=0.03)
        assert ours.std() < 0.05


def test_moved_adds_up_against_linear_algebra():
    """Where predictions are straight, the moves of tests of one lot and day add up to the whole."""
    draws, flower = farm((0,), NARROW, count=1000, flower_sd=1e-3)
    tests = [result(tau=58.0, thc=thc) for thc in (0.0030, 0.0045, 0.0036)]
    after = updated(draws, flower, tests)
    whole = mean_shift(draws, flower, tests, tau=58.0, effort=FAIR)
    assert after.moved.sum() == pytest.approx(whole, abs=0.02)
    assert np.argmax(after.moved) == 1


# --- one more certificate -------------------------------------------------------------------------


def test_moved_on_against_full_run():
    """A certificate of a new laboratory on another lot: the pool moved on says what a full run
    says; one that few states fit makes the run a full one."""
    draws, flower = farm((0, 0, 1), count=1000)
    first = [result(0, tau=24.0, thc=0.0012, cbd=0.035), result(1, tau=28.0, thc=0.0016)]
    more = [*first, result(2, tau=35.0, laboratory="other", thc=0.0027, cbd=0.06)]
    earlier = updated(draws, flower, first, effort=THOROUGH).posterior
    quick = updated(draws, flower, more, effort=THOROUGH, earlier=earlier)
    full = updated(draws, flower, more, seed=8, effort=THOROUGH)
    assert quick.posterior.is_moved_on
    assert not full.posterior.is_moved_on
    for lot in range(3):
        ours, theirs = (log_thc(each.draws, each.flower_day, lot, 45.0) for each in (quick, full))
        assert ours.mean() == pytest.approx(theirs.mean(), abs=0.08 * theirs.std())
        assert ours.std() == pytest.approx(theirs.std(), rel=0.08)
    sure = [*first, result(0, tau=35.0, plants=400, thc=0.0035, precision_thc=EXACT)]
    assert not updated(draws, flower, sure, effort=FAIR, earlier=earlier).posterior.is_moved_on


def test_changed_season_limits():
    """When anything besides the certificates has changed, the run is a full one."""
    draws, flower = farm((0, 0))
    first = [result(0, thc=0.0025), result(0, tau=40.0, thc=0.0026)]
    earlier = updated(draws, flower, first).posterior
    more = [*first, result(0, tau=42.0, thc=0.0027)]
    assert updated(draws, flower, more, earlier=earlier).posterior.is_moved_on
    other_draws, _ = farm((0, 0), seed=2)
    corrected = [replace(more[0], thc=0.0024), *more[1:]]
    for changed in (
        (draws, flower + 1.0, more),
        (other_draws, flower, more),
        (draws, flower, corrected),
    ):
        assert not updated(*changed, earlier=earlier).posterior.is_moved_on


# --- order ----------------------------------------------------------------------------------------


def test_sister_lot_limits():
    """A high result raises the untested lot of the same variety too, but less."""
    draws, flower = farm((0, 0), count=1000)
    tested, sister = (mean_shift(draws, flower, [result(thc=0.0045)], lot) for lot in (0, 1))
    assert 0.0 < sister < tested


def test_one_laboratory_limits():
    """Ten results of one laboratory leave its own deviation; ten of ten laboratories do not."""
    draws, flower = farm(prior=NARROW, count=1000, flower_sd=1e-3)
    spread = []
    for names in (["state"] * 10, list("abcdefghij")):
        tests = [result(tau=58.0, laboratory=name, thc=0.0037) for name in names]
        after = updated(draws, flower, tests, effort=FAIR)
        spread.append(log_thc(after.draws, after.flower_day, tau=58.0).std())
        assert after.laboratories.names == tuple(dict.fromkeys(names))
    assert spread[0] > 0.7 * potency.PRECISION_THC.between_labs
    assert spread[1] < 0.5 * potency.PRECISION_THC.between_labs


def test_laboratory_deviation_simulated():
    """Two laboratories that differ by a fifth on many lots: the difference is learnt."""
    draws, flower = farm((0, 0, 0, 0), count=1000)
    tests = [
        result(lot, tau=35.0, laboratory=name, thc=0.0025 * factor, cbd=0.06)
        for lot in range(4)
        for name, factor in (("high", 1.1), ("low", 1.1 / 1.2))
    ]
    after = updated(draws, flower, tests, effort=FAIR)
    high, low = (after.laboratories.bias_of(name)[1] for name in ("high", "low"))
    assert np.mean(high - low) == pytest.approx(np.log(1.2), abs=0.03)
    assert after.laboratories.bias_of("unseen") is None


def test_seed_lot_limits():
    """One high result moves a seed lot less than a clone: off-types may be in the composite."""
    shift = {}
    for stock in Stock:
        draws, flower = farm(count=1000, stock=stock)
        shift[stock] = mean_shift(draws, flower, [result(thc=0.0060)], effort=FAIR)
    assert 0.0 < shift[Stock.SEED] < shift[Stock.CLONE]


def test_outlier_limits():
    """One certificate among five that reads twice too high moves the lot less than one a fifth too
    high would if all were as sure: far results lose weight."""
    draws, flower = farm(count=1000)
    fit = [
        result(tau=tau, thc=thc) for tau, thc in ((28.0, 0.0016), (32.0, 0.0019), (40.0, 0.0025))
    ]
    shift = [
        mean_shift(draws, flower, [*fit, result(tau=36.0, thc=0.0022 * factor)], effort=FAIR)
        for factor in (1.0, 1.2, 4.0)
    ]
    assert shift[0] < shift[1]
    assert shift[2] - shift[0] < 2.0 * (shift[1] - shift[0])


def test_below_quantification_limits():
    """ "<0.05 %" lowers what is thought of a lot, less so than a number as low, and early in
    flowering says little."""
    draws, flower = farm(count=1000)
    usual = {tau: np.exp(log_thc(draws, flower, tau=tau)).mean() for tau in (14.0, 35.0)}
    number, below = (
        mean_shift(draws, flower, [result(thc=0.0005, thc_below=flag)], effort=FAIR)
        for flag in (False, True)
    )
    early = mean_shift(
        draws, flower, [result(tau=14.0, thc=2.0 * usual[14.0], thc_below=True)], effort=FAIR
    )
    assert below < 0.0
    assert number < 0.0
    assert abs(early) < 0.1 * abs(below)


def test_dry_material_limits():
    """The same number says more of the tops when it was found in biomass, which holds less, and
    most when found in the shredded plant with its stem."""
    draws, flower = farm(count=1000)
    shift = [
        mean_shift(draws, flower, [result(thc=0.0025, cbd=0.06, material=material)], effort=FAIR)
        for material in (
            potency.Material.TOPS, potency.Material.BIOMASS, potency.Material.WHOLE_PLANT
        )
    ]  # fmt: skip
    assert shift[0] < shift[1] < shift[2]


def test_top_factor_simulated():
    """Tops and biomass of one lot, tested again and again, tell their ratio."""
    draws, flower = farm(prior=NARROW, count=1000, flower_sd=0.01)
    sure = {
        "precision_cbd": potency.Precision(0.01, 0.01),
        "precision_thc": potency.Precision(0.01, 0.01),
    }
    tests = [
        result(
            tau=60.0, plants=200, cbd=0.09 / factor, thc=0.0036 / factor, material=material, **sure
        )
        for material, factor in ((potency.Material.TOPS, 1.0), (potency.Material.BIOMASS, 1.5)) * 4
    ]
    after = updated(draws, flower, tests, effort=FAIR)
    assert after.draws.top_to_plant.mean() == pytest.approx(1.5, rel=0.03)
    assert after.draws.top_to_plant.std() < 0.5 * draws.top_to_plant.std()


@settings(max_examples=25, deadline=None)
@given(
    tau=st.floats(-5.0, 90.0),
    thc=st.floats(1e-5, 0.05) | st.sampled_from([None, 0.0]),
    cbd=st.floats(1e-3, 0.25) | st.none(),
    below=st.booleans(),
    material=st.sampled_from(list(potency.Material)),
    stock=st.sampled_from(list(Stock)),
)
def test_any_result_limits(tau, thc, cbd, below, material, stock):
    """However odd a result, draws stay finite; a test that found nothing moves nothing."""
    draws, flower = farm((0, 0), count=60, stock=stock)
    few = potency.Effort(chains=16, groups=2, warm_sweeps=4, kept_sweeps=4, most_rounds=1)
    odd = result(tau=tau, thc=thc, cbd=cbd, thc_below=below, material=material)
    after = updated(draws, flower, [odd], effort=few)
    assert np.isfinite(after.draws.normal).all()
    assert np.isfinite(after.flower_day).all()
    assert np.isfinite(after.moved).all()
    if not thc and not cbd:
        assert after.draws is draws
