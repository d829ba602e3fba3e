"""Small farms for the tests of the schedule, and the same rules written down a second time.

`best_linear` shares no code with the package: it names every pair of hanging and take-down day and
asks another solver (SciPy's `linprog`).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product

import numpy as np
from scipy.optimize import linprog

from tierpole.plan.problem import Draws, Hanging, Problem
from tierpole.plan.value import averages


def small_farm(
    seed: int,
    lots: int = 2,
    places: int = 2,
    days: int = 6,
    options: int = 3,
    draws: int = 12,
    **changes: object,
) -> Problem:
    """A random farm small enough to try everything; `changes` replace fields of the problem."""
    rng = np.random.default_rng(seed)
    standing = rng.integers(60, 160, lots)
    allowed = np.zeros((lots, options, days), bool)
    for option in range(1, options):
        allowed[:, option, option : option + days - 2] = True
    random_draws = Draws(
        p_pass=rng.uniform(0.5, 1, (draws, lots, options)),
        cut=rng.uniform(5, 15, (draws, lots, days)),
        place=-rng.uniform(0, 2, (draws, lots, days, places)),
        fail=rng.uniform(0, 2, (draws, lots, options)),
        left=rng.uniform(-1, 0, (draws, lots)),
        fixed=rng.normal(-900, 150, draws),
    )
    value, place_value, value_left = averages(random_draws, allowed, places)
    fee = np.full((lots, options), 40.0)
    fee[:, 0] = 0
    problem = Problem(
        lots=tuple(f"lot {number}" for number in range(lots)),
        places=tuple(f"place {number}" for number in range(places)),
        sticks_standing=standing,
        allowed=allowed,
        value=value,
        place_value=place_value,
        value_left=value_left,
        sample_fee=fee,
        hold_days=rng.integers(1, 4, (places, days)),
        capacity=np.repeat(rng.integers(30, 90, (places, 1)), days, axis=1),
        hanging=(Hanging(0, 15, 2),),
        hours_hang=rng.uniform(0.05, 0.1, lots),
        hours_take_down=0.03,
        hours_strip=np.full(lots, 0.1),
        crew_hours=rng.uniform(4, 9, days),
        bulk_room=np.inf,
        sticks_owned=150,
        haul_limit=np.full(days, 80.0),
        max_cut_days=np.full(lots, 2),
        cut_day_cost=20.0,
        draws=random_draws,
    )
    return replace(problem, **changes)


def with_averages(problem: Problem) -> Problem:
    """The problem with its means taken again from its draws, after the legal days changed."""
    assert problem.draws is not None
    value, place, left = averages(problem.draws, problem.allowed, len(problem.places))
    return replace(problem, value=value, place_value=place, value_left=left)


def every_choice(problem: Problem):
    """Every sample option of every lot with every set of cut days legal under it."""
    per_lot = []
    for lot in range(len(problem.lots)):
        choices = [(0, ())]
        for option in range(1, problem.shape[1]):
            legal = np.flatnonzero(problem.allowed[lot, option])
            for count in range(1, problem.max_cut_days[lot] + 1):
                choices += [(option, days) for days in combinations(legal, count)]
        per_lot.append(choices)
    return product(*per_lot)


def best_of_all(problem: Problem) -> float:
    """The best objective over every choice of samples and cut days, sticks in parts."""
    return max(best_linear(problem, choice) for choice in every_choice(problem))


def best_linear(problem: Problem, choice) -> float:
    """Best dollars at given samples and cut days, from a linear program of its own."""
    return SecondProgram(problem, choice).best()


class SecondProgram:
    """Sticks hung by lot, day and place; taken down by place, day hung and day taken down."""

    def __init__(self, problem: Problem, choice):
        self.problem, self.choice = problem, choice
        lots, _, self.days, self.places = problem.shape
        self.hung = [
            (lot, day, place)
            for lot, day, place in product(range(lots), range(self.days), range(self.places))
            if day in choice[lot][1] and problem.capacity[place, day] > 0
        ]
        # what hangs already counts as hung on "day" -1, -2, ... by its row
        dry = [
            (place, day, day + problem.hold_days[place, day])
            for place, day in product(range(self.places), range(self.days))
        ]
        dry += [(row.place, -1 - n, max(row.ready, 0)) for n, row in enumerate(problem.hanging)]
        self.down = [
            (place, hung_on, day)
            for place, hung_on, ready in dry
            for day in range(ready, self.days)
        ]
        self.rows: list[np.ndarray] = []
        self.limits: list[float] = []

    def best(self) -> float:
        """Dollars of the best way to fill the chosen days."""
        for lot, standing in enumerate(self.problem.sticks_standing):
            self._limit(self._hung(lot=lot), standing)
        self._take_down_what_was_hung()
        for day in range(self.days):
            self._limit(self._work(day), self.problem.crew_hours[day])
            self._limit(self._hung(day=day), self.problem.haul_limit[day])
            self._rooms(day)
        answer = linprog(
            -self._gain(), A_ub=np.array(self.rows), b_ub=np.array(self.limits), method="highs"
        )
        assert answer.status == 0
        return self._whatever_is_hung() - answer.fun

    def _limit(self, row: np.ndarray, most: float) -> None:
        self.rows.append(row)
        self.limits.append(most)

    def _hung(self, lot=None, day=None, place=None) -> np.ndarray:
        """A row with 1 for each hanging asked for; `day` may be a range."""
        days = (day,) if isinstance(day, int) else day
        row = np.zeros(len(self.hung) + len(self.down))
        for number, (its_lot, its_day, its_place) in enumerate(self.hung):
            asked = lot in (None, its_lot) and place in (None, its_place)
            row[number] = asked and (days is None or its_day in days)
        return row

    def _down(self, place=None, hung_on=None, days=None) -> np.ndarray:
        """A row with 1 for each take-down asked for."""
        row = np.zeros(len(self.hung) + len(self.down))
        for number, (its_place, its_hung_on, its_day) in enumerate(self.down):
            asked = place in (None, its_place) and hung_on in (None, its_hung_on)
            row[len(self.hung) + number] = asked and (days is None or its_day in days)
        return row

    def _take_down_what_was_hung(self) -> None:
        for place, day in product(range(self.places), range(self.days)):
            self._limit(self._down(place, day) - self._hung(day=day, place=place), 0)
        for number, row in enumerate(self.problem.hanging):
            self._limit(self._down(row.place, -1 - number), row.sticks)

    def _work(self, day: int) -> np.ndarray:
        problem = self.problem
        strip = np.average(problem.hours_strip, weights=problem.sticks_standing)
        work = sum(
            hours * self._hung(lot=lot, day=day) for lot, hours in enumerate(problem.hours_hang)
        )
        at_once = strip if problem.bulk_room == 0 else 0
        return work + (problem.hours_take_down + at_once) * self._down(days=(day,))

    def _rooms(self, day: int) -> None:
        """Sticks in each place and in use at the end of a day, beside what hung at the start."""
        problem, so_far = self.problem, range(day + 1)
        for place in range(self.places):
            already = problem.hanging_in(place)
            load = self._hung(day=so_far, place=place) - self._down(place, days=so_far)
            self._limit(load, max(problem.capacity[place, day] - already, 0))
        already = sum(row.sticks for row in problem.hanging)
        in_use = self._hung(day=so_far) - self._down(days=so_far)
        self._limit(in_use, max(problem.sticks_owned - already, 0))

    def _gain(self) -> np.ndarray:
        problem = self.problem
        gain = np.zeros(len(self.hung) + len(self.down))
        for number, (lot, day, place) in enumerate(self.hung):
            under = problem.value[lot, self.choice[lot][0], day]
            gain[number] = under + problem.place_value[lot, day, place] - problem.value_left[lot]
        return gain

    def _whatever_is_hung(self) -> float:
        """Dollars that samples, opened days and a farm with nothing cut bring."""
        problem = self.problem
        total = float(problem.value_left @ problem.sticks_standing)
        for lot, (option, cut_days) in enumerate(self.choice):
            total -= problem.sample_fee[lot, option] + problem.cut_day_cost * len(cut_days)
        return total
