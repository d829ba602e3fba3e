"""Days to keep: those of the rules by their texts, those of the plan by the plan, as a calendar."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

import synthetic
from published_values import load
from tierpole.compliance import (
    Deadline,
    Due,
    LotState,
    LotStatus,
    change_deadlines,
    disposal_report_deadline,
    harvest_report_deadline,
    licence_deadlines,
    notice_deadline,
    report_deadlines,
    window_deadline,
)
from tierpole.documents import Bill, Filed, calendar, deadlines, reason, title
from tierpole.farm import Cut, Sample, Test, TestKind
from tierpole.farm.books import (
    Disposal,
    Licence,
    Remediation,
    Report,
    ReportKind,
    VarietyApproval,
)
from tierpole.plan.result import Plan
from tierpole.rulebook import rule_changes, rulebook_on, rulebooks
from tierpole.season import Season

RULES = load("rules")
SEASON, PLAN = synthetic.season(), synthetic.plan()
FAILED = Test(
    lot="7 Hollow", kind=TestKind.OFFICIAL, sampled_on=date(2026, 8, 24),
    reported_on=date(2026, 8, 31), plants=2, total_thc=0.0045, uncertainty=0.0004,
)  # fmt: skip


def _books(jurisdiction):
    return [book for book in rulebooks() if book.jurisdiction == jurisdiction]


def _of(due, found):
    return [one for one in found if one.due is due]


# --- the rules' days ----------------------------------------------------------------------------


@pytest.mark.parametrize("jurisdiction", ["us-federal", "ohio", "georgia"])
def test_report_deadlines_against_ams_28(jurisdiction):
    """The reports of a year fall on the days of form AMS-28 and of the acreage report."""
    law = RULES["reports"]
    found = list(report_deadlines(law["year"], _books(jurisdiction)))
    assert sorted(one.day for one in found) == [law["planting"], law["annual"]]
    assert all(one.due is Due.REPORT and one.verify and one.citation for one in found)


def test_window_deadline_against_7_cfr_990_26():
    """The last day to cut is that of each text's own way of counting."""
    law = RULES["windows"]
    for jurisdiction, last in zip(law["jurisdiction"], law["last_day"], strict=True):
        book = rulebook_on(jurisdiction, law["sampled"])
        found = window_deadline("4 Lane", law["sampled"], book)
        assert (found.day, found.subject, found.due) == (last, "4 Lane", Due.WINDOW)
        assert found.citation == book.window_days.citation


def test_notice_deadline_against_state_texts():
    """After a fail the department is told within each text's days; at once where none are named."""
    law = RULES["notice"]
    failed = FAILED.model_copy(update={"reported_on": law["reported"]})
    status = LotStatus(LotState.FAILED, certificate=failed)
    for jurisdiction, last in zip(law["jurisdiction"], law["last_day"], strict=True):
        found = notice_deadline("4 Lane", status, rulebook_on(jurisdiction, law["reported"]))
        assert found is not None
        assert found.day == last
    passed = LotStatus(LotState.PASSED, certificate=failed)
    assert notice_deadline("4 Lane", passed, rulebook_on("georgia", law["reported"])) is None


def test_disposal_report_deadline_against_4_tac_24_and_7_cfr_990_27():
    """Texas counts from the failing result, whether anything was done or not; the federal text
    wants the proof once it is done."""
    law = RULES["disposal_report"]
    failed = FAILED.model_copy(update={"reported_on": law["reported"]})
    status = LotStatus(LotState.FAILED, certificate=failed)
    for jurisdiction, last, is_counted in zip(
        law["jurisdiction"], law["last_day"], law["counts_from_result"], strict=True
    ):
        book = rulebook_on(jurisdiction, law["reported"])
        done = disposal_report_deadline("4 Lane", status, law["done"], book, told=False)
        assert done is not None
        assert (done.day, done.is_at_once) == (last, not is_counted)
        assert "that it was told before" in done.why
        before = disposal_report_deadline("4 Lane", status, None, book, told=False)
        assert (before is not None) == is_counted
        assert before is None or (before.day, before.what) == (
            last, "Destroy or remedy 4 Lane, and report it to the department.",
        )  # fmt: skip


