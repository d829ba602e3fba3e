"""Every day to keep, of rules and of the plan, in one list with its reason."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from tierpole.charts import words
from tierpole.charts.reading import as_dates
from tierpole.compliance import (
    Deadline,
    Due,
    change_deadlines,
    harvest_report_deadline,
    licence_deadlines,
    notice_deadline,
    report_deadlines,
    window_deadline,
)
from tierpole.documents.filed import NOTHING_FILED, Filed
from tierpole.outlook.legal import lot_states, ruling_book
from tierpole.plan.result import LotPlan, LotState, Plan
from tierpole.rulebook import Rulebook, rule_changes, rulebook_on, rulebooks
from tierpole.season import DAYS, Season

_DONE = (LotState.CLOSED, LotState.FAILED)


def deadlines(
    season: Season, plan: Plan | None = None, filed: Filed = NOTHING_FILED
) -> tuple[Deadline, ...]:
    """The days to keep from the day the season is seen on, soonest first.

    Without a plan only those that the rules and the records set. A notice after a fail stays until
    the lot's path is chosen, also when its day is over.
    """
    found = [*_of_farm(season, filed), *_notices(season)]
    found += _of_samples(season) if plan is None else _of_plan(season, plan)
    ahead = [one for one in found if one.day >= season.on or one.due is Due.NOTICE]
    return tuple(sorted(ahead, key=lambda one: (one.day, list(Due).index(one.due), one.what)))


def _of_farm(season: Season, filed: Filed) -> Iterator[Deadline]:
    books = [book for book in rulebooks() if book.jurisdiction == season.farm.jurisdiction]
    last = season.day(DAYS - 1)
    yield from report_deadlines(season.year, books)
    yield from licence_deadlines([*filed.licences, *filed.approvals], season.on, last)
    yield from change_deadlines(rule_changes(season.farm.jurisdiction, season.on, last))
    yield from _bills(season, filed)


def _bills(season: Season, filed: Filed) -> Iterator[Deadline]:
    """Money that is to come; what is late is said on the day it is looked at."""
    for bill in filed.bills:
        rest = (bill.says or 0.0) - bill.paid
        if bill.due_on is not None and rest >= 0.01:
            late = "" if bill.due_on >= season.on else f" It was due {words.day(bill.due_on)}."
            yield Deadline(
                max(bill.due_on, season.on), Due.PAYMENT,
                f"{bill.buyer} owes ${rest:,.2f} for {bill.sale}.",
                f"By the buyer's own statement and the days agreed.{late}", subject=bill.sale,
            )  # fmt: skip


def _notices(season: Season) -> Iterator[Deadline]:
    for lot, status in zip(season.lots, lot_states(season), strict=True):
        found = notice_deadline(lot.name, status, ruling_book(season, lot))
        if found is not None:
            yield found


def _of_samples(season: Season) -> Iterator[Deadline]:
    """The windows of the samples taken so far."""
    for lot, status in zip(season.lots, lot_states(season), strict=True):
        if status.state not in _DONE and status.sampled_on is not None:
            book = rulebook_on(season.farm.jurisdiction, status.sampled_on)
            yield window_deadline(lot.name, status.sampled_on, book)


def _of_plan(season: Season, plan: Plan) -> Iterator[Deadline]:
    for lot in plan.lots:
        if lot.state not in _DONE:
            yield from _of_lot(season, lot)
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
    report = harvest_report_deadline(lot.lot, lot.cuts[0].day, book) if lot.cuts else None
    if report is not None:
        yield report


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
