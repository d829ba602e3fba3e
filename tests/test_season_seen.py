"""A season seen on a day: nothing that became known later leaks into it."""

from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outlook_cases import demo, smaller, whole_demo
from tierpole.farm import Cut, Flowering, Hanging, Reading, Sample, Test
from tierpole.outlook import make_outlook
from tierpole.season import Season
from tierpole.weather import DailyRecord, Forecast

ON = date(2026, 9, 2)
LAST = date(2026, 12, 31)
LOTS = st.sampled_from([lot.name for lot in whole_demo().lots])
PLACES = st.sampled_from([place.name for place in whole_demo().places])
BEFORE = st.dates(date(2026, 8, 20), ON)
AFTER = st.dates(ON + timedelta(days=1), LAST)
COUNT = st.integers(1, 40)


def same(one, other):
    """Whether two seasons, records or forecasts hold the same facts; arrays value by value."""
    if isinstance(one, Season | DailyRecord | Forecast):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    return one == other


@st.composite
def later_facts(draw):
    """Facts of every kind that only became known after the day, whenever they happened."""
    lot, place = draw(LOTS), draw(PLACES)
    happened, known = draw(BEFORE), draw(AFTER)
    return {
        "tests": Test(lot=lot, kind=draw(st.sampled_from(["pre-test", "official"])),
                      sampled_on=draw(st.sampled_from([happened, known])), reported_on=known,
                      plants=3, total_cbd=0.05, total_thc=draw(st.floats(0.001, 0.009))),
        "samples": Sample(lot=lot, requested_on=known, sampled_on=known),
        "cuts": Cut(lot=lot, cut_on=known, sticks=draw(COUNT)),
        "hangings": Hanging(lot=lot, place=place, hung_on=known, sticks=draw(COUNT)),
        "readings": Reading(place=place, lot=lot, hung_on=happened, read_on=known,
                            moisture_flower=draw(st.floats(0.1, 0.7))),
        "flowering": Flowering(lot=lot, seen_on=known, in_flower=3, looked_at=10),
    }  # fmt: skip


def with_more(season, facts):
    return replace(season, **{name: (*getattr(season, name), fact) for name, fact in facts.items()})


def shaken(record, on, seed):
    """The record with every day from `on` on replaced by noise, some of it missing."""
    rng, later = np.random.default_rng(seed), record.dates >= np.datetime64(on)
    noise = rng.normal(15, 12, len(record))
    low = np.where(later, np.where(noise > 30, np.nan, noise), record.t_min)
    high = np.where(later, noise + rng.normal(5, 9, len(record)), record.t_max)
    return replace(record, t_min=low, t_max=high, rain=np.where(later, 40.0, record.rain))


def forecast_of(issued):
    days = np.datetime64(issued) + np.arange(10)
    steady = np.full(10, 12.0)
    at = datetime(issued.year, issued.month, issued.day, 6, tzinfo=UTC)
    return Forecast(at, days, steady, steady + 9, steady * 0)


@given(facts=st.lists(later_facts(), max_size=4), issued=AFTER, seed=st.integers(0, 99))
@settings(max_examples=40)
def test_what_is_known_later_is_not_seen_limits(facts, issued, seed):
    """Facts, weather and a forecast that come after a day change nothing as seen on it."""
    season = whole_demo()
    for each in facts:
        season = with_more(season, each)
    season = replace(
        season,
        this_weather=shaken(season.this_weather, ON, seed),
        forecast=forecast_of(issued),
    )
    assert same(season.as_seen_on(ON), whole_demo().as_seen_on(ON))


@given(first=st.dates(date(2026, 4, 1), LAST), second=st.dates(date(2026, 4, 1), LAST))
@settings(max_examples=40)
def test_seen_twice_is_seen_on_the_earlier_day_limits(first, second):
    """Looking through a later day takes nothing away from, and adds nothing to, an earlier one."""
    early, late = min(first, second), max(first, second)
    through = whole_demo().as_seen_on(late).as_seen_on(early)
    assert same(through, whole_demo().as_seen_on(early))


