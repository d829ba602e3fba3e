"""The schedule against brute force, other solvers, a published optimum and full staging."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from ortools.sat.python import cp_model
from scipy.optimize import LinearConstraint, milp

from plan_solver_cases import best_of_all, small_farm, with_averages
from published_values import load
from tierpole.plan.problem import Problem
from tierpole.plan.program import dollars, make_program
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop, solve
from tierpole.plan.value import averages

TO_THE_END = Stop(gap=0.0, seconds=120.0)
NEUTRAL = Risk(weight=0.0)


@pytest.mark.parametrize("seed", range(3))
def test_schedule_against_brute_force(seed):
    """Every sample and every set of cut days tried, each with SciPy's linprog."""
    problem = small_farm(seed)
    schedule = solve(problem, TO_THE_END, NEUTRAL)
    assert schedule.before_rounding == pytest.approx(best_of_all(problem), rel=1e-6)
    assert schedule.bound == pytest.approx(schedule.before_rounding, rel=1e-6)


def test_schedule_stripping_at_once_against_brute_force():
    """With no bulk room, stripping hours fall on the day of take-down."""
    problem = small_farm(11, bulk_room=0.0, days=5)
    schedule = solve(problem, TO_THE_END, NEUTRAL)
    assert schedule.before_rounding == pytest.approx(best_of_all(problem), rel=1e-6)


@pytest.mark.parametrize("seed", range(2))
def test_whole_sticks_against_constraint_programming(seed):
    """OR-Tools CP-SAT in whole sticks and cents: never above it, two sticks below at most."""
    problem = in_cents(small_farm(seed + 20, lots=3, days=7))
    schedule = solve(problem, Stop(gap=0.0005, seconds=30.0), NEUTRAL)
    best = best_in_whole_sticks(problem)
    assert schedule.objective <= best + 1e-6
    assert schedule.objective >= best - 2 * problem.value.max()
    assert best <= schedule.bound + 1e-6


def in_cents(problem: Problem) -> Problem:
    """The problem with dollars in whole cents and hours in thousandths, as integers need them."""
    names = ("value", "place_value", "value_left")
    rounded = {name: np.round(getattr(problem, name), 2) for name in names}
    hours = {name: np.round(getattr(problem, name), 3) for name in ("hours_hang", "crew_hours")}
    return replace(problem, **rounded, **hours)


