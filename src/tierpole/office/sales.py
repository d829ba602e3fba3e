"""Sales: what was delivered, what we reckon is owed, what the buyer says, and what came."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID

from tierpole.charts import words
from tierpole.farm import Test, TestKind
from tierpole.farm.books import (
    Bag,
    Delivery,
    Payment,
    Sale,
    SaleForm,
    Settlement,
)
from tierpole.money import Count, Load, Step, counted, differences, owed
from tierpole.office.gates import Proofs, Trouble, proofs_of
from tierpole.records import Store, Wanted, nouns
from tierpole.units import System, show

_LAST_WORD = (TestKind.PRETEST, TestKind.OFFICIAL, TestKind.REMEDIATION, TestKind.FINAL)
_LABELS = {
    SaleForm.POINT: "for each percent of CBD a pound",
    SaleForm.FLAT: "flat by weight",
    SaleForm.SPLIT: "the processor keeps a share of what he recovers",
    SaleForm.TOLL: "a fee for each pound, what comes out is ours",
    SaleForm.ACREAGE: "by the acre",
}


@dataclass(frozen=True)
class Sold:
    """A sale with all that is written of it, and what it comes to."""

    sale: Sale
    noun: UUID
    deliveries: tuple[Delivery, ...]
    settlement: Settlement | None
    paid: float
    count: Count
    owed: float | None
    steps: tuple[Step, ...]
    due_on: date | None
    troubles: tuple[Trouble, ...]
    lots: tuple[str, ...]

    @property
    def due(self) -> float | None:
        """What is to come: as the buyer says, else as we reckon it."""
        return self.settlement.due if self.settlement else self.owed

    @property
    def is_open(self) -> bool:
        """Whether something of it is still to be delivered."""
        rest = (self.sale.mass or 0.0) - sum(one.mass for one in self.deliveries)
        return self.settlement is None and (not self.deliveries or rest > 0)

    def state(self, on: date) -> str:
        """How the sale stands on a day."""
        if not self.deliveries and self.settlement is None:
            return "nothing delivered"
        if self.settlement is None:
            return "delivered, no statement yet"
        if self.paid >= self.settlement.due - 0.005:
            return "paid"
        is_late = self.due_on is not None and on > self.due_on
        return ("part paid" if self.paid else "not paid") + (", late" if is_late else "")


@dataclass(frozen=True)
class SaleLine:
    """A sale in the list."""

    name: str
    buyer: str
    form: str
    state: str
    owed: str
    says: str
    paid: str
    is_wrong: bool


@dataclass(frozen=True)
class SaleList:
    """Every sale, what came of them, and what is still to come."""

    lines: tuple[SaleLine, ...]
    paid: str
    rest: str


@dataclass(frozen=True)
class Row:
    """A line of the statement: ours beside theirs, and the dollars that it makes."""

    name: str
    ours: str
    theirs: str
    dollars: str


@dataclass(frozen=True)
class SalePage:
    """A sale as its page shows it."""

    name: str
    noun: UUID
    sentence: str
    facts: tuple[tuple[str, str], ...]
    deliveries: tuple[tuple[str, ...], ...]
    rows: tuple[Row, ...]
    causes: tuple[Row, ...]
    payments: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class SaleDesk:
    """Where sales of a season are looked up; `on` is the day they are looked at."""

    store: Store
    season: int
    on: date

    def every(self) -> tuple[Sold, ...]:
        """Every sale of the season, oldest first."""
        stored = nouns(self.store, Wanted("sale", season=self.season))
        return tuple(self._sold(one.noun, one.entry.of) for one in stored)

    def listed(self) -> SaleList:
        """The sales as a list, with what came of them in all."""
        every = self.every()
        rest = sum((one.due or 0.0) - one.paid for one in every)
        return SaleList(self._lines(every), _cents(sum(one.paid for one in every)), _cents(rest))

    def _lines(self, every: Sequence[Sold]) -> tuple[SaleLine, ...]:
        return tuple(
            SaleLine(
                name=one.sale.name, buyer=one.sale.buyer, form=_LABELS[one.sale.form],
                state=one.state(self.on), owed=_cents(one.owed),
                says=_cents(one.settlement.due if one.settlement else None),
                paid=_cents(one.paid), is_wrong=bool(one.steps or one.troubles),
            )
            for one in every
        )  # fmt: skip

    def page(self, name: str, system: System) -> SalePage | None:
        """One sale with its statement; None when there is no such sale."""
        one = next((one for one in self.every() if one.sale.name == name), None)
        if one is None:
            return None
        return SalePage(
            name=name,
            noun=one.noun,
            sentence=_sentence(one, self.on),
            facts=tuple(_facts(one, system)),
            deliveries=tuple(_delivery(each, system) for each in one.deliveries),
            rows=tuple(_rows(one, system)),
            causes=tuple(_cause(step, system) for step in one.steps),
            payments=tuple(
                (words.day(each.paid_on), _cents(each.amount)) for each in self._of("payment", name)
            ),
            warnings=tuple(map(str, one.troubles)),
        )

    def _of(self, kind: str, sale: str) -> list[Any]:
        return [one for one in self.said(kind) if one.sale == sale]

    def said(self, kind: str) -> list[Any]:
        """The nouns of a kind in the season, looked up once."""
        if kind not in self._said:
            found = nouns(self.store, Wanted(kind, season=self.season))
            self._said[kind] = [one.noun for one in found]
        return self._said[kind]

    @cached_property
    def _said(self) -> dict[str, list[Any]]:
        return {}

    def _sold(self, sale: Sale, noun: UUID) -> Sold:
        deliveries: list[Delivery] = self._of("delivery", sale.name)
        settlement = _joined(self._of("settlement", sale.name))
        payments: list[Payment] = self._of("payment", sale.name)
        count = counted(sale, [self._load(one) for one in deliveries])
        if settlement is not None:
            count = replace(count, recovery=settlement.recovery)
        due_on = None
        if settlement is not None and sale.due_days is not None:
            due_on = settlement.settled_on + timedelta(days=sale.due_days)
        lots = tuple(dict.fromkeys(lot for one in deliveries for lot in self._lots(one)))
        return Sold(
            sale=sale,
            noun=noun,
            deliveries=tuple(deliveries),
            settlement=settlement,
            paid=sum(one.amount for one in payments),
            count=count,
            owed=owed(sale, count) if deliveries or sale.area else None,
            steps=differences(sale, count, settlement) if settlement else (),
            due_on=due_on,
            troubles=tuple(dict.fromkeys(self._troubles(sale, deliveries))),
            lots=lots,
        )

    def _troubles(self, sale: Sale, deliveries: Sequence[Delivery]) -> Iterator[Trouble]:
        """What is wrong with what went out, as of its day."""
        if self.proofs is None:
            return
        for one in deliveries:
            yield from self.proofs.troubles(sale, self._lots(one), one.delivered_on)

    @cached_property
    def proofs(self) -> Proofs | None:
        """What the season's material leaves the farm by."""
        return proofs_of(self.store, self.said)

    def _bags(self, delivery: Delivery) -> list[Bag]:
        return [one for one in self.said("bag") if one.name in delivery.bags]

    def _lots(self, delivery: Delivery) -> list[str]:
        return [one.lot for one in self._bags(delivery)]

    def _load(self, delivery: Delivery) -> Load:
        """A delivery as it is paid for, its CBD by the last tests of the lots in its bags."""
        dry = [(one.mass * (1 - one.moisture), self._cbd(one.lot)) for one in self._bags(delivery)]
        known = [(mass, cbd) for mass, cbd in dry if cbd is not None]
        whole = sum(mass for mass, _ in known)
        cbd = sum(m * c for m, c in known) / whole if whole and len(known) == len(dry) else None
        return Load(delivery.mass, delivery.moisture, cbd, delivery.foreign, delivery.mould)

    def _cbd(self, lot: str) -> float | None:
        """Total CBD of a lot by its last word: the final test before the official, then the day."""
        told: list[Test] = [
            one for one in self.said("test") if one.lot == lot and one.total_cbd is not None
        ]
        last = max(told, key=lambda one: (_LAST_WORD.index(one.kind), one.sampled_on), default=None)
        return last.total_cbd if last else None


