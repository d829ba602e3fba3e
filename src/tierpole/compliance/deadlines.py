"""The days the rules set: reports, licences, the last day to cut, the notice after a fail."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from tierpole.compliance.status import LotState, LotStatus
from tierpole.compliance.windows import window_end
from tierpole.farm.books import Licence, VarietyApproval
from tierpole.rulebook import NOT_STATED, Provision, Rulebook, RuleChange


class Due(StrEnum):
    """What falls due; the value is how a calendar files it."""

    LICENCE = "licence"
    REPORT = "report"
    CALL = "call the sampler"
    VISIT = "sampler's visit"
    HARVEST_REPORT = "report ahead of harvest"
    CUT = "cut and hang"
    TAKE_DOWN = "take down"
    WINDOW = "last day to cut"
    NOTICE = "notice after a fail"
    RULES = "change of rules"
    PAYMENT = "money due"


@dataclass(frozen=True)
class Deadline:
    """Something to be done by a day: what, why, and under which rule.

    `verify` asks to confirm the rule with the department. `subject` is the lot, licence or place
    it is about; empty when it is about the farm. `citation` is empty where no rule asks for it.
    """

    day: date
    due: Due
    what: str
    why: str
    citation: str = ""
    verify: bool = False
    subject: str = ""


def report_deadlines(year: int, books: Iterable[Rulebook]) -> Iterator[Deadline]:
    """The reports of one year; each by the book in force on its own day."""
    for book in books:
        yield from _report(book, book.planting_report, year, "Report the acres planted.")
        yield from _report(book, book.annual_report, year, "Send in the report of the year.")


def _report(book: Rulebook, provision: Provision[Any], year: int, what: str) -> Iterator[Deadline]:
    due = None if provision.value == NOT_STATED else provision.value.of(year)
    if due is not None and book.covers(due):
        yield _under(provision, due, Due.REPORT, what)


def licence_deadlines(
    papers: Iterable[Licence | VarietyApproval], first: date, last: date
) -> Iterator[Deadline]:
    """Licences and approvals that end between two days; the paper itself is the authority.

    One of which a later paper is there was renewed, and is told no more.
    """
    given = tuple(papers)
    for paper in given:
        name, ends = _paper_name(paper), paper.expires_on
        alike = [one.expires_on for one in given if _paper_name(one) == name]
        is_renewed = any(other is None or (ends and other > ends) for other in alike)
        if ends is not None and first <= ends <= last and not is_renewed:
            yield Deadline(
                ends, Due.LICENCE, f"Renew the {name} before it ends.",
                "It ends on this day by its own words; growing, cutting or holding hemp without "
                "a licence counts as a violation.", str(paper.authority), subject=name,
            )  # fmt: skip


def _paper_name(paper: Licence | VarietyApproval) -> str:
    return paper.name if isinstance(paper, Licence) else f"approval of {paper.variety}"


def window_deadline(lot: str, sampled_on: date, book: Rulebook) -> Deadline:
    """The last day a lot may be cut under a sample."""
    rule, end = book.window_days, window_end(sampled_on, book)
    what = f"Last day to cut {lot}, sampled {sampled_on:%-d %b}."
    found = _under(rule, end, Due.WINDOW, what, lot)
    return replace(found, why=f"{rule.value} days. {rule.says}")


def harvest_report_deadline(lot: str, first_cut: date, book: Rulebook) -> Deadline | None:
    """The last day to report a harvest ahead, where the rulebook wants that."""
    ahead = book.pre_harvest_report_days
    if ahead.value == 0:
        return None
    due = first_cut - timedelta(days=ahead.value)
    return _under(ahead, due, Due.HARVEST_REPORT, f"Report the harvest of {lot}.", lot)


def notice_deadline(lot: str, status: LotStatus, book: Rulebook) -> Deadline | None:
    """The last day to tell the authority what is done with a failed lot; at once if none is set."""
    if status.state is not LotState.FAILED or status.certificate is None:
        return None
    days = book.disposal_notice_days
    allowed = 0 if days.value == NOT_STATED else days.value
    due = status.certificate.reported_on + timedelta(days=allowed)
    what = f"Tell the department what you will do with {lot}: further test, remedy or disposal."
    return _under(days, due, Due.NOTICE, what, lot)


def change_deadlines(changes: Iterable[RuleChange]) -> Iterator[Deadline]:
    """The days on which one rulebook gives way to the next, with what differs after it."""
    for change in changes:
        after = [rule for name, _, rule in change.after.provisions() if name in change.names]
        new = [text for text in change.after.texts if text not in change.before.texts]
        yield Deadline(
            change.on, Due.RULES, "The rules change. Confirm which hold for what you sell.",
            " ".join(rule.says for rule in after), "; ".join(new),
            any(rule.verify for rule in after) or change.after.status == "verify",
        )  # fmt: skip


def _under(rule: Provision[Any], day: date, due: Due, what: str, subject: str = "") -> Deadline:
    return Deadline(day, due, what, rule.says, rule.citation, rule.verify, subject)
