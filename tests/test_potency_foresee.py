"""A test not yet taken: its readings and what each would say, against updates and arithmetic."""

from dataclasses import replace

import numpy as np
import pytest

import potency_truth as truth
from tierpole import potency
from tierpole.farm import Stock
from tierpole.potency import foresee

FAIR = potency.Effort(chains=128, groups=4, warm_sweeps=8, kept_sweeps=16, most_rounds=1)
PLAN = tuple(truth.Planned(lot, tau) for lot in range(2) for tau in (22.0, 30.0))


def season(plan=PLAN, seed=1, stock=Stock.CLONE, draws=1500):
    farm = truth.draw_farm(np.random.default_rng(seed), (0, 0), plan, stock, draws)
    rng = np.random.default_rng(seed + 1)
    return farm, potency.update(farm.draws, farm.flower_day, farm.tests, rng, effort=FAIR)


def planned(farm, lot=0, tau=38.0, **other):
    of = {"plants": 3, "laboratory": "north", **other}
    return potency.PotencyTest(lot, farm.usual_day(lot, tau), **of)


def log_thc(updated, farm, lot=0, tau=45.0):
    curves = potency.Curves.of(updated.draws.normal[:, lot])
    return np.log(curves.thc(farm.usual_day(lot, tau) - updated.flower_day[:, lot]))


@pytest.mark.parametrize("laboratory", ["north", "a new one"])
def test_what_if_against_update(laboratory):
    """Re-weighted draws say what a full update by the same reading says."""
    farm, before = season()
    centre = np.exp(log_thc(before, farm, tau=38.0).mean())
    test = replace(planned(farm, laboratory=laboratory), thc=1.15 * float(centre))
    answer = foresee.what_if(before, test)
    assert answer.is_enough
    tests = [*farm.tests, test]
    after = potency.update(
        farm.draws, farm.flower_day, tests, np.random.default_rng(9), effort=FAIR
    )
    for lot in range(2):
        quick, full = log_thc(before, farm, lot), log_thc(after, farm, lot)
        assert answer.weight @ quick == pytest.approx(full.mean(), abs=0.15 * full.std())


def test_odd_reading_limits():
    """A sure reading at the edge of what was thought possible leaves few draws with weight, and
    the answer says so; one far beyond would be distrusted."""
    farm, before = season(draws=300)
    sure = {"precision_cbd": potency.Precision(0.004, 0.004)}
    sure["precision_thc"] = sure["precision_cbd"]
    possible = np.exp(log_thc(before, farm, tau=38.0))
    sampled = {"plants": 400, "laboratory": "new", **sure}
    edge = replace(planned(farm, **sampled), thc=float(np.quantile(possible, 0.995)))
    assert not foresee.what_if(before, edge).is_enough
    usual, far = (
        foresee.what_if(before, replace(planned(farm), thc=factor * float(possible.mean())))
        for factor in (1.0, 6.0)
    )
    assert usual.is_enough
    assert usual.trust > 0.8
    assert far.trust < 0.1


def test_readings_against_law_of_error():
    """Logs of readings less the draw's truth and its laboratory have the spread of plants and
    repeatability; a laboratory without results adds the difference between laboratories."""
    farm, before = season(draws=4000)
    rng = np.random.default_rng(3)
    truth_thc = log_thc(before, farm, tau=38.0)
    plants = np.log1p(before.draws.plant_cv[:, 0] ** 2 / 3)
    within = (potency.PRECISION_THC.repeatability * before.laboratories.within[1]) ** 2
    between = (potency.PRECISION_THC.between_labs * before.laboratories.between[1]) ** 2
    known = np.log(foresee.predict_test(before, planned(farm), rng).thc) - truth_thc
    known = known - before.laboratories.bias_of("north")[1]
    new = np.log(foresee.predict_test(before, planned(farm, laboratory="new"), rng).thc) - truth_thc
    assert known.mean() == pytest.approx(-plants.mean() / 2, abs=0.005)
    assert known.std() == pytest.approx(np.sqrt((plants + within).mean()), rel=0.06)
    assert new.std() == pytest.approx(np.sqrt((plants + within + between).mean()), rel=0.06)


def test_weights_against_total_probability():
    """Averaged over what a test may read, the re-weighted draws are the draws as they stand."""
    farm, before = season(draws=600)
    rng = np.random.default_rng(4)
    readings = foresee.predict_test(before, planned(farm), rng)
    weights = foresee.reading_weights(before, planned(farm), readings)
    assert weights.shape == (600, 600)
    assert weights.sum(axis=1) == pytest.approx(np.ones(600))
    later = log_thc(before, farm)
    by_reading = weights @ later
    assert by_reading.mean() == pytest.approx(later.mean(), abs=0.05 * later.std())
    left = (weights @ later**2 - by_reading**2).mean()
    assert left + by_reading.var() == pytest.approx(later.var(), rel=0.08)  # law of total variance


def test_more_plants_limits():
    """A composite of many plants narrows a seed lot more than one of a single plant."""
    farm, before = season(stock=Stock.SEED, draws=500)
    rng = np.random.default_rng(5)
    left = []
    for plants in (1, 12):
        test = planned(farm, plants=plants)
        weights = foresee.reading_weights(before, test, foresee.predict_test(before, test, rng))
        later = log_thc(before, farm)
        left.append((weights @ later**2 - (weights @ later) ** 2).mean())
    assert left[1] < left[0] < log_thc(before, farm).var()


def test_before_any_test_limits():
    """With no certificate at all, a first test can be weighed just as well."""
    farm, before = season(plan=())
    assert before.posterior is None
    high, low = (
        foresee.what_if(before, replace(planned(farm), thc=thc)).weight @ log_thc(before, farm)
        for thc in (0.004, 0.0015)
    )
    assert low < log_thc(before, farm).mean() < high


def test_unreported_reading_limits():
    """A substance that is not reported says nothing: NaN weights as leaving it out."""
    farm, before = season(draws=300)
    only = foresee.Reading(np.array([np.nan]), np.array([0.002]))
    ours = foresee.reading_weights(before, planned(farm), only)[0]
    assert ours == pytest.approx(foresee.what_if(before, replace(planned(farm), thc=0.002)).weight)
