"""Season + Outlook -> Plan: plan, re-simulate the drying of what was chosen, plan again."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from tierpole.errors import SolveError, Stopped
from tierpole.plan.assemble import assemble
from tierpole.plan.drying import dry_again
from tierpole.plan.harvest import Drying, Harvest, make_harvest, usual_drying
from tierpole.plan.problem import Schedule
from tierpole.plan.result import Plan, Round
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop, solve
from tierpole.plan.value import Valuation, revalue
from tierpole.progress import Tick, part_of, silent
from tierpole.season import Season

MOST_ROUNDS = 3
SETTLED_DAYS = 1  # no hanging moves by more
SETTLED_SHARE = 0.005  # nor the value by as much


def make_plan(
    season: Season,
    outlook: xr.Dataset,
    stop: Stop | None = None,
    risk: Risk | None = None,
    tick: Tick | None = None,
    explain: bool = True,
) -> Plan:
    """The plan for what is left of a season, with its reasons.

    Plans, re-simulates the drying of exactly what it chose to hang, and plans again, at most three
    times; the best schedule by its re-simulated value is kept. When `tick` raises `Stopped`, the
    error carries the best plan so far. `explain=False` leaves out reasons, what more room or hours
    are worth, and the rules of thumb.
    """
    work = _Work(season, outlook, stop or Stop(), risk or Risk(), tick or silent)
    try:
        work.plan()
        return work.result(explain)
    except Stopped as stopped:
        stopped.best = work.result(explain=False, stopped=True) if work.rounds else None
        raise


@dataclass(frozen=True, eq=False)
class Settled:
    """A schedule with its drying re-simulated, and what it is worth then, draw by draw."""

    harvest: Harvest
    schedule: Schedule
    valuation: Valuation
    drying: Drying
    report: Round

    @property
    def value(self) -> float:
        """Mean dollars over the draws, re-simulated."""
        return self.report.resimulated

    def is_close_to(self, before: float | None) -> bool:
        """True when the money the plan decides on hardly changed since the round before."""
        if before is None:
            return False
        decided = self.value - float(self.valuation.pieces["fixed"].mean())
        return abs(self.value - before) < SETTLED_SHARE * abs(decided)


class _Work:
    """One plan in the making: the rounds so far and the best of them."""

    def __init__(self, season: Season, outlook: xr.Dataset, stop: Stop, risk: Risk, tick: Tick):
        self.season, self.outlook, self.stop, self.risk, self.tick = (
            season,
            outlook,
            stop,
            risk,
            tick,
        )
        self.rounds: list[Round] = []
        self.best: Settled | None = None

    def plan(self) -> None:
        """Plan and re-simulate until nothing moves, at most three times."""
        drying, before = usual_drying(self.outlook), None
        for number in range(1, MOST_ROUNDS + 1):
            found = self._one_round(number, drying)
            self.rounds.append(found.report)
            if self.best is None or found.value > self.best.value:
                self.best = found
            if found.report.largest_move <= SETTLED_DAYS or found.is_close_to(before):
                return
            drying, before = found.drying, found.value

    def _one_round(self, number: int, drying: Drying) -> Settled:
        start, end = (0.7 * share / MOST_ROUNDS for share in (number - 1, number))
        tick = part_of(self.tick, start, end, f"round {number}")
        harvest = make_harvest(self.season, self.outlook, drying)
        try:
            schedule = solve(harvest.problem, self.stop, self.risk, tick)
        except Stopped as stopped:
            if self.best is None and isinstance(stopped.best, Schedule):
                self._keep(number, harvest, drying, stopped.best)
            raise
        return self._resimulated(number, harvest, drying, schedule)

    def _keep(self, number: int, harvest: Harvest, drying: Drying, schedule: Schedule) -> None:
        """A schedule cut short is still a plan."""
        self.best = self._resimulated(number, harvest, drying, schedule)
        self.rounds.append(self.best.report)

    def _resimulated(
        self, number: int, harvest: Harvest, drying: Drying, schedule: Schedule
    ) -> Settled:
        planned = revalue(harvest.problem, schedule)
        seen, move = dry_again(harvest, drying, schedule)
        settled = make_harvest(self.season, self.outlook, seen)
        value = revalue(settled.problem, schedule)
        report = Round(number, float(planned.dollars.mean()), float(value.dollars.mean()), move)
        return Settled(settled, schedule, value, seen, report)

    def result(self, explain: bool, stopped: bool = False) -> Plan:
        """The best schedule so far as a plan."""
        best = self.best
        if best is None:
            raise SolveError("No schedule was found.")
        return assemble(
            best.harvest, best.schedule, best.valuation, best.drying, tuple(self.rounds), self.risk,
            explain=explain, stopped=stopped,
            tick=part_of(self.tick, 0.7, 1.0),
        )  # fmt: skip
