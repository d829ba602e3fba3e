"""Everything in a season that contradicts itself, from all checks, gathered."""

from __future__ import annotations

from tierpole.errors import Fault
from tierpole.season import barn_checks, fact_checks, farm_checks
from tierpole.season.draft import Check, Draft
from tierpole.season.facts import Season

CHECKS: tuple[Check, ...] = (*farm_checks.CHECKS, *fact_checks.CHECKS, *barn_checks.CHECKS)


def faults(season: Season | Draft) -> list[Fault]:
    """Every fault of a season, or of as much of it as could be read."""
    draft = season if isinstance(season, Draft) else Draft(season)
    return [fault for check in CHECKS for fault in check(draft)]
