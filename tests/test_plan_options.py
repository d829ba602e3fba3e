"""More room, rented room, faster drying: what it costs against capital recovery, what it earns."""

import numpy as np
import pytest

from plan_solver_cases import small_farm
from tierpole.farm import Place
from tierpole.plan import options
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop, solve
from tierpole.plan.worth import FasterDrying, MoreRoom
from tierpole.units import FOOT

PLACE = Place(
    name="Barn", kind="air-cured barn", tiers=3, runs=10, run_length=64 * FOOT,
    stick_spacing=1.5 * FOOT, volume=1450.0,
)  # fmt: skip
NEUTRAL = Risk(weight=0.0)


def test_shed_cost_against_ag_decision_maker():
    """A dollar paid back over ten years at 8 % costs 0.149 a year (Iowa State University Ag
    Decision Maker A3-29, capital recovery table), here for 100 m of run at 10 dollars."""
    assert options.shed_cost(100, 10, 0.08, 10) == pytest.approx(149.0, abs=0.5)
    free = options.shed_cost(100, 10, 0.0, 50)
    assert free == pytest.approx(20.0)
    assert options.shed_cost(100, 10, 0.08, 50, salvage=1.0) == pytest.approx(80.0)


def test_more_shed_against_counting():
    """Twenty-four feet of ten runs on three tiers, 18 in apart, are 480 sticks; an acre of burley
    takes 1,300 sticks at 8 in, and a barn for it cost 6,500 dollars."""
    option = options.more_shed(PLACE, 0, 24 * FOOT, 0.0)
    assert option.change == MoreRoom(0, 480)
    acre = 1300 * 8 / 12 * FOOT
    assert option.cost == pytest.approx(6500 * 30 * 24 * FOOT / acre / 50)
    assert option.assumed
    assert not options.more_shed(PLACE, 0, 24 * FOOT, 0.0, price=40.0).assumed
    assert option.name == "24 ft more of Barn"


def test_weigh_limits():
    """No option earns less than nothing, the best comes first after its cost, and the cost of a
    lot is shared among the lots hung."""
    problem = small_farm(4, lots=3, days=7)
    schedule = solve(problem, Stop(gap=0.1, seconds=20.0), NEUTRAL)
    choices = [
        options.rented(PLACE, 0, 40, 50.0), options.faster(PLACE, 1, 0.5, 10.0),
        options.rented(PLACE, 1, 0, 999.0),
    ]  # fmt: skip
    weighed = options.weigh(problem, schedule, choices, NEUTRAL, seconds=2.0)
    assert [one.net for one in weighed] == sorted((one.net for one in weighed), reverse=True)
    assert all(0 <= one.low <= one.earns + 1e-6 and one.earns <= one.high + 1e-6 for one in weighed)
    nothing = weighed[-1]
    assert nothing.option.cost == 999.0
    assert nothing.earns == pytest.approx(0, abs=1.0)
    lots = np.count_nonzero(schedule.sticks.sum(axis=(1, 2)))
    assert nothing.cost_per_lot == pytest.approx(999.0 / lots)


def test_faster_drying_holds_less_long():
    """Only the place meant, never less than a day."""
    problem = small_farm(1)
    after = FasterDrying(0, 0.5).applied(problem)
    assert np.array_equal(after.hold_days[1], problem.hold_days[1])
    assert np.array_equal(after.hold_days[0], np.maximum(np.ceil(problem.hold_days[0] / 2), 1))
