"""The schedule as a mixed-integer linear program: its columns, its constraint groups, its dollars.

Columns (never negative):

    sample[l,s]   1 if lot l takes future sample s
    by[l,s]       1 if it has taken it by then; whole, so samples are too
    opened[l,d]   1 if lot l is cut on day d                          whole
    taken[l,d]    sticks of the lot cut that day
    cut[l,s,d]    the same, by the sample they are cut under
    hung[l,d,p]   the same, by the place they go to
    left[l]       sticks never cut
    load[p,d]     sticks in a place at the end of a day; its upper bound is the room
    ready[p,d]    of those, dry and waiting to be taken down
    down[p,d]     sticks taken down
    bulk[d]       sticks' worth of cured plants waiting for stripping
    stripped[d]   sticks' worth stripped
    tail          mean dollars of the worst draws, held down by one row for each tail tried

Cutting by sample day (`cut`) keeps the linear relaxation within a fraction of a percent of the best
plan; one large value per lot switched by its sample would leave 8 %. Branching on `by` splits the
samples of a lot into early and late ones, where branching on one of fifty samples settles little.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from tierpole.plan.problem import Bools, Decisions, Floats, Ints, Problem

ABSENT = -1
SLIVER = 1e-9


@dataclass(frozen=True)
class Columns:
    """Where each variable stands in the program; `ABSENT` where it cannot be used at all."""

    sample: Ints  # [lot, sample]
    by: Ints  # [lot, sample]
    opened: Ints  # [lot, day]
    taken: Ints  # [lot, day]
    cut: Ints  # [lot, sample, day]
    hung: Ints  # [lot, day, place]
    left: Ints  # [lot]
    load: Ints  # [place, day]
    ready: Ints  # [place, day]
    down: Ints  # [place, day]
    bulk: Ints  # [day]
    stripped: Ints  # [day]
    tail: Ints  # []
    count: int

    def decisions(self, values: Floats) -> Decisions:
        """The decisions a solution [column] stands for."""
        names = ("sample", "opened", "cut", "hung", "left")
        return Decisions(*(read(values, getattr(self, name)) for name in names))


@dataclass(frozen=True)
class Rows:
    """One constraint group: sparse entries and the limits of each row."""

    group: str
    entries: sparse.csr_array
    lower: Floats
    upper: Floats


@dataclass(frozen=True)
class Program:
    """Minimise `cost @ v` with `row_lower <= matrix @ v <= row_upper` and bounds on v."""

    columns: Columns
    cost: Floats
    lower: Floats
    upper: Floats
    whole: Bools
    matrix: sparse.csr_array
    row_lower: Floats
    row_upper: Floats
    groups: tuple[Rows, ...]

    def rows(self, group: str) -> slice:
        """Where the rows of a constraint group stand."""
        names = [rows.group for rows in self.groups]
        ends = np.cumsum([len(rows.lower) for rows in self.groups])
        at = names.index(group)
        return slice(int(ends[at]) - len(self.groups[at].lower), int(ends[at]))

    def with_row(self, entries: Floats, upper: float) -> Program:
        """The program with one more row `entries @ v <= upper`."""
        row = sparse.csr_array(entries[None, :])
        return replace(
            self,
            matrix=sparse.csr_array(sparse.vstack([self.matrix, row])),
            row_lower=np.append(self.row_lower, -np.inf),
            row_upper=np.append(self.row_upper, upper),
        )


Term = tuple[Ints, Ints] | tuple[Ints, Ints, float | Floats]


def make_program(problem: Problem, tail_weight: float) -> Program:
    """All columns, rows and dollars of a problem; the tail starts without rows of its own."""
    columns = _number_columns(problem)
    groups = tuple(group(problem, columns) for group in GROUPS)
    matrix = sparse.csr_array(sparse.vstack([rows.entries for rows in groups]))
    lower, upper = _bounds(problem, columns)
    whole = np.zeros(columns.count, bool)
    for integer in (columns.by, columns.opened):
        whole[integer[integer >= 0]] = True
    cost = -(1 - tail_weight) * dollars(
        problem, columns, problem.value, problem.place_value, problem.value_left
    )
    cost[columns.tail] = -tail_weight
    return Program(
        columns=columns,
        cost=cost,
        lower=lower,
        upper=upper,
        whole=whole,
        matrix=matrix,
        row_lower=np.concatenate([rows.lower for rows in groups]),
        row_upper=np.concatenate([rows.upper for rows in groups]),
        groups=groups,
    )


def dollars(
    problem: Problem, columns: Columns, value: Floats, place_value: Floats, value_left: Floats
) -> Floats:
    """Dollars each column brings [column], at the given values a stick."""
    gain = np.zeros(columns.count)
    _put(gain, columns.cut, value)
    _put(gain, columns.hung, place_value)
    _put(gain, columns.left, value_left)
    _put(gain, columns.sample, -problem.sample_fee)
    _put(gain, columns.opened, np.broadcast_to(-problem.cut_day_cost, columns.opened.shape))
    return gain


def read(values: Floats, columns: Ints) -> Floats:
    """Values of the columns, in their shape; 0 where a column is absent."""
    return np.where(columns >= 0, values[columns], 0.0)


# ---------------------------------------------------------------- constraint groups


def one_sample(problem: Problem, columns: Columns) -> Rows:
    """A lot never takes two more official samples."""
    lots = np.arange(len(problem.lots))
    return _rows("one_sample", columns, lots.shape, [(columns.sample, lots[:, None])], upper=1)


def taken_by_then(problem: Problem, columns: Columns) -> Rows:
    """No sample is taken but on the first option by which it is taken."""
    lot, option, _, _ = problem.shape
    at = np.arange(lot * option).reshape(lot, option)
    terms: list[Term] = [
        (columns.by, at),
        (_one_before(columns.by), at, -1.0),
        (columns.sample, at, -1.0),
    ]
    return _rows("taken_by_then", columns, at.shape, terms, lower=0, upper=0)


def _one_before(index: Ints) -> Ints:
    """For each option [lot, sample] the column of the open option before it."""
    before = np.full_like(index, ABSENT)
    for lot, row in enumerate(index):
        there = np.flatnonzero(row >= 0)
        before[lot, there[1:]] = row[there[:-1]]
    return before


def sample_before_cut(problem: Problem, columns: Columns) -> Rows:
    """No stick is cut under a sample that is not taken; its window is in `allowed` already."""
    lot, option, _, _ = problem.shape
    at = np.arange(lot * option).reshape(lot, option)
    future = columns.cut.copy()
    future[:, 0] = ABSENT
    terms: list[Term] = [
        (future, at[..., None], _share_of(problem.sticks_standing)[:, None, None]),
        (columns.sample, at, -1.0),
    ]
    return _rows("sample_before_cut", columns, at.shape, terms, upper=0)


def later_sample_rules(problem: Problem, columns: Columns) -> Rows:
    """No stick is cut under the old sample on a day the new one covers."""
    at = _lot_days(problem)
    both = columns.cut[:, 0] >= 0
    covering = np.where(
        problem.allowed & both[:, None], columns.sample[:, :, None], ABSENT
    )  # [lot, sample, day]
    terms: list[Term] = [
        (columns.cut[:, 0], at, _share_of(problem.sticks_standing)[:, None]),
        (covering, at[:, None]),
    ]
    return _rows("later_sample_rules", columns, at.shape, terms, upper=1)


def cut_under_sample(problem: Problem, columns: Columns) -> Rows:
    """No stick is cut that does not belong to one sample."""
    at = _lot_days(problem)
    terms: list[Term] = [(columns.taken, at), (columns.cut, at[:, None], -1.0)]
    return _rows("cut_under_sample", columns, at.shape, terms, lower=0, upper=0)


def cut_is_hung(problem: Problem, columns: Columns) -> Rows:
    """No cut stick stays on the ground: it hangs the same day."""
    at = _lot_days(problem)
    terms: list[Term] = [(columns.taken, at), (columns.hung, at[..., None], -1.0)]
    return _rows("cut_is_hung", columns, at.shape, terms, lower=0, upper=0)


def cut_day_opened(problem: Problem, columns: Columns) -> Rows:
    """No stick is cut on a day not opened for its lot, nor more than that day can take."""
    at = _lot_days(problem)
    terms: list[Term] = [
        (columns.taken, at, _share_of(problem.cut_limit())),
        (columns.opened, at, -1.0),
    ]
    return _rows("cut_day_opened", columns, at.shape, terms, upper=0)


def sample_before_day(problem: Problem, columns: Columns) -> Rows:
    """No day is opened for a lot, even in part, beyond the samples that allow it.

    Follows from the other rules in whole numbers; in parts it takes 0.5-1 % off the bound.
    """
    at = _lot_days(problem)
    covering = np.where(problem.allowed, columns.sample[..., None], ABSENT)
    only_new = np.where(problem.allowed[:, 0], ABSENT, columns.opened)
    covering = np.where(only_new[:, None] >= 0, covering, ABSENT)
    terms: list[Term] = [(only_new, at), (covering, at[:, None], -1.0)]
    return _rows("sample_before_day", columns, at.shape, terms, upper=0)


def enough_cut_days(problem: Problem, columns: Columns) -> Rows:
    """No lot is cut, whole, on fewer days than its sticks fill: a day is opened or it is not.

    `opened + left / (limit x part) >= whole days`, where the lot fills `whole days` less one and
    `part` of another at the `limit` of its best day: a mixed-integer rounding of the rules above.
    """
    lots = np.arange(len(problem.lots))
    limit = np.maximum(problem.cut_limit().max(axis=1), 1)
    filled = problem.sticks_standing / limit
    whole = np.ceil(filled - SLIVER)
    part = filled - whole + 1
    terms: list[Term] = [(columns.opened, lots[:, None]), (columns.left, lots, 1 / (limit * part))]
    return _rows("enough_cut_days", columns, lots.shape, terms, lower=whole)


def few_cut_days(problem: Problem, columns: Columns) -> Rows:
    """No lot is cut in more pieces than the farmer would manage."""
    lots = np.arange(len(problem.lots))
    terms: list[Term] = [(columns.opened, lots[:, None])]
    return _rows("few_cut_days", columns, lots.shape, terms, upper=problem.max_cut_days)


def all_sticks(problem: Problem, columns: Columns) -> Rows:
    """No stick is cut twice or forgotten: it is cut once or left."""
    lots, standing = np.arange(len(problem.lots)), problem.sticks_standing
    terms: list[Term] = [(columns.taken, lots[:, None]), (columns.left, lots)]
    return _rows("all_sticks", columns, lots.shape, terms, lower=standing, upper=standing)


def crew(problem: Problem, columns: Columns) -> Rows:
    """No day asks more hours than it has: cutting to hanging, taking down, stripping."""
    days = np.arange(problem.days)
    strip = strip_hours(problem)
    down = problem.hours_take_down + (strip if problem.bulk_room == 0 else 0)
    terms: list[Term] = [
        (columns.taken, days, problem.hours_hang[:, None]),
        (columns.down, days, down),
        (columns.stripped, days, strip),
    ]
    return _rows("crew", columns, days.shape, terms, upper=problem.crew_hours)


def haul(problem: Problem, columns: Columns) -> Rows:
    """No day brings in more sticks than the wagons can."""
    days = np.arange(problem.days)
    return _rows("haul", columns, days.shape, [(columns.taken, days)], upper=problem.haul_limit)


def room(problem: Problem, columns: Columns) -> Rows:
    """A stick that was hung and not taken down still fills its place: load in, load out."""
    at = _place_days(problem)
    lot, day, place = columns.hung.shape
    terms: list[Term] = [
        (columns.load, at),
        (columns.load[:, :-1], at[:, 1:], -1.0),
        (columns.hung, np.broadcast_to(at.T, (lot, day, place)), -1.0),
        (columns.down, at),
    ]
    start = np.zeros(at.shape)
    start[:, 0] = [problem.hanging_in(row) for row in range(place)]
    return _rows("room", columns, at.shape, terms, lower=start, upper=start)


def dry_before_down(problem: Problem, columns: Columns) -> Rows:
    """No stick is taken down before it is dry: only from the ready ones, which wait for it."""
    at = _place_days(problem)
    place, days = at.shape
    dry_on = np.arange(problem.days) + problem.hold_days  # [place, day hung]
    in_time = dry_on < days
    turned = np.where(in_time.T, columns.hung, ABSENT)
    arrive = np.minimum(dry_on, days - 1) + np.arange(place)[:, None] * days
    terms: list[Term] = [
        (columns.ready, at),
        (columns.ready[:, :-1], at[:, 1:], -1.0),
        (turned, np.broadcast_to(arrive.T, turned.shape), -1.0),
        (columns.down, at),
    ]
    already = np.zeros(at.shape)
    for row in problem.hanging:
        if row.ready < days:
            already[row.place, max(row.ready, 0)] += row.sticks
    return _rows("dry_before_down", columns, at.shape, terms, lower=already, upper=already)


def bulk_waits(problem: Problem, columns: Columns) -> Rows:
    """No cured plant is stripped before it is down; what is not stripped waits in bulk."""
    days = np.arange(problem.days)
    down = columns.down if columns.bulk[0] >= 0 else np.full_like(columns.down, ABSENT)
    terms: list[Term] = [
        (columns.bulk, days),
        (columns.bulk[:-1], days[1:], -1.0),
        (down, days, -1.0),
        (columns.stripped, days),
    ]
    return _rows("bulk_waits", columns, days.shape, terms, lower=0, upper=0)


def sticks_in_use(problem: Problem, columns: Columns) -> Rows:
    """No more sticks hang in all places together than the farm owns."""
    days = np.arange(problem.days)
    owned = max(problem.sticks_owned, sum(row.sticks for row in problem.hanging))
    return _rows("sticks_in_use", columns, days.shape, [(columns.load, days)], upper=owned)


GROUPS: tuple[Callable[[Problem, Columns], Rows], ...] = (
    one_sample, taken_by_then, sample_before_cut, sample_before_day, later_sample_rules,
    cut_under_sample, cut_is_hung, cut_day_opened, enough_cut_days, few_cut_days, all_sticks, crew,
    haul, room, dry_before_down, bulk_waits, sticks_in_use,
)  # fmt: skip


def room_limit(problem: Problem) -> Ints:
    """Sticks a place may hold [place, day]; what hangs already is never more than fits."""
    hanging = [problem.hanging_in(place) for place in range(len(problem.places))]
    return np.maximum(problem.capacity, np.array(hanging, dtype=np.int64)[:, None])


def strip_hours(problem: Problem) -> float:
    """Crew hours to strip one stick's worth, a mean over the sticks standing: bulk is mixed."""
    return float(np.average(problem.hours_strip, weights=problem.sticks_standing + 1e-9))