def sale_desk(store: Store, season: int, kept_day: date | None) -> SaleDesk:
    """The sales of a season as of today, or of the day a demonstration is looked at."""
    return SaleDesk(store, season, kept_day or datetime.now().astimezone().date())


def _joined(settlements: Sequence[Settlement]) -> Settlement | None:
    """Several statements of one sale as one: sums, and contents by their pounds."""
    if len(settlements) < 2:
        return settlements[0] if settlements else None
    mass = sum(one.mass for one in settlements)

    def mean(field: str) -> float | None:
        told = [(one.mass, getattr(one, field)) for one in settlements]
        if any(value is None for _, value in told) or not mass:
            return None
        return sum(weight * value for weight, value in told) / mass

    return Settlement(
        sale=settlements[0].sale, settled_on=max(one.settled_on for one in settlements), mass=mass,
        total_cbd=mean("total_cbd"), recovery=mean("recovery"),
        deductions=sum(one.deductions for one in settlements),
        due=sum(one.due for one in settlements),
    )  # fmt: skip


def _cents(amount: float | None) -> str:
    """Money to the cent, as a bill has it."""
    if amount is None:
        return "not known"
    return f"{'−' if amount < 0 else ''}${abs(amount):,.2f}"


def _sentence(one: Sold, on: date) -> str:
    """How a sale stands, in one sentence."""
    state = words.capital(one.state(on))
    if one.settlement is None:
        return f"{state}; by the contract {_cents(one.owed)} is owed."
    rest = one.settlement.due - one.paid
    said = f"{state}: {_cents(one.paid)} of {_cents(one.settlement.due)} came"
    until = ""
    if one.due_on and rest > 0:
        until = f", the rest {'was' if on > one.due_on else 'is'} due {words.plain_day(one.due_on)}"
    off = sum(step.dollars for step in one.steps)
    if abs(off) < 0.005:
        return f"{said}{until}. The buyer's statement is as we reckon it."
    which = "less" if off < 0 else "more"
    return f"{said}{until}. The buyer's statement is {_cents(abs(off))} {which} than we reckon."