def best_in_whole_sticks(problem: Problem) -> float:
    """The best objective in dollars, by constraint programming."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(StickModel(problem).model) == cp_model.OPTIMAL
    return solver.objective_value / 100


class StickModel:
    """The schedule in whole sticks, cents and thousandths of an hour."""

    def __init__(self, problem: Problem):
        self.problem, self.model = problem, cp_model.CpModel()
        lots, self.options, self.days, self.places = problem.shape
        self.gain = []
        self.hung = {
            (lot, day, place): self.model.new_int_var(0, int(problem.sticks_standing[lot]), "")
            for lot, day, place in product(range(lots), range(self.days), range(self.places))
        }
        self.down = {
            (place, day): self.model.new_int_var(0, 1000, "")
            for place, day in product(range(self.places), range(self.days))
        }
        for lot in range(lots):
            self._lot(lot)
        for day in range(self.days):
            self._crew_and_wagons(day)
            self._rooms(day)
        self.model.maximize(sum(self.gain))

    def _sum(self, lot=None, days=None, place=None):
        return sum(
            sticks
            for (its_lot, day, its_place), sticks in self.hung.items()
            if lot in (None, its_lot) and place in (None, its_place) and day in days
        )

    def _lot(self, lot: int) -> None:
        problem, model = self.problem, self.model
        sampled = [model.new_bool_var("") for _ in range(self.options)]
        opened = [model.new_bool_var("") for _ in range(self.days)]
        model.add(sum(sampled) <= 1)
        model.add(sum(opened) <= int(problem.max_cut_days[lot]))
        fees = zip(problem.sample_fee[lot], sampled, strict=True)
        self.gain += [-cents(fee) * taken for fee, taken in fees]
        self.gain.append(-cents(problem.cut_day_cost) * sum(opened))
        for day in range(self.days):
            self._cut(lot, day, sampled, opened[day])
        left = int(problem.sticks_standing[lot]) - self._sum(lot, range(self.days))
        model.add(left >= 0)
        self.gain.append(cents(problem.value_left[lot]) * left)

    def _cut(self, lot: int, day: int, sampled: list, opened) -> None:
        problem, model = self.problem, self.model
        taken = self._sum(lot, (day,))
        model.add(taken == 0).only_enforce_if(~opened)
        under = []
        for option in np.flatnonzero(problem.allowed[lot, :, day]):
            sticks = model.new_int_var(0, int(problem.sticks_standing[lot]), "")
            model.add(sticks == 0).only_enforce_if(~sampled[option])
            self.gain.append(cents(problem.value[lot, option, day]) * sticks)
            under.append(sticks)
        model.add(sum(under) == taken)
        self.gain += [
            cents(problem.place_value[lot, day, place]) * self.hung[lot, day, place]
            for place in range(self.places)
        ]

    def _crew_and_wagons(self, day: int) -> None:
        problem = self.problem
        hands = sum(
            thousandths(hours) * self._sum(lot, (day,))
            for lot, hours in enumerate(problem.hours_hang)
        )
        taken_down = sum(self.down[place, day] for place in range(self.places))
        hands += thousandths(problem.hours_take_down) * taken_down
        self.model.add(hands <= thousandths(problem.crew_hours[day]))
        self.model.add(self._sum(days=(day,)) <= int(problem.haul_limit[day]))

    def _rooms(self, day: int) -> None:
        problem, so_far, in_use = self.problem, range(day + 1), 0
        for place in range(self.places):
            rows = [row for row in problem.hanging if row.place == place]
            dry = [d for d in so_far if d + problem.hold_days[place, d] <= day]
            gone = sum(self.down[place, before] for before in so_far)
            was_dry = sum(row.sticks for row in rows if row.ready <= day)
            load = sum(row.sticks for row in rows) + self._sum(days=so_far, place=place) - gone
            self.model.add(gone <= was_dry + self._sum(days=dry, place=place))
            self.model.add(load <= int(problem.capacity[place, day]))
            in_use += load
        self.model.add(in_use <= problem.sticks_owned)


def cents(dollars: float) -> int:
    return round(100 * dollars)


def thousandths(hours: float) -> int:
    return round(1000 * hours)


def test_waiting_lots_against_gueret_prins_sevaux():
    """Wagon lots of cane as lots of one stick; lines as room that is busy for one turn of 2 h."""
    published = load("scheduling")["cane_sugar"]
    problem = cane_as_sticks(published)
    schedule = solve(problem, TO_THE_END, NEUTRAL)
    assert -schedule.objective == pytest.approx(published["optimum"])
    turns = published["hours_per_lot"] * (1 + schedule.sticks[:, :, 0].argmax(axis=1))
    assert (turns <= published["life"]).all()
    assert published["loss"] @ turns == pytest.approx(published["optimum"])


def test_first_come_order_against_gueret_prins_sevaux():
    """The same farm with each lot held to its turn in the order of arrival."""
    published = load("scheduling")["cane_sugar"]
    problem = cane_as_sticks(published)
    turn = np.arange(len(problem.lots)) // published["lines"]
    held = problem.allowed & (np.arange(problem.days) == turn[:, None, None])
    schedule = solve(replace(problem, allowed=held), TO_THE_END, NEUTRAL)
    assert -schedule.objective == pytest.approx(published["first_come"])


def cane_as_sticks(published: dict) -> Problem:
    """Each turn of 2 h is a day; a wagon lot left unprocessed loses more than any order could."""
    loss, life = np.array(published["loss"], float), np.array(published["life"])
    lots, hours = len(loss), published["hours_per_lot"]
    turns = -(-lots // published["lines"])
    finish = hours * np.arange(1, turns + 1)
    ones, none = np.ones(lots), np.zeros(lots)
    return Problem(
        lots=tuple(str(number + 1) for number in range(lots)),
        places=("lines",),
        sticks_standing=np.ones(lots, np.int64),
        allowed=(finish <= life[:, None])[:, None],
        value=-(loss[:, None] * finish)[:, None],
        place_value=np.zeros((lots, turns, 1)),
        value_left=np.full(lots, -1e4),
        sample_fee=np.zeros((lots, 1)),
        hold_days=np.ones((1, turns), np.int64),
        capacity=np.full((1, turns), published["lines"]),
        hanging=(),
        hours_hang=none,
        hours_take_down=0.0,
        hours_strip=none,
        crew_hours=np.ones(turns),
        bulk_room=np.inf,
        sticks_owned=lots,
        haul_limit=np.full(turns, np.inf),
        max_cut_days=ones.astype(np.int64),
        cut_day_cost=0.0,
    )


@pytest.mark.parametrize("weight", [0.3, 0.7])
def test_worst_tail_against_extensive_form(weight):
    """Cutting planes reach the optimum of the program with one shortfall column for each draw."""
    problem = small_farm(5, lots=2, days=6, draws=10)
    schedule = solve(problem, TO_THE_END, Risk(weight, tail=0.25))
    expected = best_with_shortfalls(problem, Risk(weight, tail=0.25))
    assert schedule.before_rounding == pytest.approx(expected, rel=1e-6)


def best_with_shortfalls(problem: Problem, risk: Risk) -> float:
    """Best objective by SciPy's milp: tail mean = t - mean shortfall under t / share."""
    program = make_program(problem, 0.0)
    draws, columns = problem.draws, program.columns
    assert draws is not None
    by_draw = [
        dollars(problem, columns, *averages(draws, problem.allowed, len(problem.places), weights))
        for weights in np.eye(draws.count)
    ]
    shift = draws.fixed - draws.fixed.mean()
    count = columns.count
    cost = np.concatenate(
        [
            (1 - risk.weight) * program.cost,
            [-risk.weight],
            np.full(draws.count, risk.weight / (risk.tail * draws.count)),
        ]
    )
    extra = np.zeros((program.matrix.shape[0], 1 + draws.count))
    rules = np.hstack([program.matrix.toarray(), extra])
    shortfall = np.hstack([np.array(by_draw), -np.ones((draws.count, 1)), np.eye(draws.count)])
    free = np.full(1, -np.inf), np.full(1, np.inf)
    answer = milp(
        cost,
        integrality=np.concatenate([program.whole, np.zeros(1 + draws.count)]),
        bounds=(
            np.concatenate([program.lower, free[0], np.zeros(draws.count)]),
            np.concatenate([program.upper, free[1], np.full(draws.count, np.inf)]),
        ),
        constraints=[
            LinearConstraint(rules, program.row_lower, program.row_upper),
            LinearConstraint(shortfall, -shift, np.inf),
        ],
        options={"mip_rel_gap": 0},
    )
    assert answer.status == 0
    assert count == len(program.cost)
    return -answer.fun


