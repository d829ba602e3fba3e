"""Every day to keep, of rules and of the plan, in one list with its reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from itertools import groupby

from tierpole.charts import words
from tierpole.charts.reading import as_dates
from tierpole.compliance import (
    Deadline,
    Due,
    change_deadlines,
    disposal_report_deadline,
    harvest_report_deadline,
    licence_deadlines,
    lots_unreported,
    notice_deadline,
    report_deadlines,
    was_told,
    window_deadline,
)
from tierpole.documents.failed import failed_lots
from tierpole.documents.filed import NOTHING_FILED, Filed
from tierpole.farm.books import ReportKind
from tierpole.outlook.legal import lot_states
from tierpole.plan.result import LotPlan, LotState, Plan
from tierpole.rulebook import Rulebook, rule_changes, rulebook_on, rulebooks
from tierpole.season import DAYS, Season

_DONE = (LotState.CLOSED, LotState.FAILED)
_ALWAYS_WAITS = (Due.NOTICE, Due.DISPOSAL_REPORT, Due.LICENCE, Due.PAYMENT)
_WAITS_IN_BOOKS = (Due.REPORT, Due.HARVEST_REPORT)  # where it can be written that they were filed
_REMEMBERED = timedelta(days=365)  # how long a licence that ended is asked for


def deadlines(
    season: Season, plan: Plan | None = None, filed: Filed = NOTHING_FILED
) -> tuple[Deadline, ...]:
    """The days to keep from the day the season is seen on, soonest first.

    Without a plan only those that the rules and the records set. What is done is gone; what should
    have been done and is not waits, and stands on the day the season is seen on.
    """
    found = [*_of_farm(season, filed), *_after_fails(season, filed)]
    found += _of_samples(season) if plan is None else _of_plan(season, plan, filed)
    waits = _ALWAYS_WAITS if filed.reports is None else (*_ALWAYS_WAITS, *_WAITS_IN_BOOKS)
    kept = [one.seen_on(season.on) for one in found if one.day >= season.on or one.due in waits]
    return tuple(sorted(kept, key=_urgency))


def _urgency(one: Deadline) -> tuple[date, date, int, str]:
    """Soonest first; of what waits, what has waited longest."""
    return one.day, one.was_due or one.day, list(Due).index(one.due), one.what


def _of_farm(season: Season, filed: Filed) -> Iterator[Deadline]:
    books = [book for book in rulebooks() if book.jurisdiction == season.farm.jurisdiction]
    last = season.day(DAYS - 1)
    yield from _reports(season, books, filed)
    papers = [*filed.licences, *filed.approvals]
    yield from licence_deadlines(papers, season.on - _REMEMBERED, last)
    yield from change_deadlines(rule_changes(season.farm.jurisdiction, season.on, last))
    yield from _bills(filed)


def _reports(season: Season, books: list[Rulebook], filed: Filed) -> Iterator[Deadline]:
    """The reports of the year that are not filed yet, for the lots they are still to be filed."""
    lots = [lot.name for lot in season.lots]
    known = [one for one in filed.reports or () if one.filed_on <= season.on]
    for one in report_deadlines(season.year, books):
        assert one.report is not None  # noqa: S101 - for the type checker
        rest = lots_unreported(known, one.report, season.year, lots)
        if len(rest) == len(lots):
            yield one
        elif rest:
            yield replace(one, what=f"{one.what.rstrip('.')}: {words.listed(list(rest))}.")


def _bills(filed: Filed) -> Iterator[Deadline]:
    """Money that is to come."""
    for bill in filed.bills:
        rest = (bill.says or 0.0) - bill.paid
        if bill.due_on is not None and rest >= 0.01:
            yield Deadline(
                bill.due_on, Due.PAYMENT, f"{bill.buyer} owes ${rest:,.2f} for {bill.sale}.",
                "By the buyer's own statement and the days agreed.", subject=bill.sale,
            )  # fmt: skip


def _after_fails(season: Season, filed: Filed) -> Iterator[Deadline]:
    """What the department is to be told of lots that failed, before and after it is done."""
    for lot in failed_lots(season, filed):
        notice = notice_deadline(lot.name, lot.status, lot.book)
        if notice is not None and not lot.is_path_chosen:
            yield notice
        report = disposal_report_deadline(lot.name, lot.status, lot.done_on, lot.book, lot.is_told)
        if report is not None and not lot.is_reported:
            yield report


def _of_samples(season: Season) -> Iterator[Deadline]:
    """The windows of the samples taken so far."""
    for lot, status in zip(season.lots, lot_states(season), strict=True):
        if status.state not in _DONE and status.sampled_on is not None:
            book = rulebook_on(season.farm.jurisdiction, status.sampled_on)
            yield window_deadline(lot.name, status.sampled_on, book)


def _of_plan(season: Season, plan: Plan, filed: Filed) -> Iterator[Deadline]:
    for lot in plan.lots:
        if lot.state not in _DONE:
            yield from _of_lot(season, lot)
            yield from _harvest_report(season, lot, filed)
    yield from _cuts(plan)
    yield from _take_downs(plan)


def _of_lot(season: Season, lot: LotPlan) -> Iterator[Deadline]:
    if lot.sample_on is None:
        return
    book = rulebook_on(season.farm.jurisdiction, lot.sample_on)
    called = any(s.lot == lot.lot and s.sampled_on == lot.sample_on for s in season.samples)
    if lot.request_on is not None and not called:
        yield Deadline(
            lot.request_on, Due.CALL,
            f"Call the sampler for {lot.lot}, to come on {words.long_day(lot.sample_on)}.",
            *_lead(book), subject=lot.lot,
        )  # fmt: skip
    if lot.sample_on >= season.on:
        yield Deadline(
            lot.sample_on, Due.VISIT, f"The sampler comes to {lot.lot}. Be there.",
            f"Cut nothing of it before. {book.cut_before_sample.says}",
            book.cut_before_sample.citation, book.cut_before_sample.verify, lot.lot,
        )  # fmt: skip
    if lot.cuts or lot.sticks_standing >= 1:
        yield window_deadline(lot.lot, lot.sample_on, book)


def _harvest_report(season: Season, lot: LotPlan, filed: Filed) -> Iterator[Deadline]:
    """The report ahead of harvest, until it is filed or the sampler is called, which tells it."""
    sampled_on = lot.sample_on
    if sampled_on is None or not lot.cuts:
        return
    book = rulebook_on(season.farm.jurisdiction, sampled_on)
    begun = [c.cut_on for c in season.cuts if c.lot == lot.lot and c.cut_on >= sampled_on]
    found = harvest_report_deadline(lot.lot, min([*begun, lot.cuts[0].day]), book)
    is_called = any(s.lot == lot.lot and s.sampled_on == sampled_on for s in season.samples)
    told = [one for one in filed.reports or () if one.filed_on <= season.on]
    is_filed = was_told(told, ReportKind.HARVEST, lot.lot, season.first_day)
    if found is not None and not (is_called or is_filed):
        yield found


def _lead(book: Rulebook) -> tuple[str, str, bool]:
    """Why the sampler is called ahead, with the rule where one sets the days."""
    lead = book.request_lead_days
    if lead.value == 0:
        return "The sampler needs this much notice; the rules set none.", "", False
    return lead.says, lead.citation, lead.verify


def _cuts(plan: Plan) -> Iterator[Deadline]:
    for (day, name), group in groupby(plan.cuts, key=lambda cut: (cut.day, cut.lot)):
        cuts = list(group)
        sticks = words.counted(sum(cut.sticks for cut in cuts), "stick")
        where = words.listed([f"{cut.sticks:,} in {cut.place}" for cut in cuts])
        lot = plan.lot(name)
        needs = "" if lot.state is LotState.PASSED else " Only once its result is in and passes."
        yield Deadline(
            day, Due.CUT, f"Cut {sticks} of {name}: {where}.", f"As planned.{needs}", subject=name
        )


def _take_downs(plan: Plan) -> Iterator[Deadline]:
    for place in plan.places:
        for day, sticks in zip(as_dates(place.days), place.taken_down, strict=True):
            if sticks >= 1:
                yield Deadline(
                    day, Due.TAKE_DOWN,
                    f"Take down {words.counted(float(sticks), 'stick')} in {place.place}.",
                    "A forecast: feel the stems first, the stick decides.", subject=place.place,
                )  # fmt: skip