def test_harvest_report_deadline_against_4_tac_24():
    """Texas wants 15 days between the request and the harvest; the federal text wants none."""
    cut = date(2026, 9, 30)
    found = harvest_report_deadline("4 Lane", cut, rulebook_on("texas", cut))
    assert found is not None
    assert found.day == date(2026, 9, 15)
    assert harvest_report_deadline("4 Lane", cut, rulebook_on("us-federal", cut)) is None


def test_change_deadline_against_pl_119_37():
    """The new definition is a day to keep, with what it changes and the text it stands in."""
    changes = rule_changes("ohio", SEASON.on, date(2026, 12, 31))
    (found,) = change_deadlines(changes)
    assert found.day == RULES["definition"]["in_force"]
    assert "P.L. 119-37" in found.citation
    assert "tetrahydrocannabinols" in found.why
    assert found.verify


def test_licence_deadlines_limits():
    """Papers that end inside the span are there on their own day, others are not."""
    ends = {"valid_from": date(2024, 1, 1), "authority": "the department"}
    licence = Licence(name="grower licence", number="1", expires_on=date(2026, 12, 31), **ends)
    approval = VarietyApproval(variety="Longbend", expires_on=None, **ends)
    span = date(2026, 9, 2), date(2026, 12, 31)
    (found,) = licence_deadlines([licence, approval], *span)
    assert (found.day, found.subject) == (date(2026, 12, 31), "grower licence")
    assert not list(licence_deadlines([licence], span[0], date(2026, 12, 30)))


# --- one list -----------------------------------------------------------------------------------


def test_deadlines_limits_of_the_plan():
    """Every call, visit, window and cut of the plan is there once, in order, with its sticks."""
    found = deadlines(SEASON, PLAN)
    assert [one.day for one in found] == sorted(one.day for one in found)
    assert all(one.day >= SEASON.on for one in found)
    assert {one.subject: one.day for one in _of(Due.CALL, found)} == {
        lot.lot: lot.request_on for lot in PLAN.lots if lot.request_on
    }
    assert {one.subject: one.day for one in _of(Due.WINDOW, found)} == {
        lot.lot: lot.window[1] for lot in PLAN.lots if lot.window
    }
    cuts = {(one.day, one.subject) for one in _of(Due.CUT, found)}
    assert cuts == {(cut.day, cut.lot) for cut in PLAN.cuts}
    for cut in PLAN.cuts:
        mine = next(o for o in _of(Due.CUT, found) if (o.day, o.subject) == (cut.day, cut.lot))
        assert f"{cut.sticks:,} in {cut.place}" in mine.what
        passed = PLAN.lot(cut.lot).state is LotState.PASSED
        assert ("Only once its result is in" in mine.why) != passed


def test_deadlines_limits_without_a_plan():
    """What rules and records alone set: no cut, no call, and the window of the sample taken."""
    found = deadlines(SEASON)
    assert {one.due for one in found} == {Due.REPORT, Due.WINDOW, Due.RULES}
    (window,) = _of(Due.WINDOW, found)
    assert (window.subject, window.day) == ("1 River", date(2026, 9, 16))
    licence = Licence(
        name="licence", number="7", authority="USDA", valid_from=date(2024, 1, 1),
        expires_on=date(2026, 12, 31),
    )  # fmt: skip
    assert len(deadlines(SEASON, filed=Filed(licences=(licence,)))) == len(found) + 1


