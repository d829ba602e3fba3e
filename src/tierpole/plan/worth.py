"""What one more of a scarce thing would bring: the schedule is searched again with it.

Shadow prices only say what is worth trying: they hold for one more stick at fixed samples, while
ten more stick places may move a sample. So the dollars told to a person come from solving twice,
with and without the change, round the same schedule and to the same fine gap. The cut days are the
schedule's own (a longer window adds its days): with all days open the two searches would end so far
apart by chance that a few dollars could not be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tierpole.plan.highs import Solver
from tierpole.plan.nearby import Reach, pinned
from tierpole.plan.problem import Bools, Floats, Ints, Problem, Schedule, ruling_sample
from tierpole.plan.program import read
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Search, Stop

FINE_GAP = 1e-4
REACH = Reach(1, 0)  # samples may move by a visit; sticks between the schedule's cut days
WEEK = 7
CENT = 0.01


@dataclass(frozen=True)
class MoreRoom:
    """More stick places in one place, on the days it can be used."""

    place: int
    sticks: int = 10

    def applied(self, problem: Problem) -> Problem:
        """The problem with this change."""
        capacity = problem.capacity.copy()
        capacity[self.place, capacity[self.place] > 0] += self.sticks
        return replace(problem, capacity=capacity)


@dataclass(frozen=True)
class MoreCrew:
    """More crew hours on each working day from `first` to `last`."""

    first: int
    last: int
    hours: float = 1.0

    def applied(self, problem: Problem) -> Problem:
        """The problem with this change."""
        hours = problem.crew_hours.copy()
        span = np.arange(problem.days)
        hours[(span >= self.first) & (span <= self.last) & (hours > 0)] += self.hours
        return replace(problem, crew_hours=hours)


@dataclass(frozen=True)
class LongerWindow:
    """A legal window that ends some days later, under every sample of a lot."""

    lot: int
    days: int = 1

    def applied(self, problem: Problem) -> Problem:
        """The problem with this change."""
        allowed = problem.allowed.copy()
        for option in np.flatnonzero(allowed[self.lot].any(axis=1)):
            last = np.flatnonzero(allowed[self.lot, option])[-1]
            allowed[self.lot, option, last + 1 : last + 1 + self.days] = True
        return replace(problem, allowed=allowed)


@dataclass(frozen=True)
class MoreSticks:
    """More sticks owned."""

    sticks: int = 10

    def applied(self, problem: Problem) -> Problem:
        """The problem with this change."""
        return replace(problem, sticks_owned=problem.sticks_owned + self.sticks)


@dataclass(frozen=True)
class FasterDrying:
    """What is hung in a place takes some share less days to dry."""

    place: int
    share: float = 0.2

    def applied(self, problem: Problem) -> Problem:
        """The problem with this change."""
        hold = problem.hold_days.copy()
        hold[self.place] = np.maximum(np.ceil(hold[self.place] * (1 - self.share)), 1)
        return replace(problem, hold_days=hold)


Change = MoreRoom | MoreCrew | LongerWindow | MoreSticks | FasterDrying


@dataclass(frozen=True)
class Gain:
    """Dollars a change brings, and between which two numbers the proof leaves it."""

    change: Change
    dollars: float
    low: float
    high: float


@dataclass(frozen=True)
class Binding:
    """A limit a schedule runs into, and the dollars one more unit of it would bring that day."""

    group: str  # room, crew, haul, sticks_in_use or bulk
    place: int | None
    day: int
    dollars: float


def worth(
    problem: Problem,
    schedule: Schedule,
    changes: Sequence[Change],
    risk: Risk,
    seconds: float = 4.0,
) -> tuple[Gain, ...]:
    """What each change alone would bring, searched round a schedule for `seconds` each."""
    legal = np.any(problem.allowed, axis=1)
    before = _best_near(problem, schedule, np.zeros_like(legal), risk, seconds)
    gains = []
    for change in changes:
        changed = change.applied(problem)
        new_days = np.any(changed.allowed, axis=1) & ~legal
        after = _best_near(changed, schedule, new_days, risk, seconds)
        # no change takes anything away, so less than nothing is only a search cut short
        dollars, low, high = after[0] - before[0], after[0] - before[1], after[1] - before[0]
        gains.append(Gain(change, max(dollars, 0.0), max(low, 0.0), max(high, 0.0)))
    return tuple(gains)


def worth_trying(problem: Problem, schedule: Schedule, risk: Risk) -> tuple[Change, ...]:
    """Changes that may bring something, those with the largest shadow prices first."""
    bindings = binding(problem, schedule, risk)
    hoped: dict[Change, float] = {}
    for limit in bindings:
        change = _change_for(problem, limit)
        if change is not None:
            hoped[change] = hoped.get(change, 0.0) + limit.dollars
    ranked = sorted(hoped, key=lambda change: -hoped[change])
    return (*ranked, *(LongerWindow(int(lot)) for lot in _cut_on_last_day(problem, schedule)))


def binding(problem: Problem, schedule: Schedule, risk: Risk) -> tuple[Binding, ...]:
    """Limits with a shadow price, dearest first, while samples and cut days stay as they are."""
    search = Search(problem, Stop(), risk)
    search.start_near(schedule)
    answer = Solver(pinned(search.program, search.relaxed), whole=False).run()
    columns, program = search.columns, search.program
    found = [
        *_limits("room", -read(answer.column_dual, columns.load)),
        *_limits("bulk", -read(answer.column_dual, columns.bulk)),
        *(
            limit
            for group in ("crew", "haul", "sticks_in_use")
            for limit in _limits(group, -answer.row_dual[program.rows(group)])
        ),
    ]
    return tuple(sorted(found, key=lambda limit: -limit.dollars))


def _best_near(
    problem: Problem, schedule: Schedule, days: Bools, risk: Risk, seconds: float
) -> tuple[float, float]:
    """Best objective round a schedule and on `days` [lot, day], and the bound there."""
    search = Search(problem, Stop(FINE_GAP, seconds), risk)
    search.start_near(schedule)
    taken = search.columns.taken
    search.relaxed[taken[days & (taken >= 0)]] = 1.0
    bound = search.within(REACH, seconds)
    return search.objective, bound


def _limits(group: str, price: Floats) -> list[Binding]:
    """Limits [place, day] or [day] whose shadow price is at least a cent."""
    return [
        Binding(group, int(at[0]) if len(at) > 1 else None, int(at[-1]), float(price[tuple(at)]))
        for at in np.argwhere(price >= CENT)
    ]


def _change_for(problem: Problem, limit: Binding) -> Change | None:
    if limit.group == "room" and limit.place is not None:
        return MoreRoom(limit.place)
    if limit.group == "crew":
        first = limit.day // WEEK * WEEK
        return MoreCrew(first, min(first + WEEK, problem.days) - 1)
    return MoreSticks() if limit.group == "sticks_in_use" else None


def _cut_on_last_day(problem: Problem, schedule: Schedule) -> Ints:
    """Lots cut on the last day their sample allows, with a day after it."""
    taken = schedule.sticks.sum(axis=2) > 0
    ruling = ruling_sample(problem, schedule.sample)
    lots = np.flatnonzero(taken.any(axis=1))
    last = [np.flatnonzero(taken[lot])[-1] for lot in lots]
    late = [
        day + 1 < problem.days and not problem.allowed[lot, ruling[lot, day], day + 1]
        for lot, day in zip(lots, last, strict=True)
    ]
    return lots[np.array(late, dtype=bool)]
