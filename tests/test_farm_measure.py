"""How a noun's fields are read: units asked of people, plain SI of programs, limits of both."""

import math
from datetime import UTC, date, datetime
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from tierpole.farm.measure import Count, Day, Label, Measure, Noun, Ratio
from tierpole.units import ACRE


class Sheet(Noun):
    """One field of every kind."""

    area: Annotated[float, Measure("an area", "0.05 acre", "500 acre")] = ACRE
    night: Annotated[float, Measure("a temperature difference", "-15 F", "9 F")] = 0.0
    plants: Annotated[int, Count(10, 2_000_000)] = 10
    ratio: Annotated[float, Ratio(1.0, 100.0)] = 1.0
    name: Annotated[str, Label(longest=12)] = "a"
    note: Annotated[str, Label(longest=12, empty=True)] = ""
    day: Annotated[date, Day()] = date(2026, 6, 1)


def read(written=False, **fields):
    return Sheet.model_validate(fields, context={"written": written})


def refusal(written=False, **fields):
    with pytest.raises(ValidationError) as caught:
        read(written, **fields)
    (error,) = caught.value.errors()
    assert error["type"] == "not_allowed", "the text must be our own"
    return error["msg"]


def test_quantity_against_definition():
    """An acre is 43,560 square feet of 0.3048 m; a difference of 9 °F is one of 5 K."""
    assert read(area="2.5 acre").area == pytest.approx(2.5 * 43_560 * 0.3048**2, rel=1e-12)
    assert read(area="1 ha").area == pytest.approx(10_000)
    assert read(night="-9 F").night == pytest.approx(-5.0)


@given(st.floats(0.06, 499.0))
def test_quantity_in_any_unit_limits(acres):
    """The same area in acres, hectares or plain SI is one number."""
    plain = read(area=acres * ACRE).area
    assert read(written=True, area=f"{acres!r} acre").area == pytest.approx(plain, rel=1e-12)
    assert read(written=True, area=f"{plain / 1e4!r} ha").area == pytest.approx(plain, rel=1e-12)


@pytest.mark.parametrize("limit", ["0.05 acre", "500 acre", "202.34282112 m2", "202.34282112 ha"])
def test_limits_themselves_are_allowed(limit):
    """Also when they are written in other units, where the last digit may round away."""
    assert read(written=True, area=limit).area > 0


@pytest.mark.parametrize(
    "value",
    ["0.04 acre", "501 acre", "2.5", "2.5 lb", "big", "", "nan acre", "1e999 acre", "-1 acre"],
)
def test_wrong_quantities_are_refused(value):
    """Too small, too large, without unit, of another kind, or no number at all."""
    assert 'an area from "0.05 acre" to "500 acre"' in refusal(written=True, area=value)


@pytest.mark.parametrize("value", [2.5, 4000.0, 7])
def test_a_bare_number_needs_its_unit_in_a_file(value):
    """A file without units hides a mistake until harvest; a program speaks SI."""
    assert "written with its unit in quotes" in refusal(written=True, area=value)
    assert read(area=max(value, 4000.0)).area >= 4000


@pytest.mark.parametrize("value", [True, None, math.nan, math.inf, -math.inf, [1.0], {}])
def test_what_is_no_number_is_refused(value):
    assert refusal(area=value).startswith("an area from")
    assert refusal(ratio=value) == "a number from 1 to 100"
    assert refusal(plants=value) == "a whole number from 10 to 2,000,000"


@pytest.mark.parametrize("value", [9, 2_000_001, 12.0, "12", False])
def test_counts_are_whole(value):
    assert refusal(plants=value) == "a whole number from 10 to 2,000,000"


@pytest.mark.parametrize("value", ["", "   ", "x" * 13, "two\nlines", 5, None])
def test_labels_are_short_and_on_one_line(value):
    assert "characters in quotes" in refusal(name=value)
    assert read(name="  Lane ").name == "Lane"
    assert read(note="  ").note == ""


@pytest.mark.parametrize(
    "value",
    ["2026-02-30", "14 Sep", 20260914, datetime(2026, 9, 14, 6, tzinfo=UTC), "1989-12-31", None],
)
def test_days_are_dates(value):
    assert refusal(day=value) == "a date such as 2026-09-14, from 1990 to 2100"
    assert read(day="2026-09-14").day == date(2026, 9, 14)


@given(st.dates(date(1990, 1, 1), date(2100, 12, 31)))
def test_every_date_is_read_limits(day):
    """A date and its ISO text are read as the same day."""
    assert read(day=day.isoformat()).day == read(day=day).day == day
