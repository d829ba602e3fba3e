"""The daily record, its checks and its filled gaps, on real files and with planted errors."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from tierpole.weather import (
    DailyRecord,
    Station,
    clean,
    climatological_mean,
    fill_gaps,
    observation_gap,
)
from weather_data import DATA, DEMO, FRONT_ROYAL, columns, numbers, raw, record

SHALER, MERCED, MILWAUKEE = (
    DATA / name for name in ("shaler.csv.gz", "merced.csv.gz", "USW00014839.csv.gz")
)
STATION = Station("X", "Invented", 39.0, -84.0, 250.0)


def day(text):
    return np.datetime64(text)


def changed(whole, element, where, value):
    values = getattr(whole, element).copy()
    values[where] = value
    return replace(whole, **{element: values})


def invented(years=3, seed=0, **extra):
    """A record with a yearly wave, three-day air masses and rain on a third of days."""
    dates = np.arange("2001-01-01", f"{2001 + years}-01-01", dtype="datetime64[D]")
    rng = np.random.default_rng(seed)
    n = len(dates)
    masses = np.repeat(rng.normal(0, 4, n // 3 + 1), 3)[:n]
    mean = 12 - 12 * np.cos(2 * np.pi * np.arange(n) / 365.25) + masses
    rain = np.where(rng.random(n) < 0.33, rng.gamma(1, 8, n), 0.0)
    return DailyRecord(STATION, dates, mean - 6, mean + 6, rain, np.zeros(n, bool), **extra)


def fisher():
    """Harvard Forest's Fisher station: automatic, by calendar day."""
    table = columns("fisher_2002_2019.csv.gz")
    dates = table["date"].astype("datetime64[D]")
    low, high, rain = (numbers(table[name]) for name in ("airtmin", "airtmax", "prec"))
    return DailyRecord(STATION, dates, low, high, rain, np.zeros(len(dates), bool))


# --- the record ---------------------------------------------------------------------------------


def test_known_only_the_day_after():
    whole = invented()
    seen = whole.until(date(2002, 9, 14))
    assert seen.dates[-1] == day("2002-09-13")
    assert len(whole.until(date(1999, 1, 1))) == 0


def test_seasons_of_a_record():
    """A season is 275 days, moves to another year by month and day, and leaves a hole behind."""
    whole = invented(4)
    season = whole.only_year(2003)
    assert (len(season), season.dates[0]) == (275, day("2003-04-01"))
    moved = season.redated(2028)
    assert (moved.dates[0], moved.dates[-1]) == (day("2028-04-01"), day("2028-12-31"))
    assert (moved.t_min == season.t_min).all()
    assert "re-dated from 2003" in moved.provenance
    rest = whole.without_year(2003)
    assert np.isnan(rest.t_min[rest.year == 2003]).all()
    assert np.isfinite(rest.t_min[rest.year != 2003]).all()
    assert whole.has_year(2003)
    assert not whole.has_year(2005)
    assert len(whole.only_year(2005).redated(2028)) == 0


def test_a_record_refuses_jumbled_days():
    whole = invented()
    with pytest.raises(ValueError, match="day by day"):
        replace(whole, dates=whole.dates[::-1])
    with pytest.raises(ValueError, match="one value of each kind a day"):
        replace(whole, rain=whole.rain[:-1])
    with pytest.raises(ValueError, match="one season"):
        whole.redated(2030)


# --- checks -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "element", "where", "value"),
    [
        ("range", "t_max", 500, 300.1),
        ("range", "rain", 500, -1.0),
        ("order", "t_min", 500, 40.0),
        ("outlier", "t_min", 500, -40.0),
        ("flat line", "t_min", slice(500, 520), 4.4),
        ("flat line", "rain", slice(500, 520), 2.5),
    ],
)
def test_each_rule_finds_what_was_planted(rule, element, where, value):
    """The planted value is found under the name of its rule and set missing, nothing else is."""
    whole = record(DEMO)
    planted = changed(whole, element, where, value)
    believed, findings = clean(planted)
    assert {f.rule for f in findings if f.action == "set missing"} >= {rule}
    assert np.isnan(getattr(believed, element)[where]).all()
    days = {f.date for f in findings}
    assert days <= set(np.atleast_1d(whole.dates[where]).tolist())


def test_spike_stands_out_from_its_neighbours_only():
    """A warm day between two frosty ones in January: usual for the month, not for its days."""
    cold = record(DEMO)
    winter = slice(20, 23)
    planted = changed(changed(cold, "t_max", winter, -8.0), "t_min", winter, -12.0)
    assert clean(planted)[1] == []
    _, findings = clean(changed(planted, "t_max", 21, 18.0))
    assert [(f.date, f.rule) for f in findings] == [(cold.dates[21].item(), "spike")]


def test_real_basin_passes_and_a_real_bad_file_does_not():
    """The basin's 56 years have no finding; Merced's known wrong minima are all found."""
    assert clean(raw(DEMO))[1] == []
    _, findings = clean(raw(MERCED))
    found = {str(f.date): f.value for f in findings}
    assert found["1980-07-29"] == 33.3
    assert found["1984-07-30"] == 35.6
    assert found["2003-05-23"] == -17.8
    assert len(findings) <= 4


def test_first_spell_of_a_flat_line_may_be_short():
    """Nineteen equal days are believed, a run across a missing day is two runs."""
    whole = record(DEMO)
    short = changed(whole, "t_min", slice(500, 519), 4.4)
    assert clean(short)[1] == []
    parted = changed(changed(whole, "t_min", slice(500, 525), 4.4), "t_min", 512, np.nan)
    assert clean(parted)[1] == []


# --- the hour of observation --------------------------------------------------------------------


