"""Days to keep: those of the rules by their texts, those of the plan by the plan, as a calendar."""

from __future__ import annotations

from dataclasses import replace
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
    harvest_report_deadline,
    licence_deadlines,
    notice_deadline,
    report_deadlines,
    window_deadline,
)
from tierpole.documents import Bill, Filed, calendar, deadlines, reason
from tierpole.farm import Test, TestKind
from tierpole.farm.books import Licence, VarietyApproval
from tierpole.rulebook import rule_changes, rulebook_on, rulebooks

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
    assert due.day == SEASON.on
    assert "It was due Mon 1 Jun." in due.why
    paid = replace(bill, paid=9200.0)
    assert _of(Due.PAYMENT, deadlines(SEASON, filed=Filed(bills=(paid,)))) == []


def test_deadlines_limits_after_a_fail():
    """A failed lot's notice stays until its path is chosen, also when its day is over."""
    failed = replace(SEASON, tests=(*SEASON.tests, FAILED))
    (notice,) = _of(Due.NOTICE, deadlines(failed))
    assert notice.subject == "7 Hollow"
    assert notice.day < SEASON.on


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
        assert str(event["summary"]) == one.what
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
