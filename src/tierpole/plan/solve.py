"""Find a schedule close to the best one, and prove how close.

1. The linear relaxation, with every sample day and cut day open, gives the bound.
2. A first schedule near it: the sample each lot leans to and its busiest cut days.
3. Whole samples, cut days still opened in part: this settles the samples and tightens the bound.
4. Mixed-integer programs round those samples and days, each wider than the last and the final one
   with everything open, until the gap asked for or the time is reached.
5. Whole sticks.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from tierpole.errors import Stopped
from tierpole.plan.clock import Clock, Tick
from tierpole.plan.highs import LARGE, Answer, Solver
from tierpole.plan.nearby import Reach, days_in_parts, leaning, near, pinned
from tierpole.plan.problem import NO_SAMPLE, Floats, Ints, Problem, Schedule
from tierpole.plan.program import make_program, read
from tierpole.plan.risk import Aim, Risk, Row
from tierpole.plan.rounding import whole_sticks

REACHES = (Reach(0, 0), Reach(0, 1), Reach(0, 3), Reach(2, 5), Reach(np.inf, np.inf))
FIRST_REACH, TAIL_REACH = Reach(0, 1), Reach(0, 3)
SAMPLES_SHARE = 0.7  # of the seconds left, to settle the samples
ROUNDING_SHARE = 0.15  # of the seconds and the gap, kept for whole sticks
LEAST_SHARE = 0.02  # of the seconds: a search is not begun with less left
TAIL_SHARE = 0.02  # of the gap, how exactly the worst tail is met
FINEST = 1e-7  # gap below which nothing is sought
STAKE_SHARE = 0.01


@dataclass(frozen=True)
class Stop:
    """When a schedule is good enough: its gap to the bound, or the seconds spent."""

    gap: float = 0.006
    seconds: float = 8.0


def solve(problem: Problem, stop: Stop, risk: Risk, tick: Tick | None = None) -> Schedule:
    """The best schedule found within `stop`; `Stopped` from `tick` is raised again with it.

    The bound is always worked out to the end, so a large farm may take longer than asked.
    """
    search = Search(problem, stop, risk, tick)
    try:
        search.relax()
        search.improve()
    except Stopped as stopped:
        stopped.best = search.schedule("stopped")
        raise
    return search.schedule()


def gap_between(problem: Problem, bound: float, objective: float) -> float:
    """How much more than a schedule's dollars the best could bring, as a share of them.

    A schedule worth next to nothing is measured against 1 % of all that is at stake instead.
    """
    return max(bound - objective, 0.0) / max(abs(objective), smallest_stake(problem))


class Search:
    """One solve under way: the program so far, its bound and the best solution found."""

    def __init__(self, problem: Problem, stop: Stop, risk: Risk, tick: Tick | None = None):
        self.problem, self.stop = problem, stop
        self.aim = Aim(problem, risk)
        self.stake = smallest_stake(problem)
        self.program = make_program(problem, risk.weight)
        self.columns = self.program.columns
        if risk.weight > 0:
            self.program = self.program.with_row(*self.aim.tail_row(self.columns))
        self.relaxed = np.zeros(self.columns.count)
        self.best: Floats | None = None
        self.bound, self.objective = np.inf, -np.inf
        self.rounds = 0
        self.clock = Clock(stop.seconds, tick)
        self._least = LEAST_SHARE * stop.seconds

    def relax(self) -> None:
        """Solve the linear relaxation for the bound, and take a first schedule from it."""
        self.clock.begin("bound")
        answer = self._relaxation()
        while self._tail_is_loose(answer.values):
            self._learn_tail(answer.values)
            answer = self._relaxation()
        self.relaxed, self.bound = answer.values, -answer.cost
        fixed = leaning(self.program, self.relaxed, self.problem.max_cut_days)
        self._offer(Solver(fixed, whole=False).run().found)

    def improve(self) -> None:
        """Search wider and wider round the relaxation until close enough or out of time."""
        self.within(FIRST_REACH, self._left() / 3)
        if self.columns.count < LARGE:  # a large farm's samples weigh little one by one
            self.settle_samples(SAMPLES_SHARE * self._left())
        for reach in REACHES[:-1]:
            self.within(reach, self._left() / 2)
        self.bound = min(self.bound, self.within(REACHES[-1], self._left()))

    def settle_samples(self, seconds: float) -> None:
        """Choose whole samples with cut days in parts: a tighter bound, and where to search on."""
        until = time.perf_counter() + seconds
        while not self._is_close() and (left := until - time.perf_counter()) > 0:
            self.clock.begin("samples")
            solver = Solver(days_in_parts(self.program), True, self.clock.watch)
            if self.best is not None:
                solver.start_from(self.best)
            answer = solver.run(left, self._sought() / 4)
            self.clock.check()
            self.bound = min(self.bound, -answer.bound)
            if answer.found is None:
                return
            self.relaxed = answer.found
            if not self._tail_is_loose(answer.found):
                return
            self._tighten(answer.found)

    def start_near(self, schedule: Schedule) -> None:
        """Take a schedule's samples and cut days, instead of the relaxation's, to search round."""
        decided = schedule.decisions(self.problem)
        values = np.zeros(self.columns.count)
        for index, amount in (
            (self.columns.sample, decided.sample),
            (self.columns.opened, decided.opened),
            (self.columns.taken, decided.hung.sum(axis=2)),
        ):
            values[index[index >= 0]] = amount[index >= 0]
        self.relaxed = values
        found = Solver(pinned(self.program, values), whole=False).run().values
        if self._tail_is_loose(found):
            self._learn_tail(found)
            found = Solver(pinned(self.program, values), whole=False).run().values
        self._offer(found)

    def within(self, reach: Reach, seconds: float) -> float:
        """Best schedule within reach, tightening the tail as it goes; returns the reach's bound."""
        bound, until = np.inf, time.perf_counter() + seconds
        while not self._is_close() and (left := until - time.perf_counter()) > self._least:
            self.clock.begin("schedule")
            solver = Solver(near(self.program, self.relaxed, reach), True, self.clock.watch)
            if self.best is not None:
                solver.start_from(self.best)
            answer = solver.run(left, self._sought() / 4, -self._target())
            self.rounds += 1
            bound = min(bound, -answer.bound)
            self._offer(answer.found)
            self.clock.check()
            if answer.found is None or not self._tail_is_loose(answer.found):
                break
            self._tighten(answer.found)
        return bound

    def schedule(self, status: str = "") -> Schedule:
        """The best solution so far in whole sticks; nothing cut at all if there is none yet."""
        sticks = self._whole_sticks()
        problem, columns = self.problem, self.columns
        hung = _whole(read(sticks, columns.hung))
        cut_under = read(sticks, columns.cut).sum(axis=2)
        schedule = Schedule(
            lots=problem.lots,
            places=problem.places,
            sample=_samples(problem, cut_under),
            sticks=hung,
            left=problem.sticks_standing - hung.sum(axis=(1, 2)),
            take_down=_whole(read(sticks, columns.down)),
            strip=self._stripped(sticks),
            objective=np.nan,
            before_rounding=self.objective,
            bound=self.bound,
            gap=np.nan,
            seconds=self.clock.seconds(),
            rounds=self.rounds,
            status=status,
        )
        objective = self.aim.objective(schedule.decisions(problem))
        gap = gap_between(problem, self.bound, objective)
        return replace(schedule, objective=objective, gap=gap, status=status or self._status(gap))

    def _relaxation(self) -> Answer:
        answer = Solver(self.program, whole=False, watch=self.clock.watch).run()
        self.clock.check()
        return answer

    def _learn_tail(self, values: Floats) -> None:
        """Add rows for the worst draws round a relaxed solution, where they are quick to find."""
        solver = Solver(near(self.program, values, TAIL_REACH), False, self.clock.watch)
        while self._tail_is_loose(values):
            solver.add_row(*self._tighten(values))
            values = solver.run().values
            self.clock.check()

    def _offer(self, values: Floats | None) -> None:
        """Keep a solution if it is the best so far."""
        if values is None:
            return
        objective = self.aim.objective(self.columns.decisions(values))
        if objective > self.objective:
            self.best, self.objective = values, objective

    def _tail_is_loose(self, values: Floats) -> bool:
        """True if the tail column stands above the worst draws of its own solution."""
        if self.aim.risk.weight == 0:
            return False
        excess = values[self.columns.tail] - self.aim.tail(self.columns.decisions(values))
        scale = max(abs(self.program.cost @ values), self.stake)
        return bool(excess > max(TAIL_SHARE * self.stop.gap, FINEST) * scale)

    def _tighten(self, values: Floats) -> Row:
        row = self.aim.tail_row(self.columns, self.columns.decisions(values))
        self.program = self.program.with_row(*row)
        return row

    def _whole_sticks(self) -> Floats:
        if self.best is None:
            return np.zeros(self.columns.count)
        gap = max(self.stop.gap * ROUNDING_SHARE / 2, FINEST)
        seconds = max(self.stop.seconds - self.clock.seconds(), ROUNDING_SHARE * self.stop.seconds)
        return whole_sticks(self.problem, self.program, self.best, gap, seconds)

    def _stripped(self, sticks: Floats) -> Ints:
        """Sticks' worth stripped each day: what comes down, if nothing may wait in bulk."""
        if self.problem.bulk_room == 0:
            return _whole(read(sticks, self.columns.down).sum(axis=0))
        return _whole(read(sticks, self.columns.stripped))

    def _is_close(self) -> bool:
        return gap_between(self.problem, self.bound, self.objective) <= self._sought()

    def _sought(self) -> float:
        return self.stop.gap * (1 - ROUNDING_SHARE)

    def _target(self) -> float:
        """Dollars at which the gap sought is reached."""
        return self.bound - self._sought() / (1 + self._sought()) * self._scale()

    def _scale(self) -> float:
        return max(abs(self.bound), self.stake)

    def _left(self) -> float:
        return (1 - ROUNDING_SHARE) * self.stop.seconds - self.clock.seconds()

    def _status(self, gap: float) -> str:
        if gap <= self.stop.gap:
            return "close enough"
        return "time ran out" if self._left() <= 0 else "close but for whole sticks"


def _samples(problem: Problem, cut_under: Floats) -> Ints:
    """The future sample a lot is cut under, else the one it has, else none [lot]."""
    future = cut_under.copy()
    future[:, 0] = 0
    has_old = problem.allowed[:, 0].any(axis=1)
    otherwise = np.where(has_old, 0, NO_SAMPLE)
    return np.where(future.max(axis=1) > 0.5, future.argmax(axis=1), otherwise)


def smallest_stake(problem: Problem) -> float:
    """1 % of the dollars between the best and the worst end of every stick; at least a dollar."""
    swing = np.where(problem.allowed, np.abs(problem.value - problem.value_left[:, None, None]), 0)
    stake = float(problem.sticks_standing @ swing.max(axis=(1, 2)))
    return max(STAKE_SHARE * stake, 1.0)


def _whole(amount: Floats) -> Ints:
    return np.rint(amount).astype(np.int64)