def test_observation_gap_against_known_observers():
    """Automatic and midnight stations lie clear of a morning observer, and shifting mends him."""
    shaler = raw(SHALER)
    assert observation_gap(fisher()) > 0.1
    assert observation_gap(raw(MILWAUKEE)) > 0.1
    assert observation_gap(shaler) < 0
    mended, findings = clean(shaler)
    assert observation_gap(mended) > 0.3
    assert findings[-1].rule == "observation time"
    assert "moved to the day before" in findings[-1].action


def test_morning_observer_found_in_a_midnight_record_dated_late():
    """Milwaukee with its maximum written a day late is recognised and comes back as it was."""
    whole = replace(raw(MILWAUKEE), observed_in_morning=None)
    late = {name: np.append(np.nan, getattr(whole, name)[:-1]) for name in ("t_max", "rain")}
    mended, _ = clean(replace(whole, **late))
    np.testing.assert_array_equal(mended.t_max[:-1], whole.t_max[:-1])
    np.testing.assert_array_equal(mended.rain[:-1], whole.rain[:-1])


def test_a_doubtful_observer_is_asked_about():
    """Front Royal alone does not give its hour away: it is left as dated and said so."""
    silent = replace(raw(FRONT_ROYAL), observed_in_morning=None)
    kept, findings = clean(silent)
    assert "say yes or no" in findings[-1].action
    np.testing.assert_array_equal(kept.t_max, silent.t_max)


def test_stated_morning_observer_is_shifted_once():
    told = raw(FRONT_ROYAL)
    assert told.observed_in_morning.all()
    once, findings = clean(told)
    np.testing.assert_array_equal(once.t_max[:-1], told.t_max[1:])
    np.testing.assert_array_equal(once.rain[:-1], told.rain[1:])
    np.testing.assert_array_equal(once.t_min, told.t_min)
    assert len(findings) == 1
    again, findings = clean(once)
    assert findings == []
    np.testing.assert_array_equal(again.t_max, once.t_max)


def test_an_observer_who_changes_his_hour_is_shifted_only_while_he_reads_in_the_morning():
    whole = invented()
    morning = np.arange(len(whole)) >= 500
    moved, _ = clean(replace(whole, observed_in_morning=morning))
    np.testing.assert_array_equal(moved.t_max[:500], whole.t_max[:500])
    np.testing.assert_array_equal(moved.t_max[500:-1], whole.t_max[501:])


# --- gaps ---------------------------------------------------------------------------------------


def test_short_gap_is_bridged_on_departures():
    """On a record that is a fixed departure from its usual course, a bridge is exact."""
    smooth = invented()
    wave = climatological_mean(smooth.t_min, smooth.day_of_year)[smooth.day_of_year - 1]
    holed = replace(smooth, t_min=wave + 3, t_max=wave + 15)
    holed.t_min[400:404] = np.nan
    filled, count = fill_gaps(holed, history=replace(smooth, t_min=wave, t_max=wave + 12))
    np.testing.assert_allclose(filled.t_min[400:404], wave[400:404] + 3, atol=0.05)
    assert (count.bridged, count.usual, count.total) == (4, 0, 4)
    assert filled.filled.sum() == 4


def test_long_gap_takes_the_usual_course():
    whole = invented()
    holed = replace(whole, t_max=whole.t_max.copy())
    holed.t_max[400:440] = np.nan
    filled, count = fill_gaps(holed)
    usual = climatological_mean(holed.t_max, holed.day_of_year)[holed.day_of_year - 1]
    expected = np.maximum(usual, whole.t_min)[400:440]
    np.testing.assert_allclose(filled.t_max[400:440], expected)
    assert (count.bridged, count.usual) == (0, 40)


def test_rain_is_borrowed_from_the_year_before_and_dry_only_without_one():
    whole = invented()
    first = 500
    holed = changed(whole, "rain", slice(first, first + 3), np.nan)
    filled, count = fill_gaps(holed)
    np.testing.assert_array_equal(
        filled.rain[first : first + 3], whole.rain[first - 365 : first - 362]
    )
    assert (count.rain_borrowed, count.rain_dry) == (3, 0)
    alone = invented(1)
    filled, count = fill_gaps(changed(alone, "rain", 100, np.nan))
    assert (filled.rain[100], count.rain_dry) == (0, 1)


def test_filling_leaves_observations_alone_and_keeps_the_order():
    """On a third of Front Royal's days hidden at random, every observed value stays."""
    whole, _ = clean(raw(FRONT_ROYAL))
    rng = np.random.default_rng(3)
    hidden = {
        name: np.where(rng.random(len(whole)) < 0.33, np.nan, getattr(whole, name))
        for name in ("t_min", "t_max", "rain")
    }
    filled, count = fill_gaps(replace(whole, **hidden))
    for name, values in hidden.items():
        known = np.isfinite(values)
        np.testing.assert_array_equal(getattr(filled, name)[known], values[known])
        assert np.isfinite(getattr(filled, name)).all()
    assert (filled.t_max >= filled.t_min).all()
    assert count.total == sum(np.isnan(values).sum() for values in hidden.values())


def test_filled_values_against_the_hidden_truth():
    """Single hidden minima of Milwaukee come back with an error of a few degrees, no bias."""
    whole = raw(MILWAUKEE)
    hidden = np.zeros(len(whole), bool)
    hidden[50::50] = True
    filled, _ = fill_gaps(replace(whole, t_min=np.where(hidden, np.nan, whole.t_min)))
    apart = (filled.t_min - whole.t_min)[hidden]
    assert abs(apart.mean()) < 0.3
    assert apart.std() < 3.0


def test_an_empty_record_stays_empty():
    nothing = invented().only_year(1999)
    filled, count = fill_gaps(clean(nothing)[0])
    assert (len(filled), count.total) == (0, 0)