@pytest.mark.parametrize("seed", [1, 5])
def test_claimed_value_against_full_two_stage(seed):
    """Room is kept for every lot: the claim is a little under what waiting for results brings."""
    problem = small_farm(
        seed,
        lots=3,
        days=7,
        capacity=np.full((2, 7), 70),  # just enough to hang nearly every stick
        crew_hours=np.full(7, 8.0),
        haul_limit=np.full(7, 200.0),
        sticks_owned=400,
        hanging=(),
    )
    assert problem.draws is not None
    likely = 0.4 + 0.6 * problem.draws.p_pass  # between 0.7 and 1
    problem = with_averages(
        replace(problem, draws=replace(problem.draws, place=None, p_pass=likely))
    )
    schedule = solve(problem, Stop(gap=1e-3, seconds=30.0), NEUTRAL)
    staged = value_after_results(problem, schedule.sample)
    assert staged * 0.96 < schedule.before_rounding < staged * 1.001


def value_after_results(problem: Problem, sample: np.ndarray) -> float:
    """Expected dollars if the samples are taken as planned and all cuts wait for all results."""
    draws = problem.draws
    assert draws is not None
    lots = np.arange(len(problem.lots))
    chance = np.where(sample > 0, draws.p_pass[:, lots, np.maximum(sample, 0)], 0.0)
    fee = problem.sample_fee[lots, np.maximum(sample, 0)].sum()
    total = 0.0
    for passed in product([False, True], repeat=len(lots)):
        by_lot = np.where(passed, chance, 1 - chance)
        weights = by_lot.prod(axis=1)
        if weights.sum() == 0:
            continue
        share = weights / weights.sum()
        cut = np.tensordot(share, draws.cut, 1)
        fail = share @ draws.fail[:, lots, np.maximum(sample, 0)]
        left = np.where(np.array(passed) | (sample < 0), share @ draws.left, fail)
        chosen = np.arange(problem.shape[1]) == sample[:, None]
        known = replace(
            problem,
            allowed=problem.allowed & (chosen & np.array(passed)[:, None])[..., None],
            value=np.broadcast_to(cut[:, None], problem.value.shape),
            value_left=left,
            sample_fee=np.zeros_like(problem.sample_fee),
            draws=None,
        )
        after = solve(known, Stop(gap=1e-3, seconds=10.0), NEUTRAL)
        total += weights.mean() * (after.before_rounding - fee)
    return total
