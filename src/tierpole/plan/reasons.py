"""Why a lot's sampling day is what it is: the exact difference to a week earlier or later.

The other day is forced, the days round the plan's own are planned anew for every lot, and both
schedules are valued over the same draws. What the lot itself gains or loses is told apart stick by
stick (the first stick cut under one schedule against the first under the other); what moving it
does to the other lots is "room and crew". The pieces add up to the whole difference.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tierpole.money import Sales, split_change, value_per_stick
from tierpole.plan.harvest import Drying, Harvest
from tierpole.plan.nearby import Reach
from tierpole.plan.problem import NO_SAMPLE, Problem, Schedule
from tierpole.plan.result import Reason
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Search, Stop
from tierpole.plan.value import revalue
from tierpole.season import DAYS

Array = np.ndarray
WEEK = 7
SECONDS = 1.0
FORCED = Stop(gap=0.002, seconds=SECONDS)
REACH = Reach(0, 2)  # cut days may move by two round the plan's own

CAUSES = {
    "content": "CBD",
    "mass": "growth",
    "p_pass": "pass risk",
    "frost": "frost",
    "other": "mould, borers and shatter",
    "drying": "drying and barn mould",
}
ROOM = "room and crew, other lots"
STICKS = "sticks hung or left"
LABOUR = "cut days and samples"


def reasons(
    harvest: Harvest, schedule: Schedule, drying: Drying, risk: Risk, lot: int
) -> tuple[Reason, ...]:
    """What a week earlier and a week later would change for a lot, in dollars by cause."""
    option = int(schedule.sample[lot])
    if option <= 0:
        return ()
    found = []
    for word, days in (("a week earlier", -WEEK), ("a week later", WEEK)):
        other = _shifted(harvest, lot, option, days)
        if other is None:
            continue
        forced = _replanned(harvest, schedule, lot, other, risk)
        day = harvest.sample_days[other]
        found.append(
            Reason(f"{word} ({day})", tuple(_pieces(harvest, drying, schedule, forced, lot)))
        )
    return tuple(found)


def _shifted(harvest: Harvest, lot: int, option: int, days: int) -> int | None:
    """The open option nearest to so many days from the chosen one, on its own side of it."""
    chosen = harvest.sample_days[option]
    best: tuple[int, int] | None = None
    for other, day in enumerate(harvest.sample_days):
        if day is None or chosen is None or not harvest.problem.allowed[lot, other].any():
            continue
        moved = (day - chosen).days
        if moved * days > 0 and (best is None or abs(moved - days) < best[0]):
            best = (abs(moved - days), other)
    return best[1] if best and best[0] <= WEEK // 2 else None


def _replanned(harvest: Harvest, schedule: Schedule, lot: int, option: int, risk: Risk) -> Schedule:
    """The best schedule round the plan's own with one lot sampled and cut on other days."""
    problem = _forced(harvest.problem, schedule, lot, option)
    days = _days_between(harvest, int(schedule.sample[lot]), option)
    sticks, sample = schedule.sticks.copy(), schedule.sample.copy()
    moved = np.roll(sticks[lot], days, axis=0)
    sticks[lot] = np.where(problem.allowed[lot, option][:, None], moved, 0)
    sample[lot] = option
    search = Search(problem, FORCED, risk)
    search.start_near(replace(schedule, sample=sample, sticks=sticks))
    search.within(REACH, SECONDS)
    return search.schedule()


def _days_between(harvest: Harvest, option: int, other: int) -> int:
    before, after = harvest.sample_days[option], harvest.sample_days[other]
    return (after - before).days if before and after else 0


def _forced(problem: Problem, schedule: Schedule, lot: int, option: int) -> Problem:
    """The problem with every lot's sample fixed: the schedule's own, but `option` for one lot."""
    fixed = schedule.sample.copy()
    fixed[lot] = option
    options = np.arange(problem.shape[1])
    keep = (options == fixed[:, None]) | (options == 0)
    return replace(problem, allowed=problem.allowed & keep[:, :, None])