# ---------------------------------------------------------------- building blocks


def _number_columns(problem: Problem) -> Columns:
    """Number the columns that can be used; a day without crew, wagon or room has none."""
    lot, _, day, place = problem.shape
    cuttable = problem.allowed.any(axis=1) & (problem.cut_limit() > 0)  # [lot, day]
    cut = problem.allowed & cuttable[:, None]
    future = np.any(cut, axis=2)
    future[:, 0] = False
    through_bulk = np.full(day, 0 < problem.bulk_room < np.inf)
    every_day = np.ones((place, day), bool)
    used = {
        "sample": future,
        "by": future,
        "opened": cuttable,
        "taken": cuttable,
        "cut": cut,
        "hung": cuttable[..., None] & (problem.capacity.T > 0),
        "left": np.ones(lot, bool),
        "load": every_day,
        "ready": every_day,
        "down": every_day,
        "bulk": through_bulk,
        "stripped": through_bulk,
        "tail": np.ones((), bool),
    }
    numbered: dict[str, Ints] = {}
    count = 0
    for name, mask in used.items():
        index = np.full(np.shape(mask), ABSENT, dtype=np.int64)
        size = int(np.sum(mask))
        index[mask] = np.arange(count, count + size)
        numbered[name] = index
        count += size
    return Columns(**numbered, count=count)


