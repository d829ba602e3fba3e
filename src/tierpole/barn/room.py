"""Where in a place which lot hangs: bays by tier and bent, what blocks what, how often it fills.

Tier 1 is the lowest, bent 1 the one at the door. Lots are kept apart as long as there are bents
for them, so that each can be found, sampled and taken down by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.barn import geometry
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Place
from tierpole.units import FOOT

FILLING = "Fill from the far end, each bent from top to bottom, what dries last first."

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

COEFFICIENTS = Table(
    "Bents",
    (
        Value(
            "bent", 12 * FOOT, "m", Mark.PRACTICE,
            "length of a bent where nobody has counted them; barns have 8 to 16 ft",
            low=8 * FOOT, high=16 * FOOT,
        ),
        Value(
            "wet_load", 1.2, "ratio", Mark.PRACTICE,
            "weight of sticks after rain or rewetting over that when hung: 10 to 20 % more",
            low=1.1, high=1.2,
        ),
        Value(
            "turn", 1.0, "d", Mark.INFERENCE,
            "between the last stick taken down and the first hung: a day to clear and inspect",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Stowed:
    """Sticks of one hanging in the bays of a place [tier, bent]; row 0 is tier 1."""

    lot: str
    sticks: Counts

    @property
    def total(self) -> int:
        """Sticks in all."""
        return int(self.sticks.sum())


@dataclass(frozen=True)
class Blocked:
    """A lot that is ready before another one that hangs between it and the door."""

    lot: str
    by: str


def bents_of(place: Place) -> int:
    """Bents of a place: as counted, else by their usual length."""
    if place.bents is not None:
        return place.bents
    return max(1, round(place.run_length / COEFFICIENTS["bent"]))


def bays(place: Place) -> Counts:
    """Sticks each bay of a place holds [tier, bent]; they add up to its capacity.

    A run's sticks are spread evenly over its bents. Single sticks kept out are taken from the
    lowest bays at the door, for there the posts, doors and ladders are.
    """
    count = bents_of(place)
    along = int(geometry.sticks_per_run(place.run_length, place.stick_spacing))
    edges = np.floor(np.arange(count + 1) * along / count + 1e-9).astype(np.int64)
    room = np.zeros((place.tiers, count), dtype=np.int64)
    for tier in geometry.hung_tiers(place):
        room[tier - 1] = np.diff(edges) * geometry.hung_runs(place)
    flat = room.reshape(-1)  # row by row: the lowest tier first, from the door
    before = np.concatenate(([0], np.cumsum(flat)[:-1]))
    flat -= np.clip(place.keep_out - before, 0, flat)
    return room


def stow(
    room: Counts, lots: Sequence[str], sticks: Sequence[int], standing: Sequence[Stowed] = ()
) -> list[Stowed]:
    """Hangings stowed one after another: from the far end, each bent from top to bottom.

    So crews fill a barn, by trade habit (nothing published was found): they stand in a bent, hang
    it from its top tier down and move towards the door. Tier after tier through the whole barn they
    would climb every bent again for each tier, past what hangs already.

    Parameters
    ----------
    room : sticks each bay holds [tier, bent]
    lots : whose sticks they are, in the order in which they come [hanging]
    sticks : how many [hanging]
    standing : what hangs there already

    A lot takes bents in which no other lot hangs; only when there are none left are bents shared.
    What finds no room is left out.
    """
    taken = sum((one.sticks for one in standing), np.zeros_like(room))
    left = np.maximum(room - taken, 0)
    owner: dict[int, str] = {}
    for one in standing:
        for bent in np.flatnonzero(one.sticks.any(axis=0)):
            owner.setdefault(int(bent), one.lot)
    return [_stow_one(left, owner, *pair) for pair in zip(lots, sticks, strict=True)]


def stow_together(
    room: Counts, lots: Sequence[str], sticks: Sequence[int], ready: ArrayLike,
    standing: Sequence[Stowed] = (),
) -> list[Stowed]:  # fmt: skip
    """What comes on one day, stowed in the order in which it should go in (`order_to_fill`)."""
    order = order_to_fill(ready)
    found = stow(room, [lots[row] for row in order], [sticks[row] for row in order], standing)
    return [found[order.index(row)] for row in range(len(order))]


def _stow_one(left: Counts, owner: dict[int, str], lot: str, sticks: int) -> Stowed:
    """One hanging into the bays `left`, which it takes from."""
    taken = np.zeros_like(left)
    bents = range(left.shape[1] - 1, -1, -1)
    own = [bent for bent in bents if owner.get(bent, lot) == lot]
    for bent in [*own, *(bent for bent in bents if bent not in own)]:
        for tier in range(left.shape[0] - 1, -1, -1):
            here = min(int(left[tier, bent]), sticks - int(taken.sum()))
            if here > 0:
                taken[tier, bent] += here
                left[tier, bent] -= here
                owner.setdefault(bent, lot)
    return Stowed(lot, taken)


def blocked(stowed: Sequence[Stowed], ready: ArrayLike, has_aisle: bool) -> list[Blocked]:
    """Which lots hang in the way of others that come down before them.

    Parameters
    ----------
    stowed : what hangs, with its bays [hanging]
    ready : day on which each may come down [d], [hanging]
    has_aisle : whether runs are kept free, so that everything can be reached
    """
    if has_aisle:
        return []
    days = np.asarray(ready, dtype=float)
    found = [
        Blocked(inner.lot, outer.lot)
        for i, inner in enumerate(stowed)
        for o, outer in enumerate(stowed)
        if inner.lot != outer.lot and days[o] > days[i] and _is_nearer(outer, inner)
    ]
    return list(dict.fromkeys(found))


def _is_nearer(outer: Stowed, inner: Stowed) -> bool:
    """Whether some of one hangs between the door and some of the other."""
    bents = [np.flatnonzero(one.sticks.sum(axis=0)) for one in (outer, inner)]
    return all(b.size for b in bents) and int(bents[0].min()) < int(bents[1].max())


def order_to_empty(stowed: Sequence[Stowed], ready: ArrayLike) -> list[int]:
    """Rows of `stowed` in the order to take down: the first ready first, from the door inwards."""
    days = np.floor(np.asarray(ready, dtype=float))
    door = [int(np.argmax(one.sticks.sum(axis=0) > 0)) for one in stowed]
    return sorted(range(len(stowed)), key=lambda row: (days[row], door[row]))


def order_to_fill(ready: ArrayLike) -> list[int]:
    """Rows in the order to hang what comes together: what dries last goes in first, deepest."""
    return [int(row) for row in np.argsort(-np.asarray(ready, dtype=float), kind="stable")]


def acres_of(sticks: ArrayLike, plants_per_stick: ArrayLike, density: ArrayLike) -> Array:
    """Land whose plants fill so many sticks.

    Parameters
    ----------
    sticks : [1], any shape
    plants_per_stick : [1], broadcast
    density : plants on the land [1/m²], broadcast

    Returns
    -------
    area : [m²]

    Equation: A = sticks x plants per stick / density.
    Source: counting.
    """
    plants = np.asarray(sticks, dtype=float) * np.asarray(plants_per_stick)
    return plants / np.asarray(density)


def rail_share(place: Place, stick_weight: ArrayLike) -> Array | None:
    """Load of hung sticks on an inner rail as a share of the limit entered for the place.

    Parameters
    ----------
    place : with its stick spacing, and its rail limit if there is one
    stick_weight : [kg], any shape

    Returns
    -------
    share : [1]; None where no limit was entered, for then nothing can be said

    Equation: w / w_limit, w of `geometry.rail_load`.
    Source: statics; the limit is the farmer's.
    """
    if place.rail_limit is None:
        return None
    load = geometry.rail_load(stick_weight, place.stick_spacing)
    return load / (geometry.COEFFICIENTS["gravity"] * place.rail_limit)


def filling_days(
    free: ArrayLike, drying_days: Array, last: float, turn: float = COEFFICIENTS["turn"]
) -> Array:
    """Day on which each filling of a place is dry, when it is filled again as soon as it is empty.

    Parameters
    ----------
    free : day on which it is free first [d], [draw] or one for all
    drying_days : days what is hung on each day takes [d], [draw, day]
    last : day after which nothing is hung any more [d]
    turn : between two fillings [d]

    Returns
    -------
    ready : [d], [draw, filling]; NaN where there is no such filling

    Equation: t₁ = t_free + d(t_free), tₙ₊₁ = tₙ + turn + d(tₙ + turn), hung by `last`.
    Source: counting.
    """
    draws, days = drying_days.shape
    start = np.broadcast_to(np.asarray(free, dtype=float), (draws,)).copy()
    found: list[Array] = []
    while True:
        is_hung = start <= last
        if not is_hung.any():
            break
        day = np.clip(np.floor(start), 0, days - 1).astype(np.int64)
        ready = np.where(is_hung, start + drying_days[np.arange(draws), day], np.nan)
        found.append(ready)
        start = np.where(is_hung, ready + turn, np.inf)
    return np.stack(found, axis=1) if found else np.empty((draws, 0))
