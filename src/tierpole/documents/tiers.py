"""In which bay each stick hangs, today and by the plan: what is written down, then as it is filled.

A plan says the place; the bay is a rule of the crew (`barn.room.stow`). What hangs today is where
somebody wrote down that it hangs. What is taken down is taken from the oldest hanging first, as in
the plan, and from the door inwards.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from tierpole.barn import room
from tierpole.barn.room import Stowed
from tierpole.charts.reading import as_dates
from tierpole.farm import Place
from tierpole.outlook.stowing import Elevation, elevation
from tierpole.plan.result import PlacePlan, Plan, PlannedCut
from tierpole.season import Season


@dataclass(frozen=True)
class Bundle:
    """Sticks of one lot hung on one day in one bay (None where none has room).

    Tiers count from the ground and bents from the door, both from 1.
    """

    lot: str
    hung_on: date
    tier: int | None
    bent: int | None
    sticks: int


@dataclass(frozen=True)
class TierDay:
    """What hangs in a place at the end of a day, and what was hung and taken down on it."""

    day: date
    hanging: tuple[Bundle, ...]
    hung: tuple[Bundle, ...]
    taken: tuple[Bundle, ...]


@dataclass(frozen=True)
class OnTier:
    """Sticks on one tier."""

    tier: int | None
    sticks: int


def tier_room(place: Place) -> dict[int, int]:
    """Sticks that each tier holds, the top one first; a tier that is kept free is left out."""
    sticks = room.bays(place).sum(axis=1)
    return {tier: int(sticks[tier - 1]) for tier in range(place.tiers, 0, -1) if sticks[tier - 1]}


def tier_days(season: Season, plan: Plan, place: str) -> tuple[TierDay, ...]:
    """Every day of the plan in one place, bay by bay."""
    noun = season.places[season.place_index(place)]
    load = next(found for found in plan.places if found.place == place)
    standing = hanging_today(elevation(season, place))
    days = []
    for day, down in _take_downs(load):
        standing, taken = _take_down(standing, down)
        cuts = [cut for cut in plan.cuts if cut.place == place and cut.day == day]
        hung = _hang(noun, standing, cuts)
        standing = [*standing, *hung]
        days.append(TierDay(day, tuple(standing), tuple(hung), tuple(taken)))
    return tuple(days)


def hanging_today(found: Elevation) -> list[Bundle]:
    """What hangs in a place today, the oldest first."""
    pairs = zip(found.hangings, found.stowed, strict=True)
    bundles = [bundle for one, bays in pairs for bundle in _bundles(bays, one.hung_on, one.sticks)]
    return sorted(bundles, key=lambda bundle: bundle.hung_on)


def on_tiers(bundles: Iterable[Bundle]) -> list[OnTier]:
    """Bundles added up tier by tier, the top one first, what has no tier last."""
    found: Counter[int | None] = Counter()
    for bundle in bundles:
        found[bundle.tier] += bundle.sticks
    return [OnTier(tier, found[tier]) for tier in sorted(found, key=lambda tier: -(tier or 0))]


def _bundles(stowed: Stowed, hung_on: date, sticks: int) -> Iterator[Bundle]:
    """A hanging bay by bay; what found no room has none."""
    for tier, bent in np.argwhere(stowed.sticks > 0)[::-1]:
        here = int(stowed.sticks[tier, bent])
        yield Bundle(stowed.lot, hung_on, int(tier) + 1, int(bent) + 1, here)
    if sticks > stowed.total:
        yield Bundle(stowed.lot, hung_on, None, None, sticks - stowed.total)


def _take_downs(load: PlacePlan) -> Iterable[tuple[date, int]]:
    """Whole sticks taken down each day; parts of a stick are carried on."""
    carried, done = 0.0, 0
    for day, sticks in zip(as_dates(load.days), load.taken_down, strict=True):
        carried += float(sticks)
        whole = round(carried) - done
        done += whole
        yield day, whole


def _hang(place: Place, standing: Sequence[Bundle], cuts: Sequence[PlannedCut]) -> list[Bundle]:
    """What the plan brings on a day, in the room that is left."""
    bays = room.bays(place)
    found = room.stow_together(
        bays, [cut.lot for cut in cuts], [cut.sticks for cut in cuts],
        [cut.dry_on.toordinal() for cut in cuts], [_stowed(bays, one) for one in standing],
    )  # fmt: skip
    pairs = zip(cuts, found, strict=True)
    return [bundle for cut, one in pairs for bundle in _bundles(one, cut.day, cut.sticks)]


def _stowed(bays: room.Counts, bundle: Bundle) -> Stowed:
    """A bundle as the barn knows it."""
    sticks = np.zeros_like(bays)
    if bundle.tier and bundle.bent:
        sticks[bundle.tier - 1, bundle.bent - 1] = bundle.sticks
    return Stowed(bundle.lot, sticks)


def _take_down(standing: Sequence[Bundle], sticks: int) -> tuple[list[Bundle], list[Bundle]]:
    """What is left after taking so many down, the oldest first, and what was taken."""
    left: list[Bundle] = []
    taken: list[Bundle] = []
    for bundle in sorted(standing, key=lambda bundle: (bundle.hung_on, bundle.bent or 0)):
        down = min(bundle.sticks, sticks)
        sticks -= down
        parts = ((taken, down), (left, bundle.sticks - down))
        for pile, count in parts:
            if count:
                pile.append(replace(bundle, sticks=count))
    return left, taken