def _facts(one: Sold, system: System) -> Iterator[tuple[str, str]]:
    sale = one.sale
    yield "Buyer", sale.buyer
    yield "Agreed", f"{words.day(sale.agreed_on)}{'' if sale.is_contract else ', without contract'}"
    yield "Paid", _LABELS[sale.form]
    prices = (("price_point", "a price a point"), ("price_flat", "money a mass"),
              ("fee", "money a mass"), ("price_area", "money an area"),
              ("dockage", "money a mass"), ("dockage_foreign", "money a mass"))  # fmt: skip
    for field, kind in prices:
        if (price := getattr(sale, field)) is not None:
            yield words.capital(field.replace("_", " ")), show(price, kind, system, 4)
    if sale.share_kept is not None:
        yield "Share kept by the processor", words.percent(sale.share_kept)
    yield "Moisture counted at", words.percent(sale.moisture)
    if sale.panels:
        yield "Panels asked for", words.listed([str(group) for group in sale.panels])
    if one.lots:
        yield "Lots", words.listed(one.lots)


def _delivery(one: Delivery, system: System) -> tuple[str, ...]:
    moisture = "not measured" if one.moisture is None else words.percent(one.moisture)
    why = f"went out all the same: {one.exception}" if one.exception else one.note
    bags = ", ".join(one.bags)
    return words.day(one.delivered_on), bags, show(one.mass, "a mass", system, 6), moisture, why


def _rows(one: Sold, system: System) -> Iterator[Row]:
    """The statement: what each counts, and what each says is owed."""
    theirs = one.settlement
    ours: tuple[tuple[str, float | None, float | None, str], ...] = (
        ("Weight counted", one.count.mass, theirs.mass if theirs else None, "mass"),
        ("Total CBD", one.count.cbd, theirs.total_cbd if theirs else None, "share"),
        ("Recovery", None, theirs.recovery if theirs else None, "share"),
        ("Deductions", None, theirs.deductions if theirs else None, "cents"),
        ("Owed", one.owed, theirs.due if theirs else None, "cents"),
    )
    for name, mine, his, kind in ours:
        if mine is not None or his is not None:
            yield Row(name, _amount(mine, kind, system), _amount(his, kind, system), "")


def _amount(value: float | None, kind: str, system: System) -> str:
    if value is None:
        return ""
    if kind == "mass":
        return show(value, "a mass", system, 6)
    return words.percent(value, 4) if kind == "share" else _cents(value)


_KIND_OF = {"pounds": "mass", "total CBD": "share", "recovery": "share", "deductions": "cents"}


def _cause(step: Step, system: System) -> Row:
    kind = _KIND_OF.get(step.name, "cents")
    name = "weight" if step.name == "pounds" else step.name
    ours, theirs = (_amount(value, kind, system) for value in (step.ours, step.theirs))
    return Row(words.capital(name), ours, theirs, _cents(step.dollars))
