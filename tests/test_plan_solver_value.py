"""What a schedule is worth, draw by draw, and what one more of a scarce thing would bring."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plan_solver_cases import best_linear, best_of_all, small_farm, with_averages
from tierpole.money import cvar
from tierpole.plan.problem import Problem, Schedule
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop, solve
from tierpole.plan.value import averages, revalue
from tierpole.plan.worth import (
    LongerWindow,
    MoreCrew,
    MoreRoom,
    MoreSticks,
    binding,
    worth,
    worth_trying,
)

QUICK = Stop(gap=0.1, seconds=20.0)
NEUTRAL = Risk(weight=0.0)


def test_revalue_against_a_loop_over_sticks():
    """Every draw, lot, day and place in plain loops gives the same dollars."""
    problem = small_farm(4, lots=3, days=7)
    schedule = solve(problem, QUICK, NEUTRAL)
    valued = revalue(problem, schedule)
    expected = [dollars_of_a_draw(problem, schedule, draw) for draw in range(12)]
    assert valued.dollars == pytest.approx(expected)


def dollars_of_a_draw(problem: Problem, schedule: Schedule, draw: int) -> float:
    draws = problem.draws
    assert draws is not None
    assert draws.place is not None
    total = draws.fixed[draw]
    for lot in range(len(problem.lots)):
        option = schedule.sample[lot]
        if option > 0:
            total -= problem.sample_fee[lot, option]
        total += schedule.left[lot] * draws.left[draw, lot]
        for day in range(problem.days):
            if schedule.sticks[lot, day].sum() > 0:
                total -= problem.cut_day_cost
            for place in range(len(problem.places)):
                p_pass = draws.p_pass[draw, lot, option]
                passed = draws.cut[draw, lot, day] + draws.place[draw, lot, day, place]
                a_stick = p_pass * passed + (1 - p_pass) * draws.fail[draw, lot, option]
                total += schedule.sticks[lot, day, place] * a_stick
    return total


def test_revalue_limits():
    """Pieces add up to the dollars, and so do the lots with what is fixed."""
    problem = small_farm(9, lots=3)
    valued = revalue(problem, solve(problem, QUICK, NEUTRAL))
    assert np.sum(list(valued.pieces.values()), axis=0) == pytest.approx(valued.dollars)
    fixed = valued.pieces["fixed"]
    assert valued.by_lot.sum(axis=1) + fixed == pytest.approx(valued.dollars)


def test_objective_is_the_exact_mean_without_places():
    """Where places add nothing, deciding on averages and valuing by draw agree to the cent."""
    problem = small_farm(2)
    assert problem.draws is not None
    problem = with_averages(replace(problem, draws=replace(problem.draws, place=None)))
    schedule = solve(problem, QUICK, NEUTRAL)
    valued = revalue(problem, schedule)
    assert schedule.objective == pytest.approx((valued.dollars - valued.pieces["fixed"]).mean())


def test_objective_is_the_exact_tail_without_places():
    """The same for the worst draws, whose fixed money counts by its distance from the mean."""
    problem = small_farm(2)
    assert problem.draws is not None
    problem = with_averages(replace(problem, draws=replace(problem.draws, place=None)))
    schedule = solve(problem, QUICK, Risk(0.4, 0.25))
    valued = revalue(problem, schedule)
    without = valued.dollars - valued.pieces["fixed"].mean()
    expected = 0.6 * without.mean() + 0.4 * cvar(without, 0.25)
    assert schedule.objective == pytest.approx(expected)


def test_averages_are_means_of_products():
    """A stick's value is the mean of chance times dollars, not the product of two means."""
    problem = small_farm(1, draws=5)
    draws = problem.draws
    assert draws is not None
    value, _, left = averages(draws, problem.allowed, 2)
    p_pass, cut, fail = draws.p_pass[:, 1, 2], draws.cut[:, 1, 3], draws.fail[:, 1, 2]
    assert value[1, 2, 3] == pytest.approx((p_pass * cut + (1 - p_pass) * fail).mean())
    product = p_pass.mean() * cut.mean() + (1 - p_pass.mean()) * fail.mean()
    assert value[1, 2, 3] != pytest.approx(product, rel=1e-6)
    assert left == pytest.approx(draws.left.mean(axis=0))


