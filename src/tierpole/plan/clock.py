"""How long a solve has run, who wants to hear of it, and whether they want it to stop."""

from __future__ import annotations

import time
from collections.abc import Callable

Tick = Callable[[str, float], None]

TICK_SECONDS = 0.1


class Clock:
    """Seconds since the start, progress to whoever asked for it, and their wish to stop."""

    def __init__(self, limit: float, tick: Tick | None):
        self._limit, self._tick = limit, tick
        self._started = self._ticked = time.perf_counter()
        self._step = ""
        self._stopped: BaseException | None = None

    def seconds(self) -> float:
        """Seconds since the start."""
        return time.perf_counter() - self._started

    def begin(self, step: str) -> None:
        """Name the step that starts now."""
        self._step, self._ticked = step, float("-inf")
        self.watch()
        self.check()

    def watch(self) -> bool:
        """Report progress now and then; True once the user wants to stop."""
        now = time.perf_counter()
        if self._tick and not self._stopped and now - self._ticked > TICK_SECONDS:
            self._ticked = now
            try:
                self._tick(self._step, min(self.seconds() / self._limit, 1.0))
            except BaseException as stopped:  # noqa: BLE001 - must not cross the solver's frames
                self._stopped = stopped
        return self._stopped is not None

    def check(self) -> None:
        """Raise what the user's stop raised, outside the solver."""
        if self._stopped:
            raise self._stopped
