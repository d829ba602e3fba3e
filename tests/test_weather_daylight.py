"""Day length against printed sun times, an independent almanac, and the poles."""

from datetime import date, time

import numpy as np
import pandas as pd
import pytest
from pvlib.solarposition import sun_rise_set_transit_spa

from published_values import load
from tierpole.weather import day_length

PUBLISHED = load("day_length")
OBSERVATORY = PUBLISHED["naval_observatory"]
CIVIL = 6.0


def hours(begin: str, end: str) -> float:
    first, last = time.fromisoformat(begin), time.fromisoformat(end)
    return (last.hour - first.hour) + (last.minute - first.minute) / 60


def day_of_year(day: date) -> int:
    return day.timetuple().tm_yday


@pytest.mark.parametrize("day", OBSERVATORY["days"], ids=lambda d: f"{d['place']} {d['date']}")
def test_day_length_against_naval_observatory(day):
    """Printed to the minute at both ends."""
    close = OBSERVATORY["tolerance_minutes"] / 60
    number = day_of_year(day["date"])
    length = day_length(day["latitude"], number)
    assert length == pytest.approx(hours(day["sunrise"], day["sunset"]), abs=close)
    if "civil_begin" in day:
        civil = day_length(day["latitude"], number, CIVIL)
        assert civil == pytest.approx(hours(day["civil_begin"], day["civil_end"]), abs=close)


@pytest.mark.parametrize(("day", "length"), OBSERVATORY["printed"].items())
def test_day_length_against_printed_lengths(day, length):
    """Day lengths printed for Cleveland (cleveland.com, credited to the US Naval Observatory)."""
    number = day_of_year(date.fromisoformat(day))
    assert day_length(41.483, number) == pytest.approx(length, abs=1 / 60)


@pytest.mark.parametrize("row", PUBLISHED["formula"]["rows"], ids=lambda r: f"{r['latitude']}N")
def test_day_length_against_check_values(row):
    """Values computed apart from the formula of Forsythe et al. 1995."""
    place = row["latitude"], row["day_of_year"]
    assert day_length(*place) == pytest.approx(row["sunrise_sunset"], abs=0.006)
    assert day_length(*place, CIVIL) == pytest.approx(row["civil"], abs=0.006)


@pytest.mark.parametrize(("latitude", "most"), [(25.5, 3.0), (38.86, 4.5), (44.5, 5.5)])
def test_day_length_against_pvlib(latitude, most):
    """Every fifth day of a year against a full ephemeris: minutes apart at most, none in the mean.

    Shifted back by 1.6 days the formula agrees within a minute and a half: its error is a phase.
    """
    days = pd.date_range("2025-01-01", "2025-12-31", freq="5D", tz="Etc/GMT+5")
    sun = sun_rise_set_transit_spa(days, latitude, -75.0)
    length = (sun["sunset"] - sun["sunrise"]).dt.total_seconds().to_numpy() / 3600
    number = days.day_of_year.to_numpy()
    apart = 60 * (day_length(latitude, number) - length)
    assert np.abs(apart).max() < most
    assert abs(apart.mean()) < 0.5
    assert np.abs(60 * (day_length(latitude, number + 1.6) - length)).max() < 1.5


def test_day_length_limits():
    """Polar day and night, twelve hours at an equinox, the hemispheres half a year apart."""
    assert day_length(75, 172) == 24
    assert day_length(75, 355) == 0
    assert day_length(0, 80, 0.0) == pytest.approx(12, abs=0.01)
    assert day_length(-40, 172, 0.0) == pytest.approx(24 - day_length(40, 172, 0.0), abs=1e-9)
    summer = day_length(np.array([30.0, 40, 50]), 172)
    assert (np.diff(summer) > 0).all()
    assert day_length(np.array([[30.0], [40.0]]), np.arange(1, 366)).shape == (2, 365)