def test_averages_of_places_take_the_mean_chance():
    """What a place adds is weighed by the chance of passing over the samples that allow the day."""
    problem = small_farm(1, draws=5)
    draws = problem.draws
    assert draws is not None
    assert draws.place is not None
    place = averages(draws, problem.allowed, 2)[1]
    legal = problem.allowed[0, :, 2]
    chance = draws.p_pass[:, 0, legal].mean(axis=1)
    assert place[0, 2, 1] == pytest.approx((chance * draws.place[:, 0, 2, 1]).mean())


def test_averages_weighted_draws():
    """All weight on one draw gives that draw."""
    problem = small_farm(1, draws=5)
    draws = problem.draws
    assert draws is not None
    value, _, left = averages(draws, problem.allowed, 2, np.eye(5)[3])
    p_pass = draws.p_pass[3, 0, 1]
    expected = p_pass * draws.cut[3, 0, 2] + (1 - p_pass) * draws.fail[3, 0, 1]
    assert value[0, 1, 2] == pytest.approx(expected)
    assert left == pytest.approx(draws.left[3])


def every_day_open(seed: int) -> Problem:
    """One sample option and more sticks than its days can take: every day is used, none is new."""
    problem = small_farm(seed, options=2, days=5, cut_day_cost=0.0, max_cut_days=np.full(2, 5))
    return replace(problem, sticks_standing=np.full(2, 400), hours_hang=np.full(2, 0.08))


@pytest.mark.parametrize("change", [MoreRoom(0, 10), MoreCrew(0, 4, 1.0), MoreSticks(10)])
def test_worth_against_brute_force(change):
    """Ten more stick places, an hour more or ten more sticks: the difference of two optima."""
    problem = every_day_open(5)
    schedule = solve(problem, Stop(0.0, 30.0), NEUTRAL)
    expected = best_of_all(change.applied(problem)) - best_of_all(problem)
    (gain,) = worth(problem, schedule, [change], NEUTRAL)
    assert gain.dollars == pytest.approx(expected, abs=0.5)
    assert gain.low - 1e-6 <= gain.dollars <= gain.high + 1e-6


def test_worth_of_a_longer_window_opens_its_day():
    """A window that ends a day later is worth the better price of that day."""
    problem = every_day_open(6)
    value = problem.value.copy()
    value[:, :, -1] = 30.0  # dollars on a day that is not legal yet
    problem = replace(problem, value=value, draws=None)
    schedule = solve(problem, Stop(0.0, 30.0), NEUTRAL)
    changed = LongerWindow(0, 1).applied(problem)
    assert changed.allowed[0].sum() == problem.allowed[0].sum() + 1
    expected = best_of_all(changed) - best_of_all(problem)
    (gain,) = worth(problem, schedule, [LongerWindow(0, 1)], NEUTRAL)
    assert expected > 100
    assert gain.dollars == pytest.approx(expected, abs=0.5)


def test_worth_limits():
    """What is not scarce is worth nothing, and is not tried."""
    problem = small_farm(3, sticks_owned=100_000)
    problem = replace(problem, crew_hours=problem.crew_hours + 1000, hanging=())
    schedule = solve(problem, QUICK, NEUTRAL)
    gains = worth(problem, schedule, [MoreSticks(10), MoreCrew(0, 5)], NEUTRAL)
    assert [gain.dollars for gain in gains] == pytest.approx([0, 0], abs=1e-6)
    tried = {type(change) for change in worth_trying(problem, schedule, NEUTRAL)}
    assert tried.isdisjoint({MoreSticks, MoreCrew})


def test_shadow_prices_against_a_second_program():
    """A little more of the dearest limit, at fixed samples and days, in SciPy's linprog."""
    problem = small_farm(0)
    schedule = solve(problem, Stop(0.0, 30.0), NEUTRAL)
    found = [limit for limit in binding(problem, schedule, NEUTRAL) if limit.group == "crew"]
    assert found
    taken = schedule.sticks.sum(axis=2)
    choice = [
        (int(schedule.sample[lot]), tuple(np.flatnonzero(taken[lot])))
        if taken[lot].any()
        else (0, ())
        for lot in range(2)
    ]
    more = 1e-3
    hours = problem.crew_hours.copy()
    hours[found[0].day] += more
    gained = best_linear(replace(problem, crew_hours=hours), choice) - best_linear(problem, choice)
    assert gained / more == pytest.approx(found[0].dollars, rel=1e-4)
