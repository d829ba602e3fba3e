"""What the books hold beside the season, as papers print it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any

from tierpole.documents import Bill, Filed, Proof
from tierpole.farm import TestKind
from tierpole.office.in_store import warned
from tierpole.office.sales import SaleDesk, Sold
from tierpole.office.sources import is_books
from tierpole.records import Store, Wanted, nouns, open_store, verify
from tierpole.season import Season

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
LASTING = {"licences": "licence", "approvals": "approval", "reports": "report"}


def filed_in(store: Store, year: int, on: date, is_proven: bool) -> Filed:
    """Everything a paper may print of a season, if asked with the proof of the chain as it is."""
    found: dict[str, Any] = {
        name: tuple(one.noun for one in nouns(store, Wanted(kind, season=year)))
        for name, kind in OF_SEASON.items()
    }
    dated = dated_in(store, year, on)
    return replace(dated, **found, proof=_proof(store) if is_proven else None)


def dated_in(store: Store, year: int, on: date) -> Filed:
    """What days to keep and warnings follow from, beside the season.

    Licences and approvals, reports, results, failed lots, money due, what is in store.
    """
    found: dict[str, Any] = {
        name: tuple(one.noun for one in nouns(store, Wanted(kind)))
        for name, kind in LASTING.items()
    }
    desk = SaleDesk(store, year, on)
    sales, remade = desk.every(), {one.name for one in desk.said("remediation")}
    tests = (one.noun for one in nouns(store, Wanted("test")))
    return Filed(
        **found,
        disposals=tuple(desk.said("disposal")),
        remediations=tuple(desk.said("remediation")),
        retests=tuple(one for one in desk.said("test") if one.lot in remade),
        official=tuple(test for test in tests if test.kind is TestKind.OFFICIAL),
        bills=tuple(_bill(one, on) for one in sales),
        warnings=warned(desk, sales),
    )


def dated_of(where: str, season: Season) -> Filed:
    """The same of books in a file or at an address; nothing where the season is a scenario."""
    if not is_books(where):
        return Filed()
    with open_store(where) as store:
        return dated_in(store, season.year, season.on)


def _bill(sold: Sold, on: date) -> Bill:
    """A sale as papers print it."""
    off = max(sold.steps, key=lambda step: abs(step.dollars), default=None)
    return Bill(
        sale=sold.sale.name, buyer=sold.sale.buyer, state=sold.state(on), owed=sold.owed,
        says=sold.settlement.due if sold.settlement else None, paid=sold.paid, due_on=sold.due_on,
        lots=sold.lots, off=off.name if off else "",
        warnings=tuple(map(str, sold.troubles)),
    )  # fmt: skip


def _proof(store: Store) -> Proof:
    verdict = verify(store)
    sealed = f"{verdict.seal.seq}:{verdict.seal.hash}"
    return Proof(
        verdict.entries, sealed, datetime.now().astimezone().date().isoformat(), verdict.is_sound
    )
