"""What a plan is: who does what when, why, and at what risk. Plain frozen facts, no arithmetic."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from tierpole.compliance import LotState
from tierpole.outlook.report import LotForecast
from tierpole.outlook.summary import Summary
from tierpole.plan.testing import Testing

__all__ = [
    "Comparison", "CrewPlan", "LotPlan", "LotState", "PlacePlan", "Plan", "PlannedCut", "Reason",
    "Round", "Worth",
]  # fmt: skip


@dataclass(frozen=True)
class PlannedCut:
    """Sticks of a lot to cut and hang in one place on one day; `hours` of crew for it."""

    lot: str
    place: str
    day: date
    sticks: int
    hours: float
    dry_on: date


@dataclass(frozen=True)
class Reason:
    """What another choice would have changed, in dollars that add up to `total`."""

    choice: str
    pieces: tuple[tuple[str, float], ...]

    @property
    def total(self) -> float:
        """The whole difference; negative when the other choice is worse."""
        return sum(amount for _, amount in self.pieces)


@dataclass(frozen=True)
class LotPlan:
    """What to do with one lot, and why."""

    lot: str
    state: LotState
    sticks_standing: float
    request_on: date | None
    sample_on: date | None
    window: tuple[date, date] | None
    p_pass: float | None
    p_buyer_pass: float | None
    cuts: tuple[PlannedCut, ...]
    sticks_left: int
    money: Summary
    fail_path: str
    reasons: tuple[Reason, ...] = ()
    forecast: LotForecast | None = None
    testing: Testing | None = None


@dataclass(frozen=True)
class PlacePlan:
    """A place over the plan's days [day]: sticks hanging, room for them, sticks taken down."""

    place: str
    days: np.ndarray
    hanging: np.ndarray
    capacity: np.ndarray
    taken_down: np.ndarray


@dataclass(frozen=True)
class CrewPlan:
    """Crew hours [day]: used for cutting and hanging, taking down, stripping; available."""

    days: np.ndarray
    cut_and_hang: np.ndarray
    take_down: np.ndarray
    strip: np.ndarray
    available: np.ndarray


@dataclass(frozen=True)
class Round:
    """One pass of plan and re-simulated drying: dollars planned and re-valued, days moved.

    `no_room` are the sticks it meant to hang that then found no place free.
    """

    number: int
    planned: float
    resimulated: float
    largest_move: float
    no_room: int = 0


@dataclass(frozen=True)
class Worth:
    """What one more unit of a scarce thing would add, by re-solving."""

    what: str
    dollars: float


@dataclass(frozen=True)
class Comparison:
    """A rule of thumb through the same simulator."""

    name: str
    money: Summary
    sticks_hung: float
    sticks_total: float
    hot_lots: float


@dataclass(frozen=True)
class Plan:
    """The whole answer for a season as seen on a day."""

    made_for: date
    lots: tuple[LotPlan, ...]
    places: tuple[PlacePlan, ...]
    crew: CrewPlan
    money: Summary
    draws: np.ndarray
    bound: float
    gap: float
    rounds: tuple[Round, ...]
    worth: tuple[Worth, ...]
    rules_of_thumb: tuple[Comparison, ...]
    broken_rules: tuple[str, ...]
    notes: tuple[str, ...]
    stopped_early: bool = False

    def lot(self, name: str) -> LotPlan:
        """The plan of one lot; KeyError if it has none."""
        for lot in self.lots:
            if lot.lot == name:
                return lot
        raise KeyError(name)

    @property
    def cuts(self) -> tuple[PlannedCut, ...]:
        """All cuts in order of day, then lot."""
        every = [cut for lot in self.lots for cut in lot.cuts]
        return tuple(sorted(every, key=lambda cut: (cut.day, cut.lot, cut.place)))

    def __repr__(self) -> str:
        hung = sum(cut.sticks for cut in self.cuts)
        left = sum(lot.sticks_left for lot in self.lots)
        return (
            f"<Plan for {self.made_for}: {hung:,} sticks to hang, {left:,} left; net "
            f"${self.money.mean:,.0f} (${self.money.low:,.0f} to ${self.money.high:,.0f}), "
            f"loses in {self.money.p_loss:.0%} of draws; gap {self.gap:.2%}>"
        )
