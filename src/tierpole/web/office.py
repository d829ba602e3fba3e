"""What the pages need of an office; anything with this shape will do."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Protocol

from tierpole.season import Season
from tierpole.units import System


class Status(Protocol):
    """How the work stands: `state` is working, ready, failed or stale; `share` runs 0 to 1."""

    @property
    def state(self) -> str: ...  # noqa: D102
    @property
    def step(self) -> str: ...  # noqa: D102
    @property
    def share(self) -> float: ...  # noqa: D102
    @property
    def message(self) -> str: ...  # noqa: D102
    @property
    def planned_at(self) -> datetime | None: ...  # noqa: D102


class Office(Protocol):
    """The source of every page. `plan` is None while the first one is being made."""

    @property
    def season(self) -> Season: ...  # noqa: D102
    @property
    def plan(self) -> Any: ...  # noqa: D102
    @property
    def system(self) -> System: ...  # noqa: D102
    @property
    def changes(self) -> tuple[str, ...]: ...  # noqa: D102

    def status(self) -> Status:
        """How the work stands now."""
        ...

    def view(self, name: str, *args: Any) -> Any:
        """A view model by name, made once for each plan; `NotHereError` when nothing bears it."""
        ...
