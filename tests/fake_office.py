"""An office as the pages see one, over the synthetic season; its state can be set by a test."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import synthetic
from tierpole.compliance import Deadline
from tierpole.documents import Order, Paper, Sheet, calendar, deadlines, make_paper, sheets
from tierpole.office.views import VIEWS


@dataclass
class Status:
    state: str = "ready"
    step: str = ""
    share: float = 1.0
    message: str = ""
    planned_at: datetime | None = datetime(2026, 9, 2, 6, 10, tzinfo=UTC)


@dataclass
class FakeOffice:
    season: Any = field(default_factory=synthetic.season)
    outlook: Any = field(default_factory=synthetic.outlook)
    plan: Any = field(default_factory=synthetic.plan)
    system: str = "us"
    changes: tuple[str, ...] = (
        "The pre-test of 6 South bottom came in at 0.09 %: passes in 1 more season of 20.",
    )
    now: Status = field(default_factory=Status)
    made: dict[Any, Any] = field(default_factory=dict)

    desk: Any = None
    ledger: Any = None
    people: Any = None
    mark: str = ""

    def kept(self, mark: str) -> None:
        return None

    def kept_plans(self) -> list[Any]:
        return []

    def changes_since(self, seen: str) -> tuple[str, ...]:
        return self.changes

    def status(self) -> Status:
        return self.now

    def paper(self, kind: str, order: Order) -> Paper:
        return make_paper(kind, self.season, self.outlook, self.plan, order)

    def calendar(self) -> str:
        return calendar(self.season.farm.name, self.season.on, self.deadlines())

    def deadlines(self) -> tuple[Deadline, ...]:
        return deadlines(self.season, self.plan)

    def tables(self) -> tuple[Sheet, ...]:
        return sheets(self.season, self.plan)

    def view(self, name: str, *args: Any) -> Any:
        if (name, *args) not in self.made:
            self.made[name, *args] = VIEWS[name](self.season, self.outlook, self.plan, *args)
        return self.made[name, *args]