def _pieces(
    harvest: Harvest, drying: Drying, before: Schedule, after: Schedule, lot: int
) -> Iterator[tuple[str, float]]:
    """Dollars by cause, adding up to the exact difference of the two schedules."""
    old, new = revalue(harvest.problem, before), revalue(harvest.problem, after)
    by_lot = (new.by_lot - old.by_lot).mean(axis=0)
    own = _Lot(harvest, drying, lot)
    told = dict.fromkeys(CAUSES, 0.0)
    for pair in _pairs(before.sticks[lot], after.sticks[lot]):
        for cause, dollars in own.change(pair, before.sample[lot], after.sample[lot]).items():
            told[cause] += dollars
    labour = _labour(harvest.problem, after, lot) - _labour(harvest.problem, before, lot)
    yield from ((name, told[cause]) for cause, name in CAUSES.items())
    yield LABOUR, labour
    yield STICKS, float(by_lot[lot]) - sum(told.values()) - labour
    yield ROOM, float(by_lot.sum() - by_lot[lot])


def _labour(problem: Problem, schedule: Schedule, lot: int) -> float:
    option = schedule.sample[lot]
    fee = problem.sample_fee[lot, option] if option != NO_SAMPLE else 0.0
    cut_days = (schedule.sticks[lot].sum(axis=1) > 0).sum()
    return -float(fee + problem.cut_day_cost * cut_days)


@dataclass(frozen=True)
class _Pair:
    """So many sticks cut (day, place) in one schedule and (day, place) in the other."""

    sticks: int
    before: tuple[int, int]
    after: tuple[int, int]


def _pairs(before: Array, after: Array) -> Iterator[_Pair]:
    """Match sticks [day, place] of two schedules in the order they are cut."""
    old, new = list(_runs(before)), list(_runs(after))
    while old and new:
        (at, left), (to, open_) = old[0], new[0]
        count = min(left, open_)
        yield _Pair(count, at, to)
        old[:1] = [(at, left - count)] if left > count else []
        new[:1] = [(to, open_ - count)] if open_ > count else []


def _runs(sticks: Array) -> Iterator[tuple[tuple[int, int], int]]:
    for day, place in np.argwhere(sticks):
        yield (int(day), int(place)), int(sticks[day, place])


class _Lot:
    """Mean dollars of one lot's stick from the causes of its worth."""

    def __init__(self, harvest: Harvest, drying: Drying, lot: int):
        self._season, self._loss = harvest.season, drying.loss
        outlook, draws = harvest.outlook, harvest.draws
        self._p_pass, self._fail = draws.p_pass[:, lot], draws.fail[:, lot]
        first = self._season.index(harvest.cut_days[0])
        days = slice(first, min(first + len(harvest.cut_days), DAYS))
        plants = self._season.lots[lot].plants_per_stick
        self._mass = outlook["flower_mass"].values[:, lot, days].astype(float) * plants
        self._content = (
            outlook["cbd"].values[:, lot, days] / outlook["top_to_plant"].values[:, lot, None]
        )
        self._frost = outlook["frost_loss"].values[:, lot, days].astype(float)
        self._other = outlook["field_loss"].values[:, lot, days].astype(float)
        price, paid = outlook["price"].values, outlook["paid_share"].values
        self._sales = Sales(price, paid, np.zeros(price.size, dtype=np.int64))

    def change(self, pair: _Pair, option: int, other: int) -> dict[str, float]:
        """Dollars by cause of moving a pair's sticks from one day and place to the other."""
        before, after = self._causes(*pair.before, option), self._causes(*pair.after, other)
        parts = split_change(self._worth, before, after)
        return {cause: pair.sticks * float(dollars) for cause, dollars in parts.items()}

    def _causes(self, day: int, place: int, option: int) -> dict[str, Array]:
        chance = np.stack([self._p_pass[:, option], self._fail[:, option]])
        return {
            "content": self._content[:, day],
            "mass": self._mass[:, day],
            "p_pass": chance,
            "frost": self._frost[:, day],
            "other": self._other[:, day],
            "drying": self._loss[:, day, place],
        }

    def _worth(self, causes: Mapping[str, Array | float]) -> Array:
        chance, fail = np.asarray(causes["p_pass"])
        kept = (1 - causes["frost"]) * (1 - causes["other"]) * (1 - causes["drying"])
        sold = causes["mass"] * kept / (1 - self._season.market.moisture)
        season = self._season
        passed = value_per_stick(
            sold, causes["content"], self._sales, season.market, season.crew, season.costs
        ).total
        return (chance * passed + (1 - chance) * fail).mean()
