"""On which tier each stick of the plan goes: filled from the top tier down, day by day.

A plan says the place; the tier is a rule of the crew. Tiers count from the ground, so the highest
number is the top. What is taken down is taken from the oldest hanging first, as in the plan.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from tierpole.barn.room import bays
from tierpole.charts.reading import as_dates
from tierpole.farm import Place
from tierpole.plan.result import PlacePlan, Plan
from tierpole.season import Season

RULE = "Tiers are filled from the top down, the rule of this paper; the plan itself says the place."


@dataclass(frozen=True)
class Bundle:
    """Sticks of one lot hung on one day on one tier (None where no tier has room)."""

    lot: str
    hung_on: date
    tier: int | None
    sticks: int


@dataclass(frozen=True)
class TierDay:
    """What hangs in a place at the end of a day, and what was hung and taken down on it."""

    day: date
    hanging: tuple[Bundle, ...]
    hung: tuple[Bundle, ...]
    taken: tuple[Bundle, ...]


def tier_room(place: Place) -> dict[int, int]:
    """Sticks that each tier holds, the top one first; a tier that is kept free is left out."""
    sticks = bays(place).sum(axis=1)
    return {tier: int(sticks[tier - 1]) for tier in range(place.tiers, 0, -1) if sticks[tier - 1]}


def tier_days(season: Season, plan: Plan, place: str) -> tuple[TierDay, ...]:
    """Every day of the plan in one place, tier by tier."""
    noun = season.places[season.place_index(place)]
    load = next(found for found in plan.places if found.place == place)
    standing: list[Bundle] = []
    for hanging in sorted(season.hanging_now(), key=lambda hanging: hanging.hung_on):
        if hanging.place == place:
            standing += _hang(noun, standing, hanging.lot, hanging.hung_on, hanging.sticks)
    days = []
    for day, down in _take_downs(load):
        standing, taken = _take_down(standing, down)
        hung: list[Bundle] = []
        for cut in (cut for cut in plan.cuts if cut.place == place and cut.day == day):
            hung += _hang(noun, [*standing, *hung], cut.lot, day, cut.sticks)
        standing = [*standing, *hung]
        days.append(TierDay(day, tuple(standing), tuple(hung), tuple(taken)))
    return tuple(days)


def _take_downs(load: PlacePlan) -> Iterable[tuple[date, int]]:
    """Whole sticks taken down each day; parts of a stick are carried on."""
    carried, done = 0.0, 0
    for day, sticks in zip(as_dates(load.days), load.taken_down, strict=True):
        carried += float(sticks)
        whole = round(carried) - done
        done += whole
        yield day, whole


def _hang(place: Place, standing: list[Bundle], lot: str, day: date, sticks: int) -> list[Bundle]:
    """Bundles of so many sticks in the free room, the top tier first."""
    hung = []
    for tier, room in tier_room(place).items():
        free = room - sum(bundle.sticks for bundle in standing if bundle.tier == tier)
        here = min(sticks, max(free, 0))
        if here:
            hung.append(Bundle(lot, day, tier, here))
            sticks -= here
    return [*hung, Bundle(lot, day, None, sticks)] if sticks else hung


def _take_down(standing: list[Bundle], sticks: int) -> tuple[list[Bundle], list[Bundle]]:
    """What is left after taking so many down, the oldest first, and what was taken."""
    left: list[Bundle] = []
    taken: list[Bundle] = []
    for bundle in sorted(standing, key=lambda bundle: bundle.hung_on):
        down = min(bundle.sticks, sticks)
        sticks -= down
        parts = ((taken, down), (left, bundle.sticks - down))
        for pile, count in parts:
            if count:
                pile.append(replace(bundle, sticks=count))
    return left, taken