@given(day=st.dates(date(2026, 8, 1), date(2026, 9, 20)))
def test_each_fact_is_seen_from_its_own_day_on(day):
    """A test from its report, a sample from the call, all else from its day; weather a day late."""
    season, seen = whole_demo(), whole_demo().as_seen_on(day)
    known_on = {
        "tests": "reported_on", "samples": "requested_on", "cuts": "cut_on",
        "hangings": "hung_on", "readings": "read_on", "flowering": "seen_on",
    }  # fmt: skip
    for table, key in known_on.items():
        names = {id(fact) for fact in getattr(seen, table)}
        for fact in getattr(season, table):
            assert (id(fact) in names) == (getattr(fact, key) <= day), (table, fact)
    assert seen.this_weather.dates[-1] == np.datetime64(day) - 1


def test_what_hangs_is_seen_hanging_until_it_is_down():
    """Taken down on the tenth: on the ninth it hangs, and nobody knows for how long."""
    season = whole_demo()
    up = season.hangings[0].model_copy(update={"down_on": date(2026, 9, 10)})
    season = replace(season, hangings=(up, *season.hangings[1:]))
    before, after = season.as_seen_on(date(2026, 9, 9)), season.as_seen_on(date(2026, 9, 10))
    assert before.hangings[0].down_on is None
    assert len(before.hanging_now()) == 2
    assert [h.lot for h in after.hanging_now()] == [season.hangings[1].lot]


def test_when_a_place_comes_free_is_seen_when_it_is_known():
    """Until then a plan must not count on it."""
    place = whole_demo().places[0].model_copy(update={"known_on": date(2026, 9, 5)})
    season = replace(whole_demo(), places=(place, *whole_demo().places[1:]))
    assert season.as_seen_on(ON).places[0].free_from == LAST
    assert season.as_seen_on(date(2026, 9, 5)).places[0].free_from == place.free_from


def test_forecast_is_seen_from_its_issue_on():
    season = replace(whole_demo(), forecast=forecast_of(ON))
    assert season.as_seen_on(ON).forecast is season.forecast
    assert season.as_seen_on(ON - timedelta(days=1)).forecast is None


def test_a_changed_future_gives_the_same_outlook_limits():
    """Tests, cuts, weather and a forecast after the day: every number of the outlook stands."""
    lots, places = ("1 River", "6 South bottom"), ("Frame",)
    season = smaller(whole_demo(), lots, places, years=2)
    later = date(2026, 9, 3)
    changed = with_more(season, {
        "tests": Test(lot="6 South bottom", kind="pre-test", sampled_on=date(2026, 8, 31),
                      reported_on=later, plants=5, total_cbd=0.09, total_thc=0.006),
        "cuts": Cut(lot="1 River", cut_on=later, sticks=300),
        "hangings": Hanging(lot="1 River", place="Frame", hung_on=later, sticks=300),
        "samples": Sample(lot="6 South bottom", requested_on=later, sampled_on=date(2026, 9, 8)),
        "flowering": Flowering(lot="6 South bottom", seen_on=later, in_flower=0, looked_at=40),
    })  # fmt: skip
    changed = replace(
        changed, this_weather=shaken(season.this_weather, ON, 1), forecast=forecast_of(later)
    )
    outlook = make_outlook(season.as_seen_on(ON), draws=8, seed=1)
    assert make_outlook(changed.as_seen_on(ON), draws=8, seed=1).identical(outlook)
    # the same changes do tell once they are known
    assert not make_outlook(changed.as_seen_on(later), draws=8, seed=1).equals(
        make_outlook(season.as_seen_on(later), draws=8, seed=1)
    )


def test_later_years_do_not_tell_limits():
    """A season of a past year knows nothing of the years the station has recorded since."""
    season = replace(demo(), year=1990, on=date(1990, 7, 1), stand_in_year=None)
    past = season.past_weather
    shaking = replace(season, past_weather=shaken(past, date(1990, 7, 1), 2))
    assert same(shaking.as_seen_on(season.on), season.as_seen_on(season.on))
    assert season.as_seen_on(season.on).past_weather.dates[-1] == np.datetime64("1990-06-30")
    assert shaking.past_weather.t_max[-1] != pytest.approx(past.t_max[-1])
