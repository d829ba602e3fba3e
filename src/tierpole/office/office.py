"""The office: runs the one flow, keeps the latest plan, works in the background, says how it goes.

    season -> outlook -> plan -> views

The office is the only place that knows both where facts come from and who wants to see the
answer. The pages and the command line ask it and compute nothing themselves.
"""

from __future__ import annotations

import threading
import time
import traceback
from collections.abc import Callable, MutableMapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from tierpole.errors import SolveError, Stopped, TierpoleError
from tierpole.office.tables import DiskTables
from tierpole.progress import Tick
from tierpole.units import System

if TYPE_CHECKING:
    import xarray as xr

    from tierpole.compliance import Deadline
    from tierpole.documents import Filed, Order, Paper, Sheet
    from tierpole.farm.books import KeptPlan
    from tierpole.office.entry import Desk
    from tierpole.office.kept import Kept
    from tierpole.office.ledger import Ledger
    from tierpole.office.people import People
    from tierpole.plan.result import Plan
    from tierpole.season import Season

FROM_BOOKS = ("week",)  # views that also show what the books hold beside the season


@dataclass(frozen=True)
class Status:
    """How the work stands: `state` is working, ready, failed or stale; `share` runs 0 to 1."""

    state: str
    step: str = ""
    share: float = 0.0
    message: str = ""
    planned_at: datetime | None = None


@dataclass(frozen=True)
class Settings:
    """How a season is worked through."""

    draws: int = 500
    seed: int = 1
    seconds: float = 5.0
    system: System = "us"


@dataclass(frozen=True)
class Made:
    """A season, what was worked out for it, and the views made of that so far."""

    season: Season
    outlook: xr.Dataset | None = None
    plan: Plan | None = None
    views: dict[tuple[Any, ...], Any] = field(default_factory=dict)


