"""What one lot could do otherwise while every other lot keeps to the schedule.

Each sample day, and no sample at all, is one choice; its sticks go, best paid first, to the days
and places that the others leave. What a choice pays is known draw by draw, so that it can be asked
which one to take when more is known of the lot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.plan.problem import NO_SAMPLE, Draws, Floats, Ints, Problem, Schedule
from tierpole.plan.value import drawn


@dataclass(frozen=True)
class Choices:
    """Choices of one lot: sample `option` [choice], `sticks` [choice, day, place], what it pays.

    `dollars` are [choice, draw]; the last choice is to take no sample and cut nothing.
    """

    lot: int
    option: Ints
    sticks: Floats
    dollars: Floats


@dataclass(frozen=True)
class _Left:
    """What the other lots leave free: stick places [place, day] and crew hours [day]."""

    room: Floats
    hours: Floats


def choices_of(problem: Problem, schedule: Schedule, lot: int) -> Choices:
    """Every choice a lot has, with its sticks where the other lots leave room and hours."""
    left = _left_to(problem, schedule, lot)
    options = [int(one) for one in np.flatnonzero(problem.allowed[lot].any(axis=1)) if one]
    sticks = [_packed(problem, left, lot, option) for option in options]
    paid = [_paid(problem, lot, o, s) for o, s in zip(options, sticks, strict=True)]
    unsampled = drawn(problem).left[:, lot] * float(problem.sticks_standing[lot])
    nothing = np.zeros((problem.days, len(problem.places)))
    return Choices(
        lot,
        np.array([*options, NO_SAMPLE]),
        np.array([*sticks, nothing]),
        np.array([*paid, unsampled]),
    )


def _left_to(problem: Problem, schedule: Schedule, lot: int) -> _Left:
    """Room and hours without the lot's own sticks, which hang as long as the plan reckons."""
    hung = schedule.sticks.sum(axis=0).T  # [place, day]
    there = np.array([problem.hanging_in(place) for place in range(len(problem.places))])
    hanging = there[:, None] + np.cumsum(hung - schedule.take_down, axis=1)
    own = schedule.sticks[lot].T.astype(float)
    room = problem.capacity - hanging + _load(own, problem.hold_days)
    used = np.einsum("ldp,l->d", schedule.sticks, problem.hours_hang)
    used += schedule.take_down.sum(axis=0) * problem.hours_take_down
    used -= own.sum(axis=0) * problem.hours_hang[lot]
    return _Left(np.maximum(room, 0.0), np.maximum(problem.crew_hours - used, 0.0))


def _load(hung: Floats, hold: Ints) -> Floats:
    """Sticks in every place [place, day] from what is hung [place, day] and how long it stays."""
    days = np.arange(hung.shape[1])
    since = days - days[:, None]  # [day hung, day]
    stays = (since >= 0).astype(float) * (since < hold[:, :, None])
    return np.einsum("pd,pdt->pt", hung, stays)


def _packed(problem: Problem, left: _Left, lot: int, option: int) -> Floats:
    """Sticks [day, place] of a lot under a sample: day after day the one that adds most dollars."""
    paid = problem.value[lot, option][:, None] + problem.place_value[lot]
    paid = np.maximum(paid - problem.value_left[lot], 0.0)
    days = np.flatnonzero(problem.allowed[lot, option])
    sticks = np.zeros_like(paid)
    room, standing = left.room.copy(), float(problem.sticks_standing[lot])
    able = np.minimum(_by_hours(problem, left, lot), problem.haul_limit)
    for _ in range(int(problem.max_cut_days[lot])):
        hung = _one_day(paid[days], _room_to_dry(problem, room, days), able[days], standing)
        dollars = (hung * paid[days]).sum(axis=1) - problem.cut_day_cost
        best = int(dollars.argmax())
        if dollars[best] <= 0:
            break
        day, days = int(days[best]), np.delete(days, best)
        sticks[day] = hung[best]
        standing -= hung[best].sum()
        for place in np.flatnonzero(hung[best]):
            room[place, day : day + int(problem.hold_days[place, day])] -= hung[best, place]
        if not days.size:
            break
    return sticks


def _by_hours(problem: Problem, left: _Left, lot: int) -> Floats:
    """Sticks of a lot that the hours left can bring in [day]."""
    hours = problem.hours_hang[lot]
    return left.hours / hours if hours else np.full_like(left.hours, np.inf)


def _room_to_dry(problem: Problem, room: Floats, days: Ints) -> Floats:
    """Sticks [day, place] that find room from the day they are hung until they are dry."""
    return np.array(
        [
            [
                room[place, day : day + int(problem.hold_days[place, day])].min()
                for place in range(len(room))
            ]
            for day in days
        ]
    )


def _one_day(paid: Floats, room: Floats, able: Floats, standing: float) -> Floats:
    """Whole sticks [day, place] if all were hung on the one day, in the best paid places first."""
    order = np.argsort(-paid, axis=1)
    room = np.where(np.take_along_axis(paid, order, 1) > 0, np.take_along_axis(room, order, 1), 0.0)
    room = np.floor(room)
    most = np.floor(np.minimum(able, standing))[:, None]
    before = np.cumsum(room, axis=1) - room
    hung = np.clip(most - before, 0.0, room)
    sticks = np.empty_like(hung)
    np.put_along_axis(sticks, order, hung, 1)
    return sticks


def _paid(problem: Problem, lot: int, option: int, sticks: Floats) -> Floats:
    """Dollars of a choice [draw]; what is not cut counts as left."""
    draws: Draws = drawn(problem)
    chance = draws.p_pass[:, lot, option]
    passed = draws.cut[:, lot] @ sticks.sum(axis=1)
    if draws.place is not None:
        passed = passed + np.einsum("ndp,dp->n", draws.place[:, lot], sticks)
    failed = draws.fail[:, lot, option] * sticks.sum()
    left = draws.left[:, lot] * (problem.sticks_standing[lot] - sticks.sum())
    fixed = problem.sample_fee[lot, option] + problem.cut_day_cost * (sticks.sum(axis=1) > 0).sum()
    return chance * passed + (1.0 - chance) * failed + left - fixed