def test_deadlines_limits_of_money():
    """What a buyer still owes is due on its day, at once when that is over; what came is not."""
    bill = Bill("First", "Mill", "part paid", 9632.0, 9200.0, 5000.0, date(2026, 10, 8))
    (due,) = _of(Due.PAYMENT, deadlines(SEASON, filed=Filed(bills=(bill,))))
    assert (due.day, due.what) == (date(2026, 10, 8), "Mill owes $4,200.00 for First.")
    late = replace(bill, due_on=date(2026, 6, 1))
    (due,) = _of(Due.PAYMENT, deadlines(SEASON, filed=Filed(bills=(late,))))
    assert (due.day, due.was_due) == (SEASON.on, date(2026, 6, 1))
    assert title(due) == "Late, was due Mon 1 Jun: Mill owes $4,200.00 for First."
    paid = replace(bill, paid=9200.0)
    assert _of(Due.PAYMENT, deadlines(SEASON, filed=Filed(bills=(paid,)))) == []


def test_deadlines_limits_after_a_fail():
    """A failed lot's notice stays until its path is chosen; the text read names no days for it."""
    failed = replace(SEASON, tests=(*SEASON.tests, FAILED))
    (notice,) = _of(Due.NOTICE, deadlines(failed))
    assert (notice.subject, notice.day) == ("7 Hollow", SEASON.on)
    assert (notice.was_due, notice.is_at_once) == (FAILED.reported_on, True)
    assert title(notice).startswith("Since Mon 31 Aug: Tell the department")


# --- done, and late -----------------------------------------------------------------------------

BEFORE, AFTER = "before", "after"


BOOKS = Filed(reports=())  # where something could be written down, and nothing is


@dataclass(frozen=True)
class Duty:
    """One kind of day to keep: a season that has it, its day, and what keeps it."""

    due: Due
    season: Season
    day: date  # the last day on which it is in time; of what is due at once, that day
    kept_by: Filed
    plan: Plan | None = None
    kept_season: Season | None = None  # where what keeps it is a fact of the season
    filed: Filed = BOOKS  # what the books hold before
    is_at_once: bool = False


def _told(kind, lot=None, on=date(2026, 7, 1), **more):
    return Filed(reports=(Report(kind=kind, filed_on=on, lot=lot),), **more)


def _under_texas(day_of_cut):
    """The first lot of the plan under the rules of Texas, with its first cut on a day."""
    begun = {one.lot for one in (*SEASON.samples, *SEASON.cuts)}
    lot = next(one for one in PLAN.lots if one.sample_on and one.cuts and one.lot not in begun)
    cut = replace(lot.cuts[0], day=day_of_cut)
    lots = [replace(one, cuts=(cut,)) if one is lot else one for one in PLAN.lots]
    farm = SEASON.farm.model_copy(update={"jurisdiction": "texas"})
    season = replace(SEASON, farm=farm)
    called = Sample(lot=lot.lot, requested_on=date(2026, 9, 1), sampled_on=lot.sample_on)
    return season, replace(PLAN, lots=tuple(lots)), lot.lot, called


HOT = replace(SEASON, tests=(*SEASON.tests, FAILED))
GEORGIA = replace(HOT, farm=HOT.farm.model_copy(update={"jurisdiction": "georgia"}))
TEXAN_HOT = replace(HOT, farm=HOT.farm.model_copy(update={"jurisdiction": "texas"}))
BURNED = Disposal(lot="7 Hollow", disposed_on=date(2026, 9, 1), method="burned")
TEXAS, TEXAN_PLAN, CUT_LOT, CALLED = _under_texas(date(2026, 9, 30))
ENDING = Licence(name="licence", number="7", authority="USDA", valid_from=date(2024, 1, 1),
                 expires_on=date(2026, 9, 20))  # fmt: skip
