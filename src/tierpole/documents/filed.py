"""What the books hold of a farm beyond its season: what papers print and a plan does not need."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tierpole.farm import Test
from tierpole.farm.books import (
    Arrival,
    Bag,
    CustodyStep,
    Disposal,
    Licence,
    Panel,
    Planting,
    PlantLoss,
    Remediation,
    Report,
    Stripping,
    VarietyApproval,
)


@dataclass(frozen=True)
class Proof:
    """That the books are unbroken: how many entries, the seal over them, and on which day."""

    entries: int
    seal: str
    checked_on: str
    is_unbroken: bool


@dataclass(frozen=True)
class Bill:
    """A sale as it stands: what we reckon is owed, what the buyer says, what came, due by when.

    `off` says where the buyer's statement departs from ours, `warnings` what was wrong with what
    went out.
    """

    sale: str
    buyer: str
    state: str
    owed: float | None
    says: float | None
    paid: float
    due_on: date | None
    lots: tuple[str, ...] = ()
    off: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Warned:
    """What is wrong with a lot in store before it is sold; the sale it is about, if any."""

    said: str
    lot: str
    sale: str = ""


@dataclass(frozen=True)
class Filed:
    """Records that papers print as they are; empty where there are no books.

    `official` are the official results of every season, for what the law counts over years.
    `reports` is None there: nobody could have written that one was filed. `retests` are the tests
    of remediated material, which is no lot of the season.
    """

    licences: tuple[Licence, ...] = ()
    approvals: tuple[VarietyApproval, ...] = ()
    arrivals: tuple[Arrival, ...] = ()
    plantings: tuple[Planting, ...] = ()
    losses: tuple[PlantLoss, ...] = ()
    custody: tuple[CustodyStep, ...] = ()
    panels: tuple[Panel, ...] = ()
    strippings: tuple[Stripping, ...] = ()
    bags: tuple[Bag, ...] = ()
    disposals: tuple[Disposal, ...] = ()
    remediations: tuple[Remediation, ...] = ()
    retests: tuple[Test, ...] = ()
    reports: tuple[Report, ...] | None = None
    bills: tuple[Bill, ...] = ()
    official: tuple[Test, ...] = ()
    warnings: tuple[Warned, ...] = ()
    proof: Proof | None = None


NOTHING_FILED = Filed()
