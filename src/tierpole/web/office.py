"""What the pages need of an office; anything with this shape will do."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Protocol

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

    def changes_since(self, seen: str) -> tuple[str, ...]:
        """What the plan does otherwise than the one a reader saw, by its mark."""
        ...

    def status(self) -> Status:
        """How the work stands now."""
        ...

    def view(self, name: str, *args: Any) -> Any:
        """A view model by name, made once for each plan; `NotHereError` when nothing bears it."""
        ...
