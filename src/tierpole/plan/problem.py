"""What the schedule needs to know, as plain arrays, and the schedule it gives back.

Nothing here knows a file, a date or a variety: lots, places and days are numbers, day 0 is the
first day on which anything can still be decided. Axes are written [lot, sample, day, place].

Sample option 0 stands for the sample a lot already has; option s >= 1 is a future sample day, of
which a lot takes at most one. Where both would cover a cut, the later sample rules.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NO_SAMPLE = -1


@dataclass(frozen=True)
class Hanging:
    """Sticks already in a place; they stay there until dry on day `ready` and then taken down."""

    place: int
    sticks: int
    ready: int


@dataclass(frozen=True)
class Draws:
    """Dollars and chances draw by draw: what the worst tail and the exact value are taken over.

    A stick of a lot cut on a day under a sample is worth, in one draw,
    `p_pass * (cut + place) + (1 - p_pass) * fail`; a stick never cut is worth `left`.
    """

    p_pass: Floats  # [draw, lot, sample] chance that the official sample passes
    cut: Floats  # [draw, lot, day] dollars a stick that passed
    place: Floats | None  # [draw, lot, day, place] dollars a stick the place adds, usually <= 0
    fail: Floats  # [draw, lot, sample] dollars a stick that failed
    left: Floats  # [draw, lot] dollars a stick never cut
    fixed: Floats  # [draw] all other money of the season, the same for every plan

    def __post_init__(self) -> None:
        freeze(self)

    @property
    def count(self) -> int:
        """How many draws there are."""
        return len(self.fixed)


@dataclass(frozen=True)
class Problem:
    """One farm's harvest from day 0 on, averaged over the draws where it is uncertain.

    `value` is the mean of the product over draws (`value.averages` makes it), never the product
    of means. `bulk_room` is the sticks' worth of cured plants that may wait in bulk for stripping:
    infinite when the farm strips after the season, 0 when it strips at take-down.
    """

    lots: tuple[str, ...]
    places: tuple[str, ...]
    sticks_standing: Ints  # [lot]
    allowed: Bools  # [lot, sample, day] a cut on the day is legal under the sample
    value: Floats  # [lot, sample, day] mean dollars a stick, failing included
    place_value: Floats  # [lot, day, place] mean dollars a stick the place adds
    value_left: Floats  # [lot] mean dollars a stick never cut
    sample_fee: Floats  # [lot, sample] dollars; nothing for option 0, which is paid
    hold_days: Ints  # [place, day] days a stick hung that day takes to dry
    capacity: Ints  # [place, day] sticks of room, 0 while something else hangs there
    hanging: tuple[Hanging, ...]
    hours_hang: Floats  # [lot] crew hours a stick to cut, haul and hang
    hours_take_down: float  # crew hours a stick
    hours_strip: Floats  # [lot] crew hours a stick
    crew_hours: Floats  # [day]
    bulk_room: float  # sticks
    sticks_owned: int
    haul_limit: Floats  # [day] sticks the wagons can bring in
    max_cut_days: Ints  # [lot]
    cut_day_cost: float  # dollars for each day on which a lot is cut
    draws: Draws | None = None

    def __post_init__(self) -> None:
        freeze(self)
        lot, sample, day = self.allowed.shape
        place = len(self.places)
        expected = {
            "sticks_standing": (lot,), "value": (lot, sample, day), "value_left": (lot,),
            "place_value": (lot, day, place), "sample_fee": (lot, sample),
            "hold_days": (place, day), "capacity": (place, day), "hours_hang": (lot,),
            "hours_strip": (lot,), "crew_hours": (day,), "haul_limit": (day,),
            "max_cut_days": (lot,),
        }  # fmt: skip
        for name, shape in expected.items():
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name} must have shape {shape}")
        if len(self.lots) != lot:
            raise ValueError("lots must name each lot once")
        if (self.hold_days < 1).any():
            raise ValueError("hold_days must be 1 or more")
        if self.sample_fee[:, 0].any():
            raise ValueError("sample_fee of option 0 must be 0: it is already paid")

    @property
    def days(self) -> int:
        """How many days the schedule looks ahead."""
        return self.allowed.shape[2]

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """How many lots, sample options, days and places."""
        return (*self.allowed.shape, len(self.places))

    def hanging_in(self, place: int) -> int:
        """Sticks that already hang in a place."""
        return sum(row.sticks for row in self.hanging if row.place == place)

    def cut_limit(self) -> Floats:
        """Most sticks of a lot that one day can take [lot, day]: crew, wagons and open room."""
        with np.errstate(divide="ignore", invalid="ignore"):
            crew = self.crew_hours / self.hours_hang[:, None]
        crew[np.isnan(crew)] = np.inf  # no hours asked, none given
        open_room = np.minimum(self.haul_limit, self.capacity.sum(axis=0))
        return np.minimum(np.minimum(crew, open_room), self.sticks_standing[:, None])


def freeze(record: Any) -> None:
    """Show every array of a frozen record read-only; large ones are not copied."""
    for field in fields(record):
        entry = getattr(record, field.name)
        if isinstance(entry, np.ndarray):
            entry = entry.view()
            entry.flags.writeable = False
            object.__setattr__(record, field.name, entry)


@dataclass(frozen=True)
class Decisions:
    """The part of a schedule that carries dollars, whole or (inside the solver) in parts."""

    sample: Floats  # [lot, sample]
    opened: Floats  # [lot, day]
    cut: Floats  # [lot, sample, day] sticks
    hung: Floats  # [lot, day, place] sticks
    left: Floats  # [lot] sticks


@dataclass(frozen=True)
class Schedule:
    """What to sample, cut, hang, take down and strip, and how good it is proven to be.

    `objective` counts only money the schedule decides: the mean over draws, moved towards the mean
    of the worst draws by the risk weight. `bound` is what no schedule can exceed.
    """

    lots: tuple[str, ...]
    places: tuple[str, ...]
    sample: Ints  # [lot] future sample option, else 0 if one was taken, else `NO_SAMPLE`
    sticks: Ints  # [lot, day, place] cut and hung
    left: Ints  # [lot] never cut
    take_down: Ints  # [place, day]
    strip: Ints  # [day] sticks' worth stripped; none when stripping follows the season
    objective: float
    before_rounding: float  # the objective while parts of a stick were still allowed
    bound: float
    gap: float  # (bound - objective) / |objective|, see `solve.gap_between`
    seconds: float
    rounds: int
    status: str

    def __post_init__(self) -> None:
        freeze(self)

    def __str__(self) -> str:
        rounds = "1 round" if self.rounds == 1 else f"{self.rounds} rounds"
        head = (
            f"Schedule worth ${self.objective:,.0f}; none is worth over ${self.bound:,.0f} "
            f"({self.gap:.2%} more): {self.status}, {rounds} of search, {self.seconds:.1f} s"
        )
        return "\n".join([head, *(self._lot_line(lot) for lot in range(len(self.lots)))])

    def decisions(self, problem: Problem) -> Decisions:
        """What carries dollars; a day counts as opened only if something is cut on it."""
        taken = self.sticks.sum(axis=2)
        ruling = ruling_sample(problem, self.sample)
        options = np.arange(problem.shape[1])
        cut = np.where(options[:, None] == ruling[:, None], taken[:, None], 0)
        return Decisions(
            sample=(options == self.sample[:, None]).astype(float),
            opened=(taken > 0).astype(float),
            cut=cut.astype(float),
            hung=self.sticks.astype(float),
            left=self.left.astype(float),
        )

    def _lot_line(self, lot: int) -> str:
        pieces = [
            f"day {day} {self.sticks[lot, day, place]:,} to {self.places[place]}"
            for day, place in np.argwhere(self.sticks[lot])
        ]
        cuts = "; ".join(pieces) or "not cut"
        left = f"; {self.left[lot]:,} left" if self.left[lot] else ""
        option = self.sample[lot]
        sample = {NO_SAMPLE: "no sample", 0: "sampled"}.get(int(option), f"sample option {option}")
        return f"  {self.lots[lot]} ({sample}): {cuts}{left}"


def ruling_sample(problem: Problem, sample: Ints) -> Ints:
    """Which sample a cut falls under [lot, day]: the later one where it covers the day."""
    lots = np.arange(len(problem.lots))
    under_old = np.where(problem.allowed[:, 0], 0, NO_SAMPLE)
    covered = problem.allowed[lots, sample] & (sample > 0)[:, None]
    return np.where(covered, sample[:, None], under_old)
