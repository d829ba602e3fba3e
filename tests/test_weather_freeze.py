"""Freeze dates against published averages, NOAA's normals and a second computation."""

from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from published_values import load
from tierpole.sources import read_freeze_normals
from tierpole.weather import (
    FreezeDays,
    freeze_date,
    freeze_days,
    freeze_quantile,
)
from weather_data import DATA, DEMO, FRONT_ROYAL, celsius, record

PUBLISHED = load("freeze")
STATIONS = {
    "white_oak": DEMO,
    "front_royal": FRONT_ROYAL,
    "milwaukee": DATA / "USW00014839.csv.gz",
    "holston": DATA / "mopex_03473000.csv.gz",
}
SHARES = (0.1, 0.5, 0.9)


def freezes_of(station, threshold, half, first, last):
    freezes = freeze_days(record(STATIONS[station]), celsius(threshold), half)
    keep = (freezes.years >= first) & (freezes.years <= last)
    return replace(freezes, years=freezes.years[keep], day=freezes.day[keep])


@pytest.mark.parametrize(
    "row",
    PUBLISHED["quantiles"]["rows"],
    ids=lambda r: f"{r['station']} {r['first']} {r['half']} {r['threshold']} F",
)
def test_quantiles_against_another_script(row):
    """Freeze dates as another script counted them from the same files."""
    freezes = freezes_of(*(row[key] for key in ("station", "threshold", "half", "first", "last")))
    found = [freeze_date(day, 2001) for day in freeze_quantile(freezes, SHARES)]
    for ours, theirs in zip(found, row["dates"], strict=True):
        if theirs:
            apart = abs((ours - np.datetime64(f"2001-{theirs}")).astype(int))
            assert apart <= PUBLISHED["quantiles"]["tolerance_days"]


def test_milwaukee_against_published_average_and_record():
    """The average to a day; the earliest exactly."""
    published_mean = np.datetime64(f"2001-{PUBLISHED['milwaukee']['average_first_fall']}")
    recent = freezes_of("milwaukee", 32, "fall", 1991, 2020)
    assert abs((freeze_date(recent.day.mean(), 2001) - published_mean).astype(int)) <= 1
    all_years = freezes_of("milwaukee", 32, "fall", 1950, 2020)
    earliest = np.argmin(all_years.day)
    found = freeze_date(all_years.day[earliest], int(all_years.years[earliest])).item()
    assert found == PUBLISHED["milwaukee"]["earliest"]


@pytest.mark.parametrize("period", ["1981-2010", "1991-2020"])
def test_normals_against_noaa_lebanon(period):
    """The reader gives the printed dates, and they come in order of share and threshold."""
    normals = read_freeze_normals(DATA / f"USW00094765_annualseasonal_{period}.csv")
    assert normals.station == "USW00094765"
    for half, thresholds in PUBLISHED["lebanon"][period].items():
        for threshold, printed in thresholds.items():
            found = [normals.dates[half, int(threshold), share] for share in SHARES]
            assert [f"{month:02}-{day:02}" for month, day in found] == printed
    for half, sign in (("fall", 1), ("spring", -1)):
        by_share = [normals.dates[half, 32, round(share / 10, 1)] for share in range(1, 10)]
        assert by_share == sorted(by_share, reverse=sign < 0)
        by_cold = [normals.dates[half, threshold, 0.5] for threshold in (20, 24, 28, 32, 36)]
        assert by_cold == sorted(by_cold, reverse=sign > 0)


def test_quantile_limits():
    """A date asked for gives at least its share of the years; none is none."""
    fall = FreezeDays("fall", 0.0, np.arange(2000, 2005), np.array([180, 190, 200, 210, np.inf]))
    assert freeze_quantile(fall, [0, 0.25, 0.5]).tolist() == [180, 190, 200]
    assert freeze_quantile(fall, 1.0) == np.inf
    assert freeze_date(np.inf, 2026) is None
    assert freeze_date(0, 2026).item() == date(2026, 4, 1)
    none = FreezeDays("fall", 0.0, np.zeros(0, int), np.zeros(0))
    assert np.isnan(freeze_quantile(none, 0.5))


def test_colder_thresholds_come_later_in_fall_and_earlier_in_spring():
    fall = [freezes_of("white_oak", f, "fall", 1948, 2003).day for f in (36, 32, 28, 24)]
    spring = [freezes_of("white_oak", f, "spring", 1948, 2003).day for f in (36, 32, 28, 24)]
    assert all((late >= early).all() for early, late in pairwise(fall))
    assert all((late <= early).all() for early, late in pairwise(spring))


def test_a_year_with_a_missing_minimum_is_left_out():
    whole = record(DEMO)
    t_min = whole.t_min.copy()
    t_min[whole.dates == np.datetime64("1970-09-10")] = np.nan
    holed = replace(whole, t_min=t_min)
    assert 1970 not in freeze_days(holed, 0.0, "fall").years
    assert 1970 in freeze_days(holed, 0.0, "spring").years
