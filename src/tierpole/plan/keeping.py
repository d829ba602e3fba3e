"""What of a schedule can be kept once its places are known to dry slower than it reckoned.

A schedule is made with drying times that its own load then changes. Here it is gone through day by
day with the new ones: what is dry comes down as the hours left allow, what is due goes up where
there is room or waits for it, and what waits too long stays in the field. So a plan never counts on
room that is not free.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from tierpole.plan.problem import Floats, Ints, Problem, Schedule, ruling_sample

Array = np.ndarray
LATE_CUT_DAYS = 3  # more than a lot may be split into, for sticks that wait for room


@dataclass
class Barns:
    """Places as they fill and empty, day by day."""

    problem: Problem
    hanging: Array = field(init=False)  # [place]
    ready: list[list[tuple[int, int]]] = field(init=False)  # per place: (ready day, sticks)

    def __post_init__(self) -> None:
        self.hanging = np.zeros(len(self.problem.places), dtype=int)
        self.ready = [[] for _ in self.problem.places]
        for row in self.problem.hanging:
            self.hang(row.place, row.ready, row.sticks)

    def hang(self, place: int, ready: int, sticks: int) -> None:
        """Hang sticks that are dry on a day."""
        self.hanging[place] += sticks
        self.ready[place].append((ready, sticks))

    def take_down(
        self, day: int, hours: float, per_stick: float | None = None
    ) -> tuple[Array, float]:
        """Take down what is dry, as far as the hours go; returns sticks [place] and hours left."""
        down = np.zeros_like(self.hanging)
        per_stick = self.problem.hours_take_down if per_stick is None else per_stick
        for place, batches in enumerate(self.ready):
            kept = []
            for ready, sticks in sorted(batches):
                able = int(hours / per_stick) if per_stick else sticks
                taken = min(sticks, able) if ready <= day else 0
                down[place] += taken
                hours -= taken * per_stick
                if taken < sticks:
                    kept.append((ready, sticks - taken))
            self.ready[place] = kept
        self.hanging -= down
        return down, hours

    def room(self, day: int) -> Array:
        """Sticks each place can still take on a day [place], owned sticks included."""
        free = np.maximum(self.problem.capacity[:, day] - self.hanging, 0)
        owned = max(self.problem.sticks_owned - int(self.hanging.sum()), 0)
        return np.minimum(free, owned)


def kept(problem: Problem, schedule: Schedule) -> Schedule:
    """The schedule with take-downs when things are dry, and sticks hung when there is room.

    Sticks that find their place full wait for it, as long as their sample allows and the crew has
    hours, on few days more than the lot may be split into; what waits to the end is left.
    """
    work = _Keeping(problem, schedule)
    for day in range(problem.days):
        work.one_day(day)
    left = schedule.left + (schedule.sticks - work.sticks).sum(axis=(1, 2))
    strip = work.down.sum(axis=0) if work.strips else np.zeros_like(schedule.strip)
    return replace(schedule, sticks=work.sticks, left=left, take_down=work.down, strip=strip)


class _Keeping:
    """A schedule gone through day by day."""

    def __init__(self, problem: Problem, schedule: Schedule) -> None:
        self.problem, self.schedule = problem, schedule
        self.ruling = ruling_sample(problem, schedule.sample)  # [lot, day]
        self.dear = _dearest_first(problem, self.ruling)
        self.barns = Barns(problem)
        self.sticks = np.zeros_like(schedule.sticks)
        self.down = np.zeros_like(schedule.take_down)
        self.waiting = np.zeros_like(schedule.sticks[:, 0])  # [lot, place]
        self.strips = bool(np.isfinite(problem.bulk_room))

    def one_day(self, day: int) -> None:
        """Take down what is dry, then hang what is due and what waits."""
        problem, due = self.problem, self.schedule.sticks[:, day]
        planned = float(due.sum(axis=1) @ problem.hours_hang)
        per_stick = problem.hours_take_down + (_hours_strip(problem) if self.strips else 0.0)
        hours = max(float(problem.crew_hours[day]) - planned, 0.0)
        self.down[:, day], hours = self.barns.take_down(day, hours, per_stick)
        hours += planned
        haul = int(min(problem.haul_limit[day], problem.sticks_standing.sum()))
        self.waiting += due
        for lot in self.dear[day]:
            if not self._may_cut(int(lot), day):
                continue
            for place in np.flatnonzero(self.waiting[lot]):
                able = _whole(hours, float(problem.hours_hang[lot]), haul)
                room = int(self.barns.room(day)[place])
                hung = min(int(self.waiting[lot, place]), room, able)
                self._hang(int(lot), day, int(place), hung)
                hours -= hung * float(problem.hours_hang[lot])
                haul -= hung

    def _may_cut(self, lot: int, day: int) -> bool:
        """Whether a sample allows the day, and the lot is not split too often by it."""
        cut_days = int((self.sticks[lot].sum(axis=1) > 0).sum())
        is_free = cut_days < self.problem.max_cut_days[lot] + LATE_CUT_DAYS
        return self.ruling[lot, day] >= 0 and is_free

    def _hang(self, lot: int, day: int, place: int, hung: int) -> None:
        if hung <= 0:
            return
        self.sticks[lot, day, place] += hung
        self.waiting[lot, place] -= hung
        self.barns.hang(place, day + int(self.problem.hold_days[place, day]), hung)


def _whole(hours: float, per_stick: float, most: int) -> int:
    """Whole sticks that hours allow; a billionth short of one is one."""
    return min(int(hours / per_stick + 1e-9), most) if per_stick else most


def _dearest_first(problem: Problem, ruling: Ints) -> Ints:
    """Lots by what a stick cut on each day brings [day, lot], most first."""
    lots, days = np.indices(ruling.shape)
    worth: Floats = problem.value[lots, ruling, days]
    return np.argsort(-worth, axis=0).T


def _hours_strip(problem: Problem) -> float:
    """Hours to strip a stick, over all that stands."""
    standing = problem.sticks_standing
    return float(problem.hours_strip @ standing / max(standing.sum(), 1))
