"""The demo farm cut down to three lots and two places, small enough to plan in a test."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

from tierpole.scenario import demo_path, read_scenario

if TYPE_CHECKING:
    from tierpole.season import Season

LOTS = ("1 River", "2 Barn field", "6 South bottom")
PLACES = ("Fan shed", "Frame")


@cache
def small_season() -> Season:
    """Three lots of the demo, smaller, with what was recorded of them."""
    season = read_scenario(demo_path())
    lots = tuple(
        lot.model_copy(update={"plants_set": lot.plants_set // 4, "area": lot.area / 4})
        for lot in season.lots
        if lot.name in LOTS
    )
    kept = {lot.name for lot in lots}

    def of_kept(facts: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(fact for fact in facts if fact.lot in kept)

    def quarter(facts: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(f.model_copy(update={"sticks": f.sticks // 4}) for f in of_kept(facts))

    return replace(
        season,
        lots=lots,
        places=tuple(p for p in season.places if p.name in PLACES),
        tests=of_kept(season.tests),
        samples=of_kept(season.samples),
        flowering=of_kept(season.flowering),
        readings=of_kept(season.readings),
        cuts=quarter(season.cuts),
        hangings=quarter(season.hangings),
    )