RENEWED = ENDING.model_copy(update={"expires_on": date(2029, 9, 20)})
OWED = Bill("First", "Mill", "not paid", 900.0, 900.0, 0.0, date(2026, 10, 8))
DUTIES = {
    "acres planted": Duty(Due.REPORT, SEASON, RULES["reports"]["planting"],
                          _told(ReportKind.PLANTING)),
    "report of the year": Duty(Due.REPORT, SEASON, RULES["reports"]["annual"],
                               _told(ReportKind.ANNUAL, on=date(2026, 9, 1))),
    "licence": Duty(Due.LICENCE, SEASON, date(2026, 9, 20),
                    Filed(reports=(), licences=(ENDING, RENEWED)),
                    filed=Filed(reports=(), licences=(ENDING,))),
    "harvest ahead, reported": Duty(Due.HARVEST_REPORT, TEXAS, date(2026, 9, 15),
                                    _told(ReportKind.HARVEST, CUT_LOT), TEXAN_PLAN),
    "harvest ahead, sampler called": Duty(
        Due.HARVEST_REPORT, TEXAS, date(2026, 9, 15), Filed(reports=()), TEXAN_PLAN,
        kept_season=replace(TEXAS, samples=(*TEXAS.samples, CALLED))),
    "notice": Duty(Due.NOTICE, GEORGIA, date(2026, 9, 5),
                   _told(ReportKind.NOTICE, "7 Hollow", date(2026, 9, 1))),
    "notice without days": Duty(Due.NOTICE, HOT, FAILED.reported_on,
                                _told(ReportKind.NOTICE, "7 Hollow", date(2026, 9, 1)),
                                is_at_once=True),
    "notice given with the disposal": Duty(
        Due.NOTICE, GEORGIA, date(2026, 9, 5),
        Filed(reports=(), disposals=(
            BURNED.model_copy(update={"notice_on": date(2026, 8, 31)}),))),
    "report after disposal": Duty(
        Due.DISPOSAL_REPORT, HOT, BURNED.disposed_on,
        _told(ReportKind.DISPOSED, "7 Hollow", date(2026, 9, 2), disposals=(BURNED,)),
        filed=Filed(reports=(), disposals=(BURNED,)), is_at_once=True),
    "report counted from the result": Duty(
        Due.DISPOSAL_REPORT, TEXAN_HOT, date(2026, 9, 7),
        _told(ReportKind.DISPOSED, "7 Hollow", date(2026, 9, 2))),
    "money": Duty(Due.PAYMENT, SEASON, date(2026, 10, 8),
                  Filed(reports=(), bills=(replace(OWED, paid=900.0),)),
                  filed=Filed(reports=(), bills=(OWED,))),
}  # fmt: skip


def _found(duty, on, filed, season=None):
    """The deadline of a duty as it stands on a day; None when there is none."""
    season = replace(season or duty.season, on=on)
    found = [one for one in deadlines(season, duty.plan, filed) if one.due is duty.due]
    found = [one for one in found if (one.was_due or one.day) == duty.day]
    return found[0] if found else None


@pytest.mark.parametrize("duty", DUTIES.values(), ids=DUTIES)
def test_deadlines_limits_due_done_and_late(duty):
    """Each kind: ahead until its day, gone once it is kept, waiting from the day after on; all of
    it in the feed as in the list."""
    due = _found(duty, duty.day, duty.filed)
    assert due is not None
    assert (due.day, due.was_due, title(due)) == (duty.day, None, due.what)
    on = duty.day + timedelta(days=3)
    late = _found(duty, on, duty.filed)
    assert late is not None
    assert (late.day, late.was_due, late.is_at_once) == (on, duty.day, duty.is_at_once)
    assert title(late).startswith("Since " if duty.is_at_once else "Late, was due ")
    for day in (max(duty.day, SEASON.on), max(on, SEASON.on)):
        assert _found(duty, day, duty.kept_by, duty.kept_season) is None
        for filed, season, is_there in (
            (duty.filed, duty.season, True),
            (duty.kept_by, duty.kept_season or duty.season, False),
        ):
            told = deadlines(replace(season, on=day), duty.plan, filed)
            events = icalendar.Calendar.from_ical(calendar("Farm", day, told)).walk("VEVENT")
            assert any(str(one["summary"]).endswith(due.what) for one in events) == is_there


