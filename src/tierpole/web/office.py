"""What the pages need of an office; anything with this shape will do."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Protocol

from tierpole.compliance import Deadline
from tierpole.documents import Order, Paper, Sheet
from tierpole.farm.books import KeptPlan
from tierpole.office.entry import Desk
from tierpole.office.kept import Kept
from tierpole.office.ledger import Ledger
from tierpole.office.people import People
from tierpole.season import Season
from tierpole.units import System


class Status(Protocol):
    """How the work stands: `state` is working, ready, failed or stale; `share` runs 0 to 1."""

    @property
    def state(self) -> str:
        """Working, ready, failed or stale."""
        ...

    @property
    def step(self) -> str:
        """What is being worked on."""
        ...

    @property
    def share(self) -> float:
        """How much of the work is done, 0 to 1."""
        ...

    @property
    def message(self) -> str:
        """What went wrong, in words."""
        ...

    @property
    def planned_at(self) -> datetime | None:
        """When the plan was made."""
        ...


class Office(Protocol):
    """The source of every page. `plan` is None while the first one is being made."""

    @property
    def season(self) -> Season:
        """The season the pages are about."""
        ...

    @property
    def plan(self) -> Any:
        """The plan, None while the first is being made."""
        ...

    @property
    def system(self) -> System:
        """The units the user reads."""
        ...

    @property
    def desk(self) -> Desk | None:
        """Where entries are made; None when the season is a scenario."""
        ...

    @property
    def ledger(self) -> Ledger | None:
        """Where entries are looked up; None when the season is a scenario."""
        ...

    @property
    def people(self) -> People | None:
        """Who may come in; None when the season is a scenario."""
        ...

    @property
    def mark(self) -> str:
        """The mark of the plan kept last; empty when none is kept."""
        ...

    def kept(self, mark: str) -> Kept | None:
        """A plan as it was made, by its mark."""
        ...

    def kept_plans(self) -> list[KeptPlan]:
        """Every plan kept this season, newest first."""
        ...

    def changes_since(self, seen: str) -> tuple[str, ...]:
        """What the plan does otherwise than the one a reader saw, by its mark."""
        ...

    def status(self) -> Status:
        """How the work stands now."""
        ...

    def paper(self, kind: str, order: Order) -> Paper:
        """A paper of a kind, made from the latest plan."""
        ...

    def calendar(self) -> str:
        """The days to keep as an iCalendar file."""
        ...

    def deadlines(self) -> tuple[Deadline, ...]:
        """The days to keep, soonest first."""
        ...

    def tables(self) -> tuple[Sheet, ...]:
        """The tables behind the papers."""
        ...

    def view(self, name: str, *args: Any) -> Any:
        """A view model by name, made once for each plan; `NotHereError` when nothing bears it."""
        ...
