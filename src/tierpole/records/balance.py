"""Mass balance of a lot: where plants, sticks and pounds went, and at which step some are missing.

    ordered > arrived > set > alive > cut        plants
    cut > hung > taken down > stripped           sticks
    cut green > stripped > bagged > gone         mass, compared as dry matter

Each step compares what went in with what came out. More out than in is a difference at once; less
is a rest that waits (plants standing, bags in store), and a difference once the lot is closed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Cut, Hanging, Lot, Noun
from tierpole.farm import books as b
from tierpole.records import schema
from tierpole.records.kinds import KINDS
from tierpole.records.reading import entry_of
from tierpole.records.store import Store

TOLERANCE = Table(
    "Differences a mass balance lets pass",
    (
        Value(
            "arrived", 0.02, "share", Mark.PRACTICE,
            "suppliers fill trays up and count by the tray",
        ),
        Value(
            "set", 0.06, "share", Mark.INFERENCE,
            "5 % spare plants are ordered; what is left over is given away or thrown out",
        ),
        Value("alive", 0.05, "share", Mark.INFERENCE, "plants are counted row by row, on foot"),
        Value(
            "cut", 0.05, "share", Mark.INFERENCE,
            "plants a stick is a habit, not a count: one stick in seven carries one more or less",
        ),
        Value("sticks", 0.01, "share", Mark.INFERENCE, "sticks are counted by the wagon"),
        Value(
            "dry_matter", 0.03, "share", Mark.INFERENCE,
            "a farm scale within 1 %, a moisture meter within 2 points of 10 to 14 %",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Step:
    """One step: what went in and came out [plants, sticks or kg], None where nobody wrote it."""

    name: str
    unit: str
    went_in: float | None
    came_out: float | None
    tolerance: float
    is_open: bool

    @property
    def rest(self) -> float | None:
        """What went in and has not come out; negative when more came out than went in."""
        if self.went_in is None or self.came_out is None:
            return None
        return self.went_in - self.came_out

    @property
    def is_within(self) -> bool:
        """Whether in and out agree as far as they were written, a rest of an open step aside."""
        if self.rest is None or self.went_in is None:
            return True
        slack = self.tolerance * max(self.went_in, 0.0) + 1e-9
        return self.rest >= -slack and (self.is_open or self.rest <= slack)


@dataclass(frozen=True)
class Balance:
    """The steps of one lot; `differences` are those that do not agree, the first cause first."""

    lot: str
    steps: tuple[Step, ...]

    @property
    def differences(self) -> tuple[Step, ...]:
        """The steps at which a difference arises."""
        return tuple(step for step in self.steps if not step.is_within)


@dataclass(frozen=True)
class LotBooks:
    """All that the books say of one lot; for remediated material `lot` is None."""

    name: str
    lot: Lot | None = None
    nouns: dict[type[Noun], list[Any]] = field(default_factory=lambda: defaultdict(list))

    def of(self, kind: type[Noun]) -> list[Any]:
        """The nouns of one kind."""
        return self.nouns.get(kind, [])


def mass_balance(store: Store, lot: str, season: int, *, is_closed: bool = False) -> Balance:
    """The balance of a lot of a season; `is_closed` when nothing more is to come of it."""
    return balance(_lot_books(store, lot, season), is_closed)


def balance(books: LotBooks, is_closed: bool = False) -> Balance:
    """The balance of what was written of a lot."""
    steps = (*_plants(books), *_sticks(books), *_masses(books))
    made = (
        Step(name, unit, went_in, came_out, TOLERANCE[tolerance], not is_closed or is_one_sided)
        for name, unit, went_in, came_out, tolerance, is_one_sided in steps
    )
    return Balance(books.name, tuple(made))


_Row = tuple[str, str, float | None, float | None, str, bool]


def _plants(books: LotBooks) -> Iterator[_Row]:
    if books.lot is None:
        return
    ordered = _sum(books.of(b.CloneOrder), "plants")
    arrived = _sum(books.of(b.Arrival), "plants")
    dead = _sum(books.of(b.Arrival), "dead") or 0
    were_set = _sum(books.of(b.Planting), "plants") or books.lot.plants_set
    left = were_set - (_sum(books.of(b.PlantLoss), "plants") or 0)
    counted = books.lot.plants_counted
    destroyed = _sum(books.of(b.Disposal), "plants") or 0
    cut = (_sum(books.of(Cut), "sticks") or 0) * books.lot.plants_per_stick
    yield "arrived", "plants", ordered, arrived, "arrived", False
    yield "set", "plants", None if arrived is None else arrived - dead, were_set, "set", False
    yield "alive", "plants", left, counted, "alive", False
    yield "cut", "plants", left if counted is None else counted, cut + destroyed, "cut", False


def _sticks(books: LotBooks) -> Iterator[_Row]:
    if books.lot is None:
        return
    cut, hangings = _sum(books.of(Cut), "sticks"), books.of(Hanging)
    hung = _sum(hangings, "sticks")
    down = _sum([one for one in hangings if one.down_on is not None], "sticks")
    stripped = _sum(books.of(b.Stripping), "sticks")
    gone = sum(_sum(books.of(kind), "sticks") or 0 for kind in (b.Disposal, b.Remediation))
    tiers = _sum(books.of(b.TierLoad), "sticks")
    yield "hung", "sticks", cut, hung, "sticks", False
    yield "on tiers", "sticks", hung, tiers, "sticks", True
    yield "taken down", "sticks", hung, down, "sticks", False
    yield "stripped", "sticks", down, None if stripped is None else stripped + gone, "sticks", False


def _masses(books: LotBooks) -> Iterator[_Row]:
    stripped = _dry(books.of(b.Stripping))
    made = _dry([one for one in books.of(b.Remediation) if one.name == books.name])
    remade = _dry([one for one in books.of(b.Remediation) if one.lot == books.name])
    started = stripped if books.lot else made
    bags = books.of(b.Bag)
    out = {bag for one in (*books.of(b.Delivery), *books.of(b.Disposal)) for bag in one.bags}
    gone = [bag for bag in bags if bag.name in out]
    destroyed = _sum(books.of(b.Disposal), "mass") or 0.0
    bagged = _dry(bags)
    if books.lot:
        yield "dried and stripped", "kg", _green(books), stripped, "dry_matter", True
    put = None if bagged is None else bagged + destroyed + (remade or 0.0)
    yield "bagged", "kg", started, put, "dry_matter", False
    yield "sold or destroyed", "kg", bagged, _dry(gone) or 0.0, "dry_matter", False
    yield "on the buyer's scale", "kg", *_scaled(books), "dry_matter", False


def _green(books: LotBooks) -> float | None:
    """Dry matter that was cut: of the sticks weighed, on all that were cut [kg]."""
    weighed = [one for one in books.of(b.GreenWeight) if one.moisture is not None]
    sticks, cut = _sum(weighed, "sticks"), _sum(books.of(Cut), "sticks")
    mass = _dry(weighed)
    return None if not sticks or cut is None or mass is None else mass / sticks * cut


def _scaled(books: LotBooks) -> tuple[float | None, float | None]:
    """A lot's bags that were delivered: by the farm's scale, and its part of the buyer's [kg]."""
    own = {bag.name: bag for bag in books.of(b.Bag)}
    ours = theirs = 0.0
    for delivery in books.of(b.Delivery):
        bags = [own[name] for name in delivery.bags if name in own]
        if delivery.moisture is None or len(bags) < len(delivery.bags):
            continue  # bags of several lots on one scale tell nothing of one
        ours += _dry(bags) or 0.0
        theirs += delivery.mass * (1 - delivery.moisture)
    return (ours, theirs) if theirs else (None, None)


