"""Where a lot stands on a day, and which recorded cuts broke a rule."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tierpole.compliance import LotState, lot_status, rule_breaches
from tierpole.farm import Cut, Sample, Test, TestKind
from tierpole.rulebook import rulebook_on

ON = date(2026, 9, 15)
BOOK = rulebook_on("us-federal", ON)
VISIT = Sample(lot="Lane", requested_on=date(2026, 8, 28), sampled_on=date(2026, 9, 2))


def certificate(thc: float, reported: date = date(2026, 9, 8), **changes) -> Test:
    facts = {
        "lot": "Lane",
        "kind": TestKind.OFFICIAL,
        "sampled_on": VISIT.sampled_on,
        "reported_on": reported,
        "plants": 2,
        "total_thc": thc,
        "uncertainty": 0.0004,
    }
    return Test.model_validate({**facts, **changes})


def cut(day: date, sticks: int = 100) -> Cut:
    return Cut(lot="Lane", cut_on=day, sticks=sticks)


def test_states_in_the_order_of_a_season():
    """Growing, sampled, passed until the window ends, and closed when the last stick is cut."""
    passed = certificate(0.0033)

    def state(day: date, standing: float = 500.0):
        return lot_status([VISIT], [passed], standing, day, BOOK)

    before = state(date(2026, 8, 30))
    assert (before.state, before.visit_on) == (LotState.GROWING, VISIT.sampled_on)
    pending = state(date(2026, 9, 5))
    assert (pending.state, pending.sampled_on) == (LotState.SAMPLED, VISIT.sampled_on)
    inside = state(date(2026, 9, 8))
    assert (inside.state, inside.certificate) == (LotState.PASSED, passed)
    assert inside.window_last == date(2026, 10, 2)
    assert state(inside.window_last).state is LotState.PASSED
    ended = state(inside.window_last + timedelta(days=1))
    assert (ended.state, ended.window_ended) == (LotState.GROWING, True)
    assert state(date(2026, 10, 9), standing=0.0).state is LotState.CLOSED
    assert lot_status([VISIT], [], 500.0, date(2026, 8, 27), BOOK).visit_on is None, "not called"


def test_failed_lot_stays_failed_until_a_later_certificate_passes():
    """A fail rules after its window too; a later report on the same sample wins."""
    failed = certificate(0.0041)
    late = date(2026, 11, 1)
    assert lot_status([VISIT], [failed], 500.0, ON, BOOK).state is LotState.FAILED
    assert lot_status([VISIT], [failed], 0.0, late, BOOK).state is LotState.FAILED
    again = certificate(0.0032, reported=date(2026, 9, 14))
    assert lot_status([VISIT], [failed, again], 500.0, ON, BOOK).state is LotState.PASSED
    day_before = date(2026, 9, 13)
    assert lot_status([VISIT], [failed, again], 500.0, day_before, BOOK).state is LotState.FAILED


def test_newer_sample_rules():
    """A new sample puts an older pass aside while its result is pending."""
    second = Sample(lot="Lane", requested_on=date(2026, 9, 9), sampled_on=date(2026, 9, 14))
    status = lot_status([VISIT, second], [certificate(0.0030)], 500.0, ON, BOOK)
    assert (status.state, status.sampled_on) == (LotState.SAMPLED, second.sampled_on)


def test_only_official_certificates_count():
    """A grower's own pre-test changes nothing, however high."""
    pretest = certificate(0.009, kind=TestKind.PRETEST)
    assert lot_status([], [pretest], 500.0, ON, BOOK).state is LotState.GROWING


def test_usual_uncertainty_where_none_is_stated_limits():
    """A certificate without MU is read with the usual 0.04 %."""
    for thc, expected in ((0.0034, LotState.PASSED), (0.00341, LotState.FAILED)):
        silent = certificate(thc, uncertainty=None)
        assert lot_status([VISIT], [silent], 500.0, ON, BOOK).state is expected


@given(st.integers(-30, 60), st.floats(0, 900), st.sampled_from([0.002, 0.0034, 0.006, None]))
def test_one_state_for_every_day_limits(day, standing, thc):
    """On any day the state agrees with what is known, and a window is only held by a sample."""
    on = VISIT.sampled_on + timedelta(days=day)
    tests = [] if thc is None else [certificate(thc)]
    status = lot_status([VISIT], tests, standing, on, BOOK)
    assert (status.window_last is None) == (status.sampled_on is None)
    if day < 0:
        assert status.state is LotState.GROWING
    if thc == 0.006 and on >= date(2026, 9, 8):
        assert status.state is LotState.FAILED
    if status.state in (LotState.PASSED, LotState.SAMPLED):
        assert status.window_last is not None
        assert on <= status.window_last


@pytest.mark.parametrize(
    ("cuts", "tests", "name", "says"),
    [
        ([cut(date(2026, 9, 1))], [], "cut_before_sample", "before any official sample (7 CFR"),
        ([cut(date(2026, 10, 3))], [certificate(0.002)], "window_days", "ended on 2026-10-02"),
        ([cut(date(2026, 9, 9))], [certificate(0.006)], "remediation", "failed on 2026-09-08"),
    ],
)
def test_breaches_name_the_rule(cuts, tests, name, says):
    """A cut too early, too late or of a failed lot is named with the rule it breaks."""
    (breach,) = rule_breaches([VISIT], tests, cuts, BOOK)
    assert breach.name == name
    assert str(breach).startswith(f"Lane: 100 sticks were cut on {cuts[0].cut_on}, ")
    assert says in str(breach)


def test_breach_before_the_result_only_where_barred():
    """Cutting between sample and result is at one's own risk, unless the rulebook bars it."""
    early = [cut(date(2026, 9, 4))]
    assert not list(rule_breaches([VISIT], [certificate(0.002)], early, BOOK))
    value = BOOK.cut_before_result.model_copy(update={"value": False})
    barred = BOOK.model_copy(update={"cut_before_result": value})
    (breach,) = rule_breaches([VISIT], [certificate(0.002)], early, barred)
    assert breach.name == "cut_before_result"


def test_lawful_cuts_break_nothing():
    """Cuts inside the window of a pass are no breach."""
    cuts = [cut(date(2026, 9, 8)), cut(date(2026, 10, 2))]
    assert not list(rule_breaches([VISIT], [certificate(0.0033)], cuts, BOOK))
