"""What no schedule may do, on random farms, and what must hold whatever the farm."""

from __future__ import annotations

from dataclasses import replace

import highspy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plan_solver_cases import small_farm
from tierpole.errors import Stopped
from tierpole.plan.problem import NO_SAMPLE, Hanging, Problem, Schedule, ruling_sample
from tierpole.plan.program import room_limit, strip_hours
from tierpole.plan.risk import Aim, Risk
from tierpole.plan.solve import Stop, gap_between, solve
from tierpole.plan.worth import MoreCrew, MoreRoom, MoreSticks

QUICK = Stop(gap=0.2, seconds=1.0)  # what is tested holds however far the search came
TO_THE_END = Stop(gap=0.0, seconds=120.0)
NEUTRAL = Risk(weight=0.0)

farms = st.builds(
    small_farm,
    seed=st.integers(0, 10_000),
    lots=st.integers(1, 4),
    places=st.integers(1, 3),
    days=st.integers(5, 12),
    bulk_room=st.sampled_from([0.0, 25.0, np.inf]),
    sticks_owned=st.integers(20, 300),
    hanging=st.lists(
        st.builds(Hanging, st.just(0), st.integers(1, 40), st.integers(-2, 14)), max_size=2
    ).map(tuple),
)


@given(problem=farms, weight=st.sampled_from([0.0, 0.4]))
@settings(max_examples=25)
def test_schedule_limits(problem: Problem, weight: float):
    """Sticks conserved; load, crew, wagons, sticks and bulk never exceeded; dry before down."""
    schedule = solve(problem, QUICK, Risk(weight))
    assert_every_rule_kept(problem, schedule)
    assert schedule.objective <= schedule.bound + 1e-6 * abs(schedule.bound)
    aim = Aim(problem, Risk(weight))
    assert schedule.objective == pytest.approx(aim.objective(schedule.decisions(problem)))
    assert schedule.gap == gap_between(problem, schedule.bound, schedule.objective)


def assert_every_rule_kept(problem: Problem, schedule: Schedule) -> None:
    """Walk through the days with whole sticks and look at every rule in turn."""
    sticks, days = schedule.sticks, problem.days
    assert sticks.dtype == schedule.take_down.dtype == schedule.strip.dtype == np.int64
    assert min(sticks.min(), schedule.left.min(), schedule.take_down.min()) >= 0
    assert (sticks.sum(axis=(1, 2)) + schedule.left == problem.sticks_standing).all()
    taken = sticks.sum(axis=2)
    ruling = ruling_sample(problem, schedule.sample)
    assert (ruling[taken > 0] != NO_SAMPLE).all()
    assert ((taken > 0).sum(axis=1) <= problem.max_cut_days).all()
    assert (taken.sum(axis=0) <= problem.haul_limit).all()
    bulk = 0
    load = np.array([problem.hanging_in(place) for place in range(len(problem.places))])
    dry = np.zeros(len(problem.places), int)
    for day in range(days):
        load += sticks[:, day].sum(axis=0) - schedule.take_down[:, day]
        dry += newly_dry(problem, schedule, day) - schedule.take_down[:, day]
        bulk += schedule.take_down[:, day].sum() - schedule.strip[day]
        assert (dry >= 0).all()
        assert (load <= room_limit(problem)[:, day]).all()
        hanging = sum(row.sticks for row in problem.hanging)
        assert load.sum() <= max(problem.sticks_owned, hanging)
        assert 0 <= bulk <= problem.bulk_room
        hours = (
            problem.hours_hang @ taken[:, day]
            + problem.hours_take_down * schedule.take_down[:, day].sum()
            + strip_hours(problem) * schedule.strip[day]
        )
        assert hours <= problem.crew_hours[day] + 1e-5


