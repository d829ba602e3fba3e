"""The days the rules set: reports, licences, the last day to cut, the notice after a fail."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from tierpole.compliance.status import LotState, LotStatus
from tierpole.compliance.windows import window_end
from tierpole.farm.books import Licence, Report, ReportKind, VarietyApproval
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
    DISPOSAL_REPORT = "report after a fail"
    RULES = "change of rules"
    PAYMENT = "money due"


@dataclass(frozen=True)
class Deadline:
    """Something to be done by a day: what, why, and under which rule.

    `verify` asks to confirm the rule with the department. `subject` is the lot, licence or place
    it is about; empty when it is about the farm. `citation` is empty where no rule asks for it.
    `report` is what is written down once it is done. What is late stands on the day it is looked
    at, and `was_due` says since when it waits. Where a rule names no days (`is_at_once`) it waits
    without being late.
    """

    day: date
    due: Due
    what: str
    why: str
    citation: str = ""
    verify: bool = False
    subject: str = ""
    report: ReportKind | None = None
    was_due: date | None = None
    is_at_once: bool = False

    def seen_on(self, on: date) -> Deadline:
        """The same as it stands on a day: what has waited stands on that day."""
        return self if self.day >= on else replace(self, day=on, was_due=self.day)


def report_deadlines(year: int, books: Iterable[Rulebook]) -> Iterator[Deadline]:
    """The reports of one year; each by the book in force on its own day."""
    for book in books:
        for rule, kind, what in (
            (book.planting_report, ReportKind.PLANTING, "Report the acres planted."),
            (book.annual_report, ReportKind.ANNUAL, "Send in the report of the year."),
        ):
            due = None if rule.value == NOT_STATED else rule.value.of(year)
            if due is not None and book.covers(due):
                yield replace(_under(rule, due, Due.REPORT, what), report=kind)


def lots_unreported(
    reports: Iterable[Report], kind: ReportKind, year: int, lots: Iterable[str]
) -> tuple[str, ...]:
    """The lots a report of a year is still to be filed for; one without a lot is for all."""
    filed = [one.lot for one in reports if one.kind is kind and one.about == year]
    return () if None in filed else tuple(lot for lot in lots if lot not in filed)


def was_told(reports: Iterable[Report], kind: ReportKind, lot: str, since: date) -> bool:
    """Whether an authority was told something of a lot, not before a day."""
    return any(one.kind is kind and one.lot == lot and one.filed_on >= since for one in reports)


def licence_deadlines(
    papers: Iterable[Licence | VarietyApproval], first: date, last: date
) -> Iterator[Deadline]:
    """Licences and approvals that end between two days; the paper itself is the authority.

    One of which a later paper is there was renewed, and is told no more.
    """
    given = tuple(papers)
    for paper in given:
        name, ends = paper_name(paper), paper.expires_on
        alike = [one.expires_on for one in given if paper_name(one) == name]
        is_renewed = any(other is None or (ends and other > ends) for other in alike)
        if ends is not None and first <= ends <= last and not is_renewed:
            yield Deadline(
                ends, Due.LICENCE, f"Renew the {name}.",
                f"It ends on {ends:%-d %b %Y} by its own words; growing, cutting or holding hemp "
                "without a licence counts as a violation.", str(paper.authority), subject=name,
            )  # fmt: skip


def paper_name(paper: Licence | VarietyApproval) -> str:
    """What a licence or approval is called among the days to keep."""
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
    found = _under(ahead, due, Due.HARVEST_REPORT, f"Report the harvest of {lot}.", lot)
    return replace(found, report=ReportKind.HARVEST)


def notice_deadline(lot: str, status: LotStatus, book: Rulebook) -> Deadline | None:
    """The last day to tell the authority what is done with a failed lot; at once if none is set."""
    if status.state is not LotState.FAILED or status.certificate is None:
        return None
    days = book.disposal_notice_days
    allowed = 0 if days.value == NOT_STATED else days.value
    due = status.certificate.reported_on + timedelta(days=allowed)
    what = f"Tell the department what you will do with {lot}: further test, remedy or disposal."
    found = _under(days, due, Due.NOTICE, what, lot)
    return replace(found, report=ReportKind.NOTICE, is_at_once=days.value == NOT_STATED)


def disposal_report_deadline(
    lot: str, status: LotStatus, done_on: date | None, book: Rulebook, told: bool
) -> Deadline | None:
    """The report after a failed lot was destroyed or remedied, `done_on` that day.

    Where a rule counts its days from the result it falls due whether anything was done or not; else
    at once when it was done. `told` is whether the authority knew beforehand.
    """
    days, is_at_once = book.disposal_report_days, False
    if days.value == NOT_STATED or status.certificate is None:
        due, is_at_once = done_on, True
    else:
        due = status.certificate.reported_on + timedelta(days=days.value)
    if due is None:
        return None
    done = f"Send the department the proof of what was done with {lot}."
    what = f"Destroy or remedy {lot}, and report it to the department." if done_on is None else done
    found = _under(days, due, Due.DISPOSAL_REPORT, what, lot)
    before = "" if told or done_on is None else " The books do not say that it was told before."
    return replace(
        found, why=f"{found.why}{before}", report=ReportKind.DISPOSED, is_at_once=is_at_once
    )


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
