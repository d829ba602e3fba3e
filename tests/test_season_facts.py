"""What a season says of itself: days, sticks, samples, what hangs."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outlook_cases import demo, whole_demo
from tierpole.farm import Sample, Test
from tierpole.season import DAYS


@pytest.mark.parametrize("year", [1990, 2024, 2026])
def test_day_axis_against_the_calendar(year):
    """1 April to 31 December, day by day, 275 in every year."""
    season = replace(demo(), year=year)
    dates = [date(year, 4, 1) + timedelta(days=k) for k in range(DAYS)]
    assert dates[-1] == date(year, 12, 31)
    assert season.days.astype(object).tolist() == dates
    assert [season.index(day) for day in dates] == list(range(DAYS))
    assert [season.day(k) for k in range(DAYS)] == dates


@given(st.dates(date(2025, 11, 1), date(2026, 12, 31)))
def test_today_stays_on_the_axis_limits(day):
    """Whatever the date, today is a day of the season axis."""
    season = replace(demo(), on=day)
    assert 0 <= season.today < DAYS
    assert season.day(season.today) == min(max(day, season.first_day), date(2026, 12, 31))


def test_sticks_against_hand_count():
    """3,836 plants set, nine in ten alive, three to a stick: 1,150.8 sticks; 720 counted: 240."""
    lot = demo().lots[4].model_copy(update={"plants_set": 3836})
    assert demo().sticks_total(lot) == pytest.approx(1150.8)
    counted = lot.model_copy(update={"plants_counted": 720})
    assert demo().sticks_total(counted) == pytest.approx(240)


def test_sticks_are_kept_limits():
    """Standing and cut make the whole; what hangs was cut; never fewer than none stand."""
    for day in (date(2026, 8, 1), date(2026, 8, 28), date(2026, 9, 2)):
        season = whole_demo().as_seen_on(day)
        for lot in season.lots:
            total, cut = season.sticks_total(lot), season.sticks_cut(lot)
            assert season.sticks_standing(lot) + cut == pytest.approx(total)
            assert sum(h.sticks for h in season.hangings if h.lot == lot.name) <= cut
    over = replace(season, cuts=season.cuts * 9)
    assert over.sticks_standing(season.lots[0]) == 0


def test_sampled_days_gather_calls_and_certificates():
    """Each day once, in order, whether the call or only its certificate was written down."""
    season, lot = demo(), demo().lots[0]
    assert season.sampled_days(lot) == [date(2026, 8, 17)]
    official = season.tests[0].model_copy(update={"sampled_on": date(2026, 8, 3)})
    pre_test = Test.model_validate(
        {**official.model_dump(), "kind": "pre-test", "sampled_on": date(2026, 8, 10)}
    )
    agreed = Sample(lot=lot.name, requested_on=date(2026, 9, 1), sampled_on=date(2026, 9, 8))
    season = replace(
        season, tests=(*season.tests, official, pre_test), samples=(*season.samples, agreed)
    )
    days = [date(2026, 8, 3), date(2026, 8, 17), date(2026, 9, 8)]
    assert season.sampled_days(lot) == days
    assert season.sampled_days(season.lots[1]) == []


def test_names_find_their_nouns():
    season = demo()
    for row, lot in enumerate(season.lots):
        assert season.lot_index(lot.name) == row
        assert season.variety(lot).name == lot.variety
        assert season.field_of(lot).name == lot.field
    assert [season.place_index(place.name) for place in season.places] == [0, 1, 2, 3]
    with pytest.raises(ValueError, match="Attic"):
        season.place_index("Attic")


def test_a_season_prints_well():
    assert repr(demo()) == (
        "<Season 2026 of Tanner Fork, seen on 2026-09-02: 14.4 acres in 8 lots, 4 places, 4 tests>"
    )
    assert np.all(np.diff(demo().days) == np.timedelta64(1, "D"))
