"""The steps of the start in their order, and after them the plan."""

from __future__ import annotations

from tierpole.office.start.asking import Step
from tierpole.office.start.land_steps import FIELDS, LOTS, PLACE, VARIETIES
from tierpole.office.start.work_steps import CREW, PLACES, PRICES

STEPS: tuple[Step, ...] = (PLACE, VARIETIES, FIELDS, LOTS, PLACES, CREW, PRICES)
LAST = "plan"  # the key of the page after the last step
TITLE_LAST = "Make the plan"
# steps whose lists are made of what others wrote
NEEDS = {"fields": ("varieties",), "lots": ("varieties", "fields")}
# which step mends a fault of a season's table
MENDS = {
    "farm": "place", "scenario": "place", "weather": "place", "season": "place",
    "varieties": "varieties", "fields": "fields", "lots": "lots", "places": "places",
    "crew": "crew", "market": "prices", "costs": "prices",
}  # fmt: skip


def step_named(key: str) -> Step | None:
    """The step of a key."""
    return next((one for one in STEPS if one.key == key), None)


def after(step: Step) -> str:
    """The key of what comes after a step."""
    place = STEPS.index(step) + 1
    return STEPS[place].key if place < len(STEPS) else LAST


def before(key: str) -> str:
    """The key of what comes before a step or the plan; empty before the first."""
    keys = [one.key for one in STEPS] + [LAST]
    place = keys.index(key)
    return keys[place - 1] if place else ""
