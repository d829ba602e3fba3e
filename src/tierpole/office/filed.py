"""What the books hold beside the season, as papers print it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any

from tierpole.documents import Bill, Filed, Proof
from tierpole.farm import TestKind
from tierpole.office.sales import SaleDesk, Sold
from tierpole.records import Store, Wanted, nouns, verify

OF_SEASON = {
    "arrivals": "arrival",
    "plantings": "planting",
    "losses": "loss",
    "custody": "custody",
    "panels": "panel",
    "strippings": "stripping",
    "bags": "bag",
    "disposals": "disposal",
    "remediations": "remediation",
}
LASTING = {"licences": "licence", "approvals": "approval"}


def filed_in(store: Store, year: int, on: date, is_proven: bool) -> Filed:
    """Everything a paper may print of a season, if asked with the proof of the chain as it is."""
    found: dict[str, Any] = {
        name: tuple(one.noun for one in nouns(store, Wanted(kind, season=year)))
        for name, kind in OF_SEASON.items()
    }
    dated = dated_in(store, year, on)
    return replace(dated, **found, proof=_proof(store) if is_proven else None)


def dated_in(store: Store, year: int, on: date) -> Filed:
    """What days to keep follow from, beside the season: licences, approvals, results, money due."""
    found: dict[str, Any] = {
        name: tuple(one.noun for one in nouns(store, Wanted(kind)))
        for name, kind in LASTING.items()
    }
    bills = tuple(_bill(one, on) for one in SaleDesk(store, year, on).every())
    tests = (one.noun for one in nouns(store, Wanted("test")))
    official = tuple(test for test in tests if test.kind is TestKind.OFFICIAL)
    return Filed(**found, bills=bills, official=official)


def _bill(sold: Sold, on: date) -> Bill:
    """A sale as papers print it."""
    off = max(sold.steps, key=lambda step: abs(step.dollars), default=None)
    return Bill(
        sale=sold.sale.name, buyer=sold.sale.buyer, state=sold.state(on), owed=sold.owed,
        says=sold.settlement.due if sold.settlement else None, paid=sold.paid, due_on=sold.due_on,
        lots=sold.lots, off=off.name if off else "",
        warnings=tuple(one.said for one in sold.troubles),
    )  # fmt: skip


def _proof(store: Store) -> Proof:
    verdict = verify(store)
    sealed = f"{verdict.seal.seq}:{verdict.seal.hash}"
    return Proof(
        verdict.entries, sealed, datetime.now().astimezone().date().isoformat(), verdict.is_sound
    )
