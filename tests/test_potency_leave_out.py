"""What a certificate changed: draws without it, against updates that never saw it."""

import numpy as np
import pytest

import potency_truth as truth
from tierpole import potency
from tierpole.farm import Stock
from tierpole.potency.leave_out import without

FAIR = potency.Effort(chains=256, groups=4, warm_sweeps=8, kept_sweeps=16, most_rounds=1)
PLAN = tuple(truth.Planned(lot, tau) for lot in range(2) for tau in (22.0, 30.0, 38.0))


def season(seed, stock=Stock.CLONE, plan=PLAN):
    farm = truth.draw_farm(np.random.default_rng(seed), (0, 0), plan, stock, draws=1000)
    return farm, run(farm, farm.tests)


def run(farm, tests):
    return potency.update(farm.draws, farm.flower_day, tests, np.random.default_rng(9), effort=FAIR)


def less(farm, updated, test):
    rng = np.random.default_rng(3)
    return without(updated.posterior, test, farm.draws, farm.flower_day, rng, effort=FAIR)


def log_thc(found, farm, lot, tau=45.0):
    curves = potency.Curves.of(found.draws.normal[:, lot])
    return np.log(curves.thc(farm.usual_day(lot, tau) - found.flower_day[:, lot]))


@pytest.mark.parametrize(("stock", "test"), [(Stock.CLONE, 1), (Stock.CLONE, 5), (Stock.SEED, 3)])
def test_without_against_update(stock, test):
    """Mean and spread of THC in both lots, against an update by all the other certificates."""
    farm, updated = season(2, stock)
    ours = less(farm, updated, test)
    theirs = run(farm, [each for place, each in enumerate(farm.tests) if place != test])
    for lot in range(2):
        found, exact = log_thc(ours, farm, lot), log_thc(theirs, farm, lot)
        assert found.mean() == pytest.approx(exact.mean(), abs=0.15 * exact.std())
        assert found.std() == pytest.approx(exact.std(), rel=0.15)


def test_without_limits():
    """Without the last certificate of a far larger number less is lost than without the only one,
    which is not weighted but run again and leaves the lot as it was before."""
    farm, updated = season(1, plan=PLAN[:1])
    only = less(farm, updated, 0)
    assert only.is_run_again
    before = potency.Updated(farm.draws, farm.flower_day, np.zeros(0), updated.laboratories, None)
    assert np.array_equal(log_thc(only, farm, 0), log_thc(before, farm, 0))
    farm, updated = season(1, plan=PLAN * 3)
    one_of_many = less(farm, updated, 0)
    assert not one_of_many.is_run_again
    now, then = log_thc(updated, farm, 0), log_thc(one_of_many, farm, 0)
    assert then.mean() == pytest.approx(now.mean(), abs=0.5 * now.std())
