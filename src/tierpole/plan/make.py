"""Season + Outlook -> Plan: plan, re-simulate the drying of what was chosen, plan again."""

from __future__ import annotations

import xarray as xr

from tierpole.errors import SolveError, Stopped
from tierpole.outlook.forecast import Forecast
from tierpole.plan.assemble import Settled, assemble
from tierpole.plan.drying import dry_again
from tierpole.plan.harvest import Drying, Harvest, make_harvest, usual_drying
from tierpole.plan.keeping import kept
from tierpole.plan.problem import Schedule
from tierpole.plan.result import Plan, Round
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop, solve
from tierpole.plan.value import revalue
from tierpole.progress import Tick, part_of, silent
from tierpole.season import Season

MOST_ROUNDS = 5


def make_plan(
    season: Season,
    outlook: xr.Dataset,
    stop: Stop | None = None,
    risk: Risk | None = None,
    tick: Tick | None = None,
    explain: bool = True,
    forecast: Forecast | None = None,
) -> Plan:
    """The plan for what is left of a season, with its reasons.

    Plans, re-simulates the drying of exactly what it chose to hang, keeps what then finds room, and
    plans again, at most five times; the best schedule by its re-simulated value is kept. When
    `tick` raises `Stopped`, the error carries the best plan so far. `explain=False` leaves out
    reasons, what more room or hours are worth, and the rules of thumb. With the `forecast` that the
    outlook was made of, the plan also says what each certificate changed and what one more test is
    worth.
    """
    work = _Work(season, outlook, stop or Stop(), risk or Risk(), tick or silent, forecast)
    try:
        work.plan()
        return work.result(explain)
    except Stopped as stopped:
        stopped.best = work.result(explain=False, stopped=True) if work.rounds else None
        raise


class _Work:
    """One plan in the making: the rounds so far and the best of them."""

    def __init__(
        self,
        season: Season,
        outlook: xr.Dataset,
        stop: Stop,
        risk: Risk,
        tick: Tick,
        forecast: Forecast | None,
    ):
        self.season, self.outlook, self.forecast = season, outlook, forecast
        self.stop, self.risk, self.tick = stop, risk, tick
        self.rounds: list[Round] = []
        self.best: Settled | None = None

    def plan(self) -> None:
        """Plan and re-simulate until the plan holds as it was made, at most five times."""
        drying = usual_drying(self.outlook)
        for number in range(1, MOST_ROUNDS + 1):
            found = self._one_round(number, drying)
            self.rounds.append(found.report)
            if self.best is None or found.value > self.best.value:
                self.best = found
            if found.holds:
                return
            drying = found.drying

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
        hung = kept(settled.problem, schedule)
        value = revalue(settled.problem, hung)
        no_room = int(schedule.sticks.sum() - hung.sticks.sum())
        report = Round(
            number, float(planned.dollars.mean()), float(value.dollars.mean()), move, no_room
        )
        return Settled(settled, hung, value, seen, report)

    def result(self, explain: bool, stopped: bool = False) -> Plan:
        """The best schedule so far as a plan."""
        best = self.best
        if best is None:
            raise SolveError("No schedule was found.")
        return assemble(
            best, tuple(self.rounds), self.risk, explain=explain, stopped=stopped,
            tick=part_of(self.tick, 0.7, 1.0), forecast=self.forecast,
        )  # fmt: skip
