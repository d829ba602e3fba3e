"""How long work says how far it is: `tick(step, share)`, which may raise `Stopped` to end it."""

from __future__ import annotations

from collections.abc import Callable

Tick = Callable[[str, float], None]


def silent(_step: str, _share: float) -> None:
    """A tick that tells nobody."""


def part_of(tick: Tick, start: float, end: float, name: str = "") -> Tick:
    """A tick for a part of the work that runs from `start` to `end` of the whole."""

    def tell(step: str, share: float) -> None:
        tick(f"{name}: {step}" if name else step, start + (end - start) * share)

    return tell
