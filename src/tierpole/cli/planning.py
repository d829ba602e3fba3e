"""How a command gets its plan: an office, its work with progress, the best so far on Ctrl-C."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tierpole.cli.options import progress
from tierpole.cli.quiet import only_the_answer
from tierpole.cli.stopping import stop_on_interrupt
from tierpole.errors import Stopped

if TYPE_CHECKING:
    from tierpole.office import Office
    from tierpole.plan.result import Plan
    from tierpole.season import Season


def office_of(season: Season, seed: int, draws: int, units: Any, seconds: int) -> Office:
    """An office with what the options ask for."""
    from tierpole.office import Office, Settings

    return Office(season, Settings(draws, seed, seconds, units))


def planned(office: Office) -> Plan:
    """The plan of an office; the best so far when Ctrl-C stops the work."""
    try:
        with progress() as tick, stop_on_interrupt(office.stop), only_the_answer():
            return office.work(tick)
    except Stopped as stop:
        return office.adopt(stop.best)


def exit_status(plan: Plan) -> int:
    """How a command that made a plan leaves: 4 stopped early, 3 facts break a rule, else 0."""
    return 4 if plan.stopped_early else 3 if plan.broken_rules else 0
