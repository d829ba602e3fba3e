"""What one lot could do otherwise, and what one more test of it is worth."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import norm

from plan_solver_cases import best_of_all, small_farm
from small_farm import small_season
from tierpole.compliance import LotState
from tierpole.money import value_of_perfect_information, value_of_sample_information
from tierpole.outlook import make_forecast, make_outlook
from tierpole.plan import Stop, make_plan
from tierpole.plan.alternatives import choices_of
from tierpole.plan.harvest import make_harvest, usual_drying
from tierpole.plan.risk import Risk
from tierpole.plan.solve import solve
from tierpole.plan.testing import worth_of_tests
from tierpole.plan.value import revalue

DRAWS = 200
QUICK = Stop(gap=0.02, seconds=3.0)
TABLES: dict = {}


def solved(problem):
    return solve(problem, Stop(gap=0.01, seconds=10.0), Risk(weight=0.0))


def test_the_best_choice_of_a_lone_lot_against_brute_force():
    """Sticks packed best day first bring nearly what trying every day and place brings.

    The best is that of SciPy's linprog over every sample and set of cut days. Eight farms of six
    days: on average 2 % is lost, and no more than a sixth where two cut days must be told apart.
    """
    shares = []
    for seed in range(8):
        problem = small_farm(
            seed, lots=1, hanging=(), crew_hours=np.full(6, 20.0), sticks_owned=10**6
        )
        found = choices_of(problem, solved(problem), 0)
        shares.append(found.dollars.mean(axis=1).max() / best_of_all(problem))
    assert max(shares) < 1.005, "the program's own means are linear, see plan.value"
    assert min(shares) > 5 / 6
    assert np.mean(shares) > 0.97


def test_what_a_choice_pays_against_the_exact_value():
    """Draw by draw the same dollars as the schedule re-valued with the sticks of the choice."""
    problem = small_farm(4, lots=2, days=7)
    schedule = solved(problem)
    found = choices_of(problem, schedule, 1)
    for option, sticks, paid in zip(found.option, found.sticks, found.dollars, strict=True):
        whole = schedule.sticks.copy()
        whole[1] = sticks
        left = schedule.left.copy()
        left[1] = problem.sticks_standing[1] - sticks.sum()
        sample = schedule.sample.copy()
        sample[1] = option
        other = replace(schedule, sticks=whole, left=left, sample=sample)
        assert revalue(problem, other).by_lot[:, 1] == pytest.approx(paid)


def test_choices_leave_the_other_lots_their_room_limits():
    """With the lot's own sticks put anew, no place, day or wagon holds more than it can."""
    problem = small_farm(6, lots=3, days=7)
    schedule = solved(problem)
    for lot in range(3):
        for sticks in choices_of(problem, schedule, lot).sticks:
            assert sticks.sum() <= problem.sticks_standing[lot]
            assert (sticks.any(axis=1)).sum() <= problem.max_cut_days[lot]
            assert (most_hanging(problem, sticks) <= problem.capacity.max(axis=1)).all()
            hours = sticks.sum(axis=1) * problem.hours_hang[lot]
            others = np.delete(schedule.sticks, lot, axis=0).sum(axis=2)
            used = np.delete(problem.hours_hang, lot) @ others
            assert (hours + used <= problem.crew_hours + 1e-9).all()


def most_hanging(problem, sticks):
    """Most sticks that hang at once in each place, counted day by day."""
    most = []
    for place in range(len(problem.places)):
        stays = [
            sum(
                sticks[day, place]
                for day in range(problem.days)
                if day <= now < day + problem.hold_days[place, day]
            )
            for now in range(problem.days)
        ]
        most.append(max(stays))
    return np.array(most)