def test_deadlines_limits_of_what_is_entered():
    """A call ends with the sampler called, a window with the last stick cut; neither is late."""
    call = _of(Due.CALL, deadlines(SEASON, PLAN))[0]
    visit = next(lot.sample_on for lot in PLAN.lots if lot.lot == call.subject)
    said = Sample(lot=call.subject, requested_on=SEASON.on, sampled_on=visit)
    called = replace(SEASON, samples=(*SEASON.samples, said))
    assert call not in deadlines(called, PLAN)
    assert [one.day for one in _of(Due.VISIT, deadlines(called, PLAN))
            if one.subject == call.subject] == [visit]  # fmt: skip
    (window,) = _of(Due.WINDOW, deadlines(SEASON))
    rest = Cut(lot=window.subject, cut_on=SEASON.on, sticks=540)
    assert _of(Due.WINDOW, deadlines(replace(SEASON, cuts=(*SEASON.cuts, rest)))) == []
    ended = replace(SEASON, on=window.day + timedelta(days=1))
    assert _of(Due.WINDOW, deadlines(ended, filed=Filed(reports=()))) == []


def test_deadlines_limits_where_nothing_can_be_filed():
    """A farm that is a file cannot say what was filed, so no report is called late."""
    late = replace(SEASON, on=date(2026, 12, 20))
    assert _of(Due.REPORT, deadlines(late)) == []
    assert len(_of(Due.REPORT, deadlines(late, filed=Filed(reports=())))) == 2


def test_deadlines_limits_of_reports_by_lot():
    """A report of one lot leaves the others; one filed later, or of another year, is not known."""
    on = replace(SEASON, on=date(2026, 7, 20))
    lots = [lot.name for lot in SEASON.lots]

    def planting(**said):
        report = Report(kind=ReportKind.PLANTING, **said)
        found = _of(Due.REPORT, deadlines(on, filed=Filed(reports=(report,))))
        return next((one.what for one in found if one.report is ReportKind.PLANTING), None)

    day = date(2026, 7, 10)
    assert planting(filed_on=day, lot=lots[0]).startswith(f"Report the acres planted: {lots[1]}")
    assert planting(filed_on=day) is None
    assert planting(filed_on=day, year=2025) == "Report the acres planted."
    assert planting(filed_on=date(2026, 7, 21)) == "Report the acres planted."
    every = tuple(Report(kind=ReportKind.PLANTING, filed_on=day, lot=lot) for lot in lots)
    (left,) = _of(Due.REPORT, deadlines(on, filed=Filed(reports=every)))
    assert left.report is ReportKind.ANNUAL


def test_deadlines_limits_of_a_second_fail():
    """A notice of the first fail does not do for the next one, nor an older disposal."""
    told = _told(ReportKind.NOTICE, "7 Hollow", date(2026, 8, 31))
    assert _of(Due.NOTICE, deadlines(HOT, filed=told)) == []
    again = FAILED.model_copy(
        update={"sampled_on": date(2026, 8, 29), "reported_on": date(2026, 9, 2)}
    )
    twice = replace(HOT, tests=(*HOT.tests, again))
    assert len(_of(Due.NOTICE, deadlines(twice, filed=told))) == 1
    burned = Filed(reports=(), disposals=(BURNED,))
    assert len(_of(Due.NOTICE, deadlines(twice, filed=burned))) == 1