def _dry(nouns: Iterable[Any]) -> float | None:
    """Dry matter in weighed material [kg], wet-basis moisture taken off; None without any."""
    masses = [one.mass * (1 - one.moisture) for one in nouns]
    return sum(masses) if masses else None


def _sum(nouns: Iterable[Any], name: str) -> Any:
    """The sum of what was written; None where nothing was."""
    values = [value for one in nouns if (value := getattr(one, name)) is not None]
    return sum(values) if values else None


_COUNTED = [
    kind.name for kind in KINDS
    if kind.noun in (
        b.CloneOrder, b.Arrival, b.Planting, b.PlantLoss, b.Disposal, Cut, Hanging, b.Stripping,
        b.TierLoad, b.Remediation, b.Bag, b.Delivery, b.GreenWeight,
    )
]  # fmt: skip


def _lot_books(store: Store, lot: str, season: int) -> LotBooks:
    """What the books hold of a lot: what names it, or names its bags or orders."""
    entry, current = schema.entry.c, schema.current.c
    wanted = sa.select(schema.entry).join(schema.current, current.seq == entry.seq)
    wanted = wanted.where(~current.is_withdrawn, current.season == season).where(
        sa.or_(
            sa.and_(current.lot == lot, current.kind.in_(_COUNTED)),
            sa.and_(current.name == lot, current.kind.in_(["lot", "remediation"])),
            current.kind.in_(["delivery", "arrival"]),
        )
    )
    with store.reading() as connection:
        rows = connection.execute(wanted.order_by(current.first)).mappings()
        nouns: list[Any] = [entry_of(row).noun for row in rows]
    lots = [one for one in nouns if isinstance(one, Lot)]
    books = LotBooks(lot, lots[0] if lots else None)
    orders = {one.name for one in nouns if isinstance(one, b.CloneOrder)}
    for noun in nouns:
        if not isinstance(noun, b.Arrival) or lot in (noun.lot, *_lot_of(noun, orders, lot)):
            books.nouns[type(noun)].append(noun)
    return books


def _lot_of(arrival: b.Arrival, orders: set[str], lot: str) -> tuple[str, ...]:
    """An arrival without a lot is of the lot its order was for."""
    return (lot,) if arrival.lot is None and arrival.order in orders else ()