def _bounds(problem: Problem, columns: Columns) -> tuple[Floats, Floats]:
    lower, upper = np.zeros(columns.count), np.full(columns.count, np.inf)
    for binary in (columns.sample, columns.by, columns.opened):
        upper[binary[binary >= 0]] = 1
    _put(upper, columns.load, room_limit(problem))
    _put(upper, columns.bulk, np.broadcast_to(problem.bulk_room, columns.bulk.shape))
    lower[columns.tail] = -np.inf
    return lower, upper


def _rows(
    group: str,
    columns: Columns,
    shape: tuple[int, ...],
    terms: Sequence[Term],
    lower: float | Floats | Ints = -np.inf,
    upper: float | Floats | Ints = np.inf,
) -> Rows:
    """Gather terms (columns, row of each, coefficient) into one group, skipping absent columns."""
    row, column, coefficient = [], [], []
    for index, at, *factor in terms:
        there = index >= 0
        column.append(index[there])
        row.append(np.broadcast_to(at, index.shape)[there])
        coefficient.append(np.broadcast_to(factor[0] if factor else 1.0, index.shape)[there])
    size = math.prod(shape)
    entries = sparse.csr_array(
        (np.concatenate(coefficient), (np.concatenate(row), np.concatenate(column))),
        shape=(size, columns.count),
    )
    limits = (np.broadcast_to(limit, shape).ravel().astype(float) for limit in (lower, upper))
    return Rows(group, entries, *limits)


def _share_of(sticks: Floats | Ints) -> Floats:
    """What one stick is of so many; rows in shares keep the solver's tolerance from growing."""
    return 1 / np.maximum(sticks, 1)


def _put(vector: Floats, columns: Ints, entries: Floats | Ints) -> None:
    there = columns >= 0
    vector[columns[there]] = np.asarray(entries)[there]


def _lot_days(problem: Problem) -> Ints:
    return np.arange(len(problem.lots) * problem.days).reshape(-1, problem.days)


def _place_days(problem: Problem) -> Ints:
    return np.arange(len(problem.places) * problem.days).reshape(-1, problem.days)
