"""An office as the pages see one, over the synthetic season; its state can be set by a test."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import synthetic
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

    def view(self, name: str, *args: Any) -> Any:
        if (name, *args) not in self.made:
            self.made[name, *args] = VIEWS[name](self.season, self.outlook, self.plan, *args)
        return self.made[name, *args]