def test_sample_information_against_raiffa_schlaifer():
    """Two acts, one linear in a normal unknown: EVSI = s L(|m|/s), s the spread of the new mean.

    Raiffa & Schlaifer 1961, Applied Statistical Decision Theory, section 5.4: L(u) = phi(u) - u
    Phi(-u), s^2 = v^2 / (v + e) (from memory).
    """
    mean, variance, error = 0.4, 1.0, 0.5
    rng = np.random.default_rng(8)
    truth = mean + np.sqrt(variance) * rng.standard_normal(4000)
    read = truth[::8] + np.sqrt(error) * rng.standard_normal(500)
    weight = norm.pdf(read[:, None], truth, np.sqrt(error))
    joint = (weight / weight.sum(axis=1, keepdims=True)).T / len(read)
    found = value_of_sample_information([truth, np.zeros(4000)], joint)
    s = variance / np.sqrt(variance + error)
    exact = s * (norm.pdf(mean / s) - mean / s * norm.cdf(-mean / s))
    assert found == pytest.approx(exact, rel=0.06)


def test_waiting_for_a_result_against_hand_count():
    """100 now for sure, or 160 / 20 as the lot turns out, half and half; a perfect test.

    Free to wait, it is worth (160 + 100)/2 - 100 = 30; when the sure act closes meanwhile,
    (160 + 20)/2 - 100 = -10.
    """
    payoff = [[100.0, 100.0], [160.0, 20.0]]
    joint = np.diag([0.5, 0.5])
    assert value_of_sample_information(payoff, joint) == pytest.approx(30)
    assert value_of_sample_information(payoff, joint, [False, True]) == pytest.approx(-10)


@cache
def known(repeatability=0.04, between_labs=0.12):
    """A small farm, its lab as good as asked, with harvest, schedule and forecast."""
    season = small_season()
    lab = season.laboratory.model_copy(
        update={"repeatability": repeatability, "between_labs": between_labs}
    )
    season = replace(season, laboratory=lab)
    forecast = make_forecast(season, DRAWS, 1)
    outlook = make_outlook(season, DRAWS, 1, tables=TABLES, forecast=forecast)
    harvest = make_harvest(season, outlook, usual_drying(outlook))
    return forecast, outlook, harvest, solve(harvest.problem, QUICK, Risk())


def growing(harvest):
    return [n for n, status in enumerate(harvest.status) if status.state is LotState.GROWING]


def test_a_test_is_worth_no_more_than_certainty_limits():
    """Between certainty and nothing, as far as 200 draws tell; a lot already judged has none."""
    forecast, _, harvest, schedule = known()
    judged = set(range(len(harvest.status))) - set(growing(harvest))
    assert all(worth_of_tests(harvest, schedule, forecast, lot) is None for lot in judged)
    found = [worth_of_tests(harvest, schedule, forecast, lot) for lot in growing(harvest)]
    assert any(found)
    for each in filter(None, found):
        assert each.certainty >= 0
        assert max(one.gain for one in each.by_day) <= each.certainty + 1e-6
        assert all(one.result_on > one.day for one in each.by_day)
        assert each.best.fee == forecast.season.costs.potency_test


def test_a_blind_laboratory_is_worth_nothing_limits():
    """A test that reads anything whatever the truth may be changes nothing that is done."""
    forecast, _, harvest, schedule = known(1.0, 1.0)
    for lot in growing(harvest):
        found = worth_of_tests(harvest, schedule, forecast, lot)
        if found:
            assert found.best.gain <= 0.1 * found.certainty + 1.0


def test_the_plan_says_what_tests_are_worth():
    """With its forecast a plan carries, lot by lot, what it knows and what to test."""
    forecast, outlook, harvest, _ = known()
    plan = make_plan(harvest.season, outlook, QUICK, forecast=forecast)
    lots = [plan.lots[n] for n in growing(harvest)]
    assert all(lot.forecast is not None for lot in plan.lots)
    assert any(lot.testing is not None for lot in lots)
    assert make_plan(harvest.season, outlook, QUICK, explain=False).lots[0].forecast is None


def test_certainty_is_dear_where_choices_are_close_limits():
    """Perfect information on two acts that pay the same on average is worth half their spread."""
    payoff = np.array([[1.0, -1.0], [0.0, 0.0]])
    assert value_of_perfect_information(payoff, [0.5, 0.5]) == pytest.approx(0.5)