def test_deadlines_against_7_cfr_990_27():
    """Remediated material that fails its own test is told of and destroyed, like any other."""
    made = Remediation(name="R", lot="7 Hollow", done_on=date(2026, 9, 1), mass=100.0,
                       moisture=0.1, method="whole plants shredded")  # fmt: skip
    retest = FAILED.model_copy(
        update={"lot": "R", "kind": TestKind.REMEDIATION, "sampled_on": date(2026, 9, 1),
                "reported_on": date(2026, 9, 2)}
    )  # fmt: skip
    sent = Report(kind=ReportKind.DISPOSED, filed_on=date(2026, 9, 1), lot="7 Hollow")
    filed = Filed(reports=(sent,), remediations=(made,), retests=(retest,))
    (notice,) = _of(Due.NOTICE, deadlines(HOT, filed=filed))
    assert notice.subject == "R"
    gone = BURNED.model_copy(update={"lot": "R", "disposed_on": date(2026, 9, 2)})
    after = deadlines(HOT, filed=replace(filed, disposals=(gone,)))
    assert _of(Due.NOTICE, after) == []
    assert [one.subject for one in _of(Due.DISPOSAL_REPORT, after)] == ["R"]
    passed = retest.model_copy(update={"total_thc": 0.002})
    assert _of(Due.NOTICE, deadlines(HOT, filed=replace(filed, retests=(passed,)))) == []


# --- as a calendar ------------------------------------------------------------------------------


def test_calendar_against_icalendar():
    """An independent parser of RFC 5545 reads every event back as it was meant."""
    found = deadlines(SEASON, PLAN)
    text = calendar(SEASON.farm.name, SEASON.on, found)
    read = icalendar.Calendar.from_ical(text)
    assert read["version"] == "2.0"
    events = read.walk("VEVENT")
    assert len(events) == len(found)
    for event, one in zip(events, found, strict=True):
        assert event["dtstart"].dt == one.day
        assert event["dtend"].dt == one.day + timedelta(days=1)
        assert str(event["summary"]) == title(one) == one.what
        assert str(event["description"]) == reason(one)
        assert event["categories"].to_ical().decode() == one.due.value
        alarms = event.walk("VALARM")
        assert len(alarms) == (one.due not in (Due.CUT, Due.TAKE_DOWN))
        assert all(alarm["trigger"].dt == timedelta(hours=-15) for alarm in alarms)
    names = [str(event["uid"]) for event in events]
    assert len(names) == len(set(names))


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Zl", "Zp"]), max_size=300)


@given(TEXTS, TEXTS)
def test_calendar_against_icalendar_on_any_text(what, why):
    """Any text comes back from the parser whole; no line is longer than 75 octets."""
    one = Deadline(date(2026, 9, 8), Due.CALL, f"{what}.", f"{why}.", subject=what)
    text = calendar("A, B; C\\D", SEASON.on, [one])
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75
    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert (str(event["summary"]), str(event["description"])) == (one.what, one.why)


def test_calendar_limits_moved():
    """A sample moved by a new plan keeps its name; a day of cutting is named by its day."""
    one = Deadline(date(2026, 9, 8), Due.VISIT, "x", "y", subject="4 Lane")
    cut = replace(one, due=Due.CUT)

    def name(deadline):
        text = calendar("Farm", SEASON.on, [deadline])
        return str(icalendar.Calendar.from_ical(text).walk("VEVENT")[0]["uid"])

    later = date(2026, 9, 12)
    assert name(one) == name(replace(one, day=later))
    assert name(one) != name(replace(one, subject="5 Ridge"))
    assert name(cut) != name(replace(cut, day=later))


def test_calendar_limits_lines():
    """Nothing in a text can start a line of its own."""
    one = Deadline(date(2026, 9, 8), Due.CALL, "a\r\nBEGIN:VEVENT", "b\nEND:VCALENDAR")
    text = calendar("Farm", SEASON.on, [one])
    assert text.count("\r\nBEGIN:VEVENT") == 1
    assert text.endswith("END:VEVENT\r\nEND:VCALENDAR\r\n")
    assert calendar("Farm", SEASON.on, [one]) == text
