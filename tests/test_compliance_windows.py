"""Sample days, results and cutting windows by each way of counting."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.compliance import CutWindow, cut_window, result_delay, sample_days, window_end
from tierpole.rulebook import Rulebook, rulebook_on

WINDOWS = load("rules")["windows"]
ON = date(2026, 9, 1)


def with_value(book: Rulebook, name: str, value: object) -> Rulebook:
    return book.model_copy(update={name: getattr(book, name).model_copy(update={"value": value})})


FEDERAL = rulebook_on("us-federal", ON)


@pytest.mark.parametrize(
    ("jurisdiction", "last_day"),
    list(zip(WINDOWS["jurisdiction"], WINDOWS["last_day"], strict=True)),
)
def test_window_end_against_rule_texts(jurisdiction, last_day):
    """The last day to harvest after a sample on 1 September, by each rule's own count."""
    assert window_end(WINDOWS["sampled"], rulebook_on(jurisdiction, ON)) == last_day


def test_window_of_28_days_against_older_oregon_text():
    """A window of 28 days ends on 29 September."""
    older = with_value(FEDERAL, "window_days", WINDOWS["older_days"])
    assert window_end(WINDOWS["sampled"], older) == WINDOWS["older_last_day"]


def test_cut_window_limits():
    """Cutting starts with the result, with the sample at one's risk, never where that is barred."""
    sample, result = date(2026, 9, 1), date(2026, 9, 7)
    last = date(2026, 10, 1)
    assert cut_window(sample, result, FEDERAL) == CutWindow(result, last)
    assert cut_window(sample, result, FEDERAL, cut_before_result=True) == CutWindow(sample, last)
    barred = with_value(FEDERAL, "cut_before_result", value=False)
    assert cut_window(sample, result, barred, cut_before_result=True) == CutWindow(result, last)


def test_report_ahead_of_harvest_against_texas():
    """Texas wants the request 15 days before the harvest: asked late, the window is shut."""
    texas = rulebook_on("texas", ON)
    sample, result = date(2026, 9, 5), date(2026, 9, 10)
    early = cut_window(sample, result, texas, report_date=date(2026, 8, 31))
    assert early == CutWindow(date(2026, 9, 15), date(2026, 9, 20))
    late = cut_window(sample, result, texas, report_date=date(2026, 9, 6))
    assert not late.is_open


def test_sample_days_limits():
    """Days the sampler can come: after the lead, on his weekdays, not when closed."""
    labour_day = date(2026, 9, 7)
    days = sample_days(ON, date(2026, 9, 11), 4.5, range(5), {labour_day})
    assert days == (date(2026, 9, 8), date(2026, 9, 9), date(2026, 9, 10), date(2026, 9, 11))
    assert sample_days(ON, ON, 0, [ON.weekday()]) == (ON,)
    assert sample_days(ON, ON, 1, range(7)) == ()


@given(st.integers(0, 14), st.sets(st.integers(0, 6), min_size=1), st.integers(0, 60))
def test_sample_days_keep_their_rule_limits(lead, weekdays, horizon):
    """Every sample day is late enough and on a sampler's weekday; none is missed."""
    last = ON + timedelta(days=horizon)
    days = sample_days(ON, last, lead, weekdays)
    expected = [ON + timedelta(days=k) for k in range(lead, horizon + 1)]
    assert list(days) == [day for day in expected if day.weekday() in weekdays]


def test_result_delay_limits():
    """The delay goes through both stated points, rounded up, and grows with the share."""
    assert result_delay(0.5, 5, 6) == 5
    assert result_delay(0.8, 5, 6) == 6
    assert result_delay(0.8, 4.2, 5.3) == 6
    delays = [result_delay(share, 4, 9) for share in (0.05, 0.2, 0.5, 0.8, 0.95)]
    assert delays == sorted(delays)
    assert result_delay(0.8, 0, 2) == 2, "a laboratory that may answer the same day"