def newly_dry(problem: Problem, schedule: Schedule, day: int) -> np.ndarray:
    """Sticks that become dry on a day [place]."""
    fresh = np.zeros(len(problem.places), int)
    for place in range(len(problem.places)):
        hung_on = [d for d in range(day) if d + problem.hold_days[place, d] == day]
        fresh[place] = schedule.sticks[:, hung_on, place].sum()
        fresh[place] += sum(
            row.sticks for row in problem.hanging if row.place == place and max(row.ready, 0) == day
        )
    return fresh


@pytest.mark.parametrize(
    "change", [MoreRoom(0, 20), MoreCrew(0, 5, 2.0), MoreSticks(30)], ids=lambda c: type(c).__name__
)
def test_more_of_anything_limits(change):
    """More room, crew or sticks is never worth less."""
    problem = small_farm(3)
    before = solve(problem, TO_THE_END, NEUTRAL).before_rounding
    after = solve(change.applied(problem), TO_THE_END, NEUTRAL).before_rounding
    assert after >= before - 1e-6


def test_risk_weight_limits():
    """A larger weight on the worst draws never lowers their mean, nor raises the mean of all."""
    problem = small_farm(8, draws=30)
    aims = [Aim(problem, Risk(weight, tail=0.2)) for weight in (0.01, 0.5, 0.99)]
    plans = [solve(problem, Stop(1e-4, 60.0), aim.risk) for aim in aims]
    decided = [plan.decisions(problem) for plan in plans]
    tails = [aims[0].tail(each) for each in decided]
    means = [Aim(problem, NEUTRAL).objective(each) for each in decided]
    slack = 0.002 * abs(means[0])  # of whole sticks and the gap
    assert tails[0] <= tails[1] + slack <= tails[2] + 2 * slack
    assert means[0] >= means[1] - slack >= means[2] - 2 * slack


def test_nothing_worth_cutting_is_left():
    """When every cut loses money the schedule stops now: no fee, no stick cut, nothing lost."""
    problem = small_farm(1, hanging=())
    problem = replace(
        problem,
        value=np.full_like(problem.value, -3.0),
        value_left=np.zeros(2),
        draws=None,
    )
    schedule = solve(problem, QUICK, NEUTRAL)
    assert (schedule.sample == NO_SAMPLE).all()
    assert schedule.sticks.sum() == 0
    assert schedule.objective == schedule.gap == 0


def test_more_hanging_than_room_is_no_contradiction():
    """A place recorded as overfull stays so until its sticks are dry and down."""
    problem = small_farm(2, hanging=(Hanging(0, 500, 3), Hanging(1, 20, 30)))
    assert_every_rule_kept(problem, solve(problem, QUICK, NEUTRAL))


def test_later_sample_rules_the_days_it_covers():
    """A lot with a running window may take a new sample; from its window on, that one counts."""
    problem = small_farm(4, lots=1, days=8, draws=2, max_cut_days=np.array([8]))
    allowed = np.zeros_like(problem.allowed)
    allowed[0, 0, :4] = allowed[0, 1, 3:] = True
    value = np.full_like(problem.value, 10.0)
    value[0, 0] = 12.0  # the old sample is worth more, but not on the day both cover
    problem = replace(
        problem,
        sticks_standing=np.array([500]),
        allowed=allowed,
        value=value,
        place_value=np.zeros_like(problem.place_value),
    )
    schedule = solve(problem, TO_THE_END, NEUTRAL)
    cut = schedule.decisions(problem).cut[0]
    assert schedule.sample[0] == 1
    assert cut[0, :3].sum() > 0
    assert cut[0, 3] == 0
    assert cut[1, 3:].sum() > 0
    assert_every_rule_kept(problem, schedule)


def test_stop_before_the_bound_leaves_everything():
    """Stopped at once, the best known schedule is to do nothing; the error carries it."""
    with pytest.raises(Stopped) as caught:
        solve(small_farm(0), QUICK, NEUTRAL, stopping_at("bound"))
    best = caught.value.best
    assert isinstance(best, Schedule)
    assert best.sticks.sum() == 0
    assert best.gap == np.inf
    assert best.status == "stopped"


