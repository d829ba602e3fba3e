"""Duties on This week: days to keep, lots that failed, what is wrong in store; each with its form.

Where the farm is a file there are no books to write in, and no forms are offered.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from tierpole.charts import words
from tierpole.compliance import Deadline, Due, paper_name
from tierpole.documents import Failed, Filed, Warned, deadlines, reason, waiting
from tierpole.farm.books import ReportKind
from tierpole.plan.result import Plan
from tierpole.rulebook import Rulebook
from tierpole.season import Season

DATES_AHEAD = 42  # days; a window ends within five weeks of its sample
PLANNED = (Due.CALL, Due.VISIT, Due.CUT, Due.TAKE_DOWN)


@dataclass(frozen=True)
class Way:
    """A way on: what it is called, the page it leads to, and what is answered there already."""

    label: str
    path: str
    query: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class DateRow:
    """A day the rules set: when, what is due and why, and where it is written down once done."""

    day: str
    what: str
    why: str
    is_waiting: bool
    ways: tuple[Way, ...]


@dataclass(frozen=True)
class StoreRow:
    """What is wrong with something in store, and where to look at it."""

    what: str
    way: Way


def date_rows(season: Season, plan: Plan, filed: Filed) -> Iterator[DateRow]:
    """What the rules set within the next weeks, and what waits; the plan's work stands apart."""
    last = season.on + timedelta(days=DATES_AHEAD)
    for one in deadlines(season, plan, filed):
        if one.due not in PLANNED and one.day <= last:
            waits = waiting(one)
            ways = () if filed.reports is None else tuple(_ways(season, filed, one))
            yield DateRow(waits or words.day(one.day), one.what, reason(one), bool(waits), ways)


def _ways(season: Season, filed: Filed, one: Deadline) -> Iterator[Way]:
    """Where it is written down that a deadline was kept."""
    if one.report is not None:
        about = ("lot", one.subject) if one.subject else ("year", str(season.year))
        yield _report(one.report, about)
    elif one.due is Due.PAYMENT:
        yield Way("Money came", "/enter/paid", (("sale", one.subject),))
    elif one.due is Due.LICENCE:
        yield _renewed(filed, one.subject)


def _renewed(filed: Filed, subject: str) -> Way:
    """The form of the licence or approval that follows one, with what stays the same."""
    label, named = "It is renewed", {paper_name(one): one for one in filed.approvals}
    if subject in named:
        approval = named[subject]
        said = (("variety", approval.variety), ("authority", approval.authority))
        return Way(label, "/enter/any-approval", said)
    authority = next((one.authority for one in filed.licences if one.name == subject), "")
    return Way(label, "/enter/any-licence", (("name", subject), ("authority", authority)))


_DONE = {
    ReportKind.PLANTING: "It is filed",
    ReportKind.ANNUAL: "It is filed",
    ReportKind.HARVEST: "It is reported",
    ReportKind.NOTICE: "The department is told",
    ReportKind.DISPOSED: "The proof is sent",
}


def _report(kind: ReportKind, about: tuple[str, str]) -> Way:
    """The form on which a report is written down, with what it is about filled in."""
    return Way(_DONE[kind], "/enter/any-report", (("kind", kind), about))


def ways_after_fail(lot: Failed, filed: Filed) -> Iterator[Way]:
    """What can be written down of a failed lot: that it was told, destroyed or remedied."""
    if filed.reports is None:
        return
    if not lot.is_told:
        yield _report(ReportKind.NOTICE, ("lot", lot.name))
    yield Way("It is destroyed", "/enter/any-disposal", (("lot", lot.name),))
    if _may_be_saved(lot, lot.book):
        yield Way("It is remedied", "/enter/any-remediation", (("lot", lot.name),))


def _may_be_saved(lot: Failed, book: Rulebook) -> bool:
    return not lot.is_again and bool(book.remediation.value)


def store_rows(filed: Filed) -> Iterator[StoreRow]:
    """What is wrong with lots in store, each with where to look."""
    for one in filed.warnings:
        yield StoreRow(one.said, _where(one))


def _where(one: Warned) -> Way:
    if one.sale:
        return Way(f"The sale {one.sale}", f"/sales/{one.sale}")
    return Way(f"The entries of {one.lot}", "/books", (("lot", one.lot),))
