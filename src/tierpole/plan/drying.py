"""The barn after a schedule is chosen: its hangings simulated, the other days reckoned anew."""

from __future__ import annotations

import numpy as np

from tierpole.outlook.curing import LOADS, stick_weight
from tierpole.outlook.hanging import Batch, dry_hanging
from tierpole.plan.harvest import Drying, Harvest, hold_days
from tierpole.plan.problem import Schedule

Array = np.ndarray


def batches_of(harvest: Harvest, schedule: Schedule) -> list[Batch]:
    """Everything a schedule hangs, one batch for each place and day."""
    weight = np.array([stick_weight(lot) for lot in harvest.season.lots])
    loads = np.einsum("ldp,l->dp", schedule.sticks, weight)
    first = harvest.season.index(harvest.cut_days[0])
    return [
        Batch(place=int(place), day=first + int(day), load=float(loads[day, place]))
        for day, place in np.argwhere(loads > 0)
    ]


def dry_again(harvest: Harvest, before: Drying, schedule: Schedule) -> tuple[Drying, float]:
    """Drying with the schedule's own hangings re-simulated, and by how many days the most moved.

    Days on which nothing is hung in a place are reckoned at the fullest the place gets, and no
    quicker than the days near them: a day reckoned quick while empty would be filled, and prove
    slow, round after round.
    """
    batches = batches_of(harvest, schedule)
    dried = dry_hanging(harvest.season, harvest.outlook, batches)
    loss, held = _at_fullest(harvest, schedule, before)
    first = harvest.season.index(harvest.cut_days[0])
    seen_held = np.zeros_like(held)
    move = 0.0
    for number, batch in enumerate(batches):
        day = batch.day - first
        seen = int(hold_days(dried.drying_days[:, number]))
        move = max(move, abs(seen - int(before.hold_days[batch.place, day])))
        seen_held[batch.place, day] = seen
        loss[:, day, batch.place] = dried.drying_loss[dried.barn_row, number]
    return Drying(loss, _with_neighbours(held, seen_held)), move


def _with_neighbours(held: Array, seen: Array) -> Array:
    """Hold [place, day]: as simulated where something hangs, between those days as near them."""
    days = np.arange(held.shape[1])
    found = held.copy()
    for place in range(len(held)):
        hung = np.flatnonzero(seen[place])
        if hung.size:
            near = np.ceil(np.interp(days, hung, seen[place, hung])).astype(held.dtype)
            found[place] = np.where(seen[place] > 0, seen[place], np.maximum(held[place], near))
    return found


def _at_fullest(harvest: Harvest, schedule: Schedule, before: Drying) -> tuple[Array, Array]:
    """Loss [draw, cut_day, place] and hold [place, cut_day] at the fullest each place gets."""
    wet = wet_fill(harvest, schedule, before)  # [place, day]
    fill = np.broadcast_to(wet.max(axis=1, keepdims=True), wet.shape)
    outlook = harvest.outlook
    at_fill = _read(outlook["drying_loss"].values, fill)
    days = _read(outlook["drying_days"].values, fill)
    loss = at_fill[outlook["barn_row"].values].transpose(0, 2, 1).copy()
    return loss, hold_days(days)


def _read(table: Array, fill: Array) -> Array:
    """A table [barn_draw, place, day, load] at a fill of its own for each place and day."""
    above = np.clip(np.searchsorted(LOADS, fill), 1, len(LOADS) - 1)
    low, high = LOADS[above - 1], LOADS[above]
    part = np.clip((fill - low) / (high - low), 0.0, 1.0)
    lower = np.take_along_axis(table, (above - 1)[None, :, :, None], axis=3)[..., 0]
    upper = np.take_along_axis(table, above[None, :, :, None], axis=3)[..., 0]
    return lower * (1.0 - part) + upper * part


def wet_fill(harvest: Harvest, schedule: Schedule, drying: Drying) -> Array:
    """Water-weighted fill of every place [place, day], as a share of all it holds.

    A stick counts in full when hung and loses its weight in a straight line until it is dry.
    """
    problem = harvest.problem
    days = problem.days
    weight = np.array([stick_weight(lot) for lot in harvest.season.lots])
    hung = np.einsum("ldp,l->pd", schedule.sticks, weight)
    wet = np.zeros((len(problem.places), days))
    for place, day in np.argwhere(hung > 0):
        held = int(drying.hold_days[place, day])
        span = np.arange(day, min(day + held, days))
        wet[place, span] += hung[place, day] * (1.0 - (span - day) / held)
    size = np.maximum(problem.capacity.max(axis=1), 1)
    return wet / size[:, None]