def test_stop_during_the_search_keeps_the_best():
    """Stopped later, the schedule found by then comes back in whole sticks with its gap."""
    problem = small_farm(0)
    with pytest.raises(Stopped) as caught:
        solve(problem, TO_THE_END, NEUTRAL, stopping_at("schedule"))
    best = caught.value.best
    assert isinstance(best, Schedule)
    assert best.sticks.sum() > 0
    assert best.gap < 0.5
    assert_every_rule_kept(problem, best)


def stopping_at(step: str):
    """A tick that stops the work when a step begins."""

    def tick(now: str, share: float) -> None:
        assert 0 <= share <= 1
        if now == step:
            raise Stopped

    return tick


def test_other_errors_of_a_tick_pass_unchanged():
    """An interrupt inside a tick is not swallowed by the solver that called it."""

    def tick(step: str, share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        solve(small_farm(0), QUICK, NEUTRAL, tick)


def test_no_time_still_gives_a_schedule():
    """With no seconds to search, the schedule nearest the relaxation is returned, and says so."""
    problem = small_farm(6)
    schedule = solve(problem, Stop(gap=0.0, seconds=0.0), NEUTRAL)
    assert schedule.status == "time ran out"
    assert schedule.rounds == 0
    assert schedule.sticks.sum() > 0
    assert_every_rule_kept(problem, schedule)


def test_same_problem_same_schedule():
    """Two solves of one problem agree in every stick."""
    problem = small_farm(7, lots=4, days=10)
    first, second = (solve(problem, QUICK, Risk(0.3)) for _ in range(2))
    assert (first.sticks == second.sticks).all()
    assert (first.take_down == second.take_down).all()


def test_solver_used_before_with_other_threads():
    """Another user of the library in this process may have run it on two threads."""
    problem = small_farm(3)
    alone = solve(problem, QUICK, NEUTRAL)
    other = highspy.Highs()
    other.silent()
    other.setOptionValue("threads", 2)
    other.addVariable(lb=0, ub=1, obj=-1)
    other.run()
    assert solve(problem, QUICK, NEUTRAL).objective == alone.objective


def test_risk_needs_draws():
    """A weight on the worst draws without draws is a mistake of the caller."""
    with pytest.raises(ValueError, match="needs draws"):
        solve(replace(small_farm(0), draws=None), QUICK, Risk(0.3))


def test_problem_of_wrong_shape_is_refused():
    """Arrays that do not fit together are named."""
    with pytest.raises(ValueError, match="crew_hours must have shape"):
        small_farm(0, crew_hours=np.ones(3))
    with pytest.raises(ValueError, match="hold_days must be 1 or more"):
        small_farm(0, hold_days=np.zeros((2, 6), int))
    with pytest.raises(ValueError, match="already paid"):
        small_farm(0, sample_fee=np.ones((2, 3)))


def test_schedule_prints_what_to_do():
    """One line of worth and proof, then one line for each lot."""
    problem = small_farm(0)
    schedule = solve(problem, QUICK, NEUTRAL)
    head, *lots = str(schedule).splitlines()
    assert head.startswith(f"Schedule worth ${schedule.objective:,.0f}; none is worth over $")
    assert [line.split(" (")[0] for line in lots] == ["  lot 0", "  lot 1"]
    assert f"day {int(np.argwhere(schedule.sticks[0])[0][0])} " in lots[0]


def test_arrays_are_read_only():
    """Neither a problem nor a schedule can be changed in place."""
    problem = small_farm(0)
    with pytest.raises(ValueError, match="read-only"):
        problem.capacity[0, 0] = 1
    with pytest.raises(ValueError, match="read-only"):
        solve(problem, QUICK, NEUTRAL).sticks[0, 0, 0] = 1