class Office:
    """One season at work. `work` runs in the calling thread, `start` in the background."""

    def __init__(
        self,
        season: Season,
        settings: Settings | None = None,
        tables: MutableMapping[str, Any] | None = None,
    ):
        self.settings = settings or Settings()
        self._made = Made(season)  # replaced whole, so that no page sees half of a new plan
        self._tables = DiskTables() if tables is None else tables
        self._status = Status("working", "waiting to start")
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def season(self) -> Season:
        """The season the plan is for."""
        return self._made.season

    @property
    def outlook(self) -> xr.Dataset | None:
        """What may happen; None until it was worked out."""
        return self._made.outlook

    @property
    def plan(self) -> Plan | None:
        """The plan; None while the first is being made."""
        return self._made.plan

    @property
    def system(self) -> System:
        """The units the user reads."""
        return self.settings.system

    # --- what only books have: see FarmOffice -----------------------------------------------------

    desk: Desk | None = None
    ledger: Ledger | None = None
    people: People | None = None

    @property
    def mark(self) -> str:
        """The mark of the plan kept last; of a scenario none is kept."""
        return ""

    def kept(self, mark: str) -> Kept | None:  # noqa: ARG002
        """A plan as it was made, by its mark."""
        return None

    def kept_plans(self) -> list[KeptPlan]:
        """Every plan kept this season, newest first."""
        return []

    def changes_since(self, seen: str) -> tuple[str, ...]:  # noqa: ARG002
        """What the plan does otherwise than the one a reader saw; a scenario does not change."""
        return ()

    def status(self) -> Status:
        """How the work stands now."""
        return self._status

    def work(self, tick: Tick | None = None) -> Plan:
        """Make the outlook and the plan; `Stopped` carries the best plan when there is one."""
        try:
            made = self._worked(self.season, self._reporter(tick))
        except TierpoleError as error:
            self._fail(str(error))
            raise
        return self._keep(made)

    def _fail(self, message: str) -> None:
        """Say that planning failed; a plan made before stays, with its age."""
        self._status = replace(self._status, state="failed", message=message)

    def _worked(self, season: Season, report: Tick) -> Made:
        """A season worked through; its outlook is kept even when the planning is stopped."""
        from tierpole.outlook import make_forecast, make_outlook
        from tierpole.plan import Stop, make_plan

        wanted = self.settings
        report("weather and potency", 0.0)
        forecast = make_forecast(season, wanted.draws, wanted.seed)
        outlook = make_outlook(
            season, wanted.draws, wanted.seed, tables=self._tables, forecast=forecast,
            tick=lambda step, share: report(step, 0.5 * share),
        )  # fmt: skip
        if self.plan is None:
            self._made = Made(season, outlook)
        plan = make_plan(
            season, outlook, stop=Stop(seconds=wanted.seconds), forecast=forecast,
            tick=lambda step, share: report(step, 0.5 + 0.5 * share),
        )  # fmt: skip
        return Made(season, outlook, plan)

    def adopt(self, best: object) -> Plan:
        """Keep the best plan of work that was stopped."""
        from tierpole.plan.result import Plan

        if not isinstance(best, Plan):
            raise Stopped("The work was stopped before there was a plan.")
        return self._keep(replace(self._made, plan=best))

    def start(self) -> None:
        """Work in the background; `status` says how it goes."""
        self._thread = threading.Thread(target=self._work_quietly, daemon=True, name="office")
        self._thread.start()

    def stop(self) -> None:
        """Ask the background work to stop and wait for it."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=30)

    def view(self, name: str, *args: Any) -> Any:
        """A view model by name, made once for each plan and what is filed beside it."""
        from tierpole.office.views import VIEWS

        args = (*args, self.dated()) if name in FROM_BOOKS else args
        made, key = self._made, (name, *args)
        if key not in made.views:
            made.views[key] = VIEWS[name](made.season, made.outlook, made.plan, *args)
        return made.views[key]

    def paper(self, kind: str, order: Order) -> Paper:
        """A paper of a kind, made from the latest plan; `SolveError` while there is none."""
        from tierpole.documents import make_paper

        season, outlook, plan = self._planned()
        return make_paper(
            kind,
            season,
            outlook,
            plan,
            replace(order, filed=self.filed(is_proven=kind == "packet")),
        )

    def calendar(self) -> str:
        """The days to keep as an iCalendar file."""
        from tierpole.documents import calendar

        season, _, _ = self._planned()
        return calendar(season.farm.name, season.on, self.deadlines())

    def deadlines(self) -> tuple[Deadline, ...]:
        """The days to keep, soonest first."""
        from tierpole.documents import deadlines

        season, _, plan = self._planned()
        return deadlines(season, plan, self.dated())

    def tables(self) -> tuple[Sheet, ...]:
        """The tables behind the papers."""
        from tierpole.documents import sheets

        season, _, plan = self._planned()
        return sheets(season, plan, self.dated())

    def filed(self, is_proven: bool = False) -> Filed:  # noqa: ARG002 - a file proves nothing
        """What the books hold beside the season; nothing where the farm is a file.

        With `is_proven` the whole chain is checked, which takes as long as the books are thick.
        """
        from tierpole.documents import Filed

        return Filed()

    def dated(self) -> Filed:
        """What days to keep and warnings follow from; nothing where the farm is a file."""
        return self.filed()

    def _planned(self) -> tuple[Season, xr.Dataset, Plan]:
        made = self._made
        if made.outlook is None or made.plan is None:
            raise SolveError("There is no plan yet.")
        return made.season, made.outlook, made.plan

    def _keep(self, made: Made) -> Plan:
        assert made.plan is not None  # noqa: S101 - for the type checker
        self._made = made
        threading.Thread(target=self._make_views, daemon=True, name="views").start()
        self._status = Status("ready", share=1.0, planned_at=datetime.now().astimezone())
        return made.plan

    def _make_views(self) -> None:
        """Make every page's view ahead, so that the first visit does not wait for it."""
        from tierpole.office.views import pages

        for key in pages(self.season, self.system):
            self.view(*key)

    def _reporter(self, tick: Tick | None) -> Tick:
        last = 0.0

        def report(step: str, share: float) -> None:
            nonlocal last
            if self._stop.is_set():
                raise Stopped("The work was stopped.")
            self._status = replace(self._status, state="working", step=step, share=share)
            if tick is not None and (time.monotonic() - last > 0.05 or share >= 1):
                last = time.monotonic()
                tick(step, share)

        return report

    def _work_quietly(self) -> None:
        self._quietly(self.work)

    def _quietly(self, work: Callable[[], object]) -> None:
        """Do something in the background; what goes wrong is told by `status`."""
        try:
            work()
        except TierpoleError as error:
            self._fail(str(error))
        except Exception as error:  # noqa: BLE001 - a page must say so, not wait for ever
            traceback.print_exc()
            self._fail(f"{type(error).__name__}: {error}")
