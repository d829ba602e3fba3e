"""What a place to cure and the readings taken in it may not say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tierpole.errors import Fault
from tierpole.farm import PlaceKind, StickWeight
from tierpole.season.draft import Check, Draft, Row
from tierpole.units import POUND, to_unit

GROWN = 1.25  # times an earlier weight: more than rain on a roof that leaks, less than 2.2
HEAVIEST = 100 * POUND  # of one stick: three times the heaviest stick of green burley
WITH_FANS = (PlaceKind.SHED, PlaceKind.ROOM)


def airings_are_possible(draft: Draft) -> Iterator[Fault]:
    """Fans and heat run only where there are some."""
    places = {row.noun.name: row.noun for row in draft.rows("places")}
    for row in draft.rows("airings"):
        place = places.get(row.noun.place)
        if place is None:
            continue
        if row.noun.heat and place.heater is None and place.kind is not PlaceKind.ROOM:
            yield row.fault("heat", True, f"false, for no heater is written for {place.name}")
        if row.noun.fans and place.fan_flow is None and place.kind not in WITH_FANS:
            yield row.fault("fans", True, f"false, for no fan_flow is written for {place.name}")


def weights_are_possible(draft: Draft) -> Iterator[Fault]:
    """Sticks are no heavier than anybody lifts, and grow no heavier while they hang."""
    lightest: dict[tuple[object, ...], float] = {}
    for row in sorted(draft.rows("stick_weights"), key=lambda row: row.noun.read_on):
        weight: StickWeight = row.noun
        each = weight.mass / weight.sticks
        if each > HEAVIEST:
            yield _fault_of_mass(row, HEAVIEST)
            continue
        key = (weight.place, weight.lot, weight.hung_on)
        before = lightest.get(key, each)
        if each > GROWN * before:
            yield _fault_of_mass(row, GROWN * before, "Is it in the unit of the ones before?")
        lightest[key] = min(before, each)


def _fault_of_mass(row: Row, most: float, cure: str = "") -> Fault:
    total = _written(most * row.noun.sticks, "a mass")
    allowed = f"at most {total} for {row.noun.sticks:,} sticks"
    return row.fault("mass", _written(row.noun.mass, "a mass"), allowed, cure)


def tiers_are_there(draft: Draft) -> Iterator[Fault]:
    """What went up on a tier is a tier of the place, and no more of a hanging than was hung."""
    places = {row.noun.name: row.noun for row in draft.rows("places")}
    hung: Counter[tuple[object, ...]] = Counter()
    for hanging in draft.rows("hangings"):
        noun = hanging.noun
        hung[noun.place, noun.lot, noun.hung_on] += noun.sticks
    for row in draft.rows("tier_loads", "air_readings"):
        place, tier = places.get(row.noun.place), row.noun.tier
        if place is not None and tier is not None and tier > place.tiers:
            yield row.fault("tier", tier, f"1 (the lowest) to {place.tiers}")
    for row in draft.rows("tier_loads") if draft.is_sound("hangings") else ():
        key = (row.noun.place, row.noun.lot, row.noun.hung_on)
        if row.noun.sticks > hung[key]:
            allowed = f"at most the {hung[key]:,} sticks hung there that day and not yet placed"
            yield row.fault("sticks", row.noun.sticks, allowed)
        hung[key] -= row.noun.sticks


def _written(value: float, kind: str) -> str:
    number, unit = to_unit(value, kind)
    return f"{number:.4g} {unit}"


CHECKS: tuple[Check, ...] = (
    airings_are_possible,
    weights_are_possible,
    tiers_are_there,
)
