"""A farm's own gauge and thermometer laid over its station, and what a season makes of them."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from pydantic import ValidationError

from outlook_cases import whole_demo
from tierpole.farm import GaugeReading
from tierpole.outlook.sky import observed_weather, skies
from tierpole.records import season_hash
from tierpole.weather import clean, own_days, with_gauge
from weather_data import FRONT_ROYAL, raw

ON = date(2026, 9, 2)
VALUES = {"rain": 30.0, "temperature_lowest": 11.0, "temperature_highest": 29.0}


def read(day, at="07:00", **said):
    return GaugeReading(read_on=day, read_at=at, **said)


def with_own(*readings, on=ON):
    """The demo's weather so far with a farm's own readings, by element on a date."""
    season = replace(whole_demo(), gauge_readings=readings).as_seen_on(on)
    record = observed_weather(season)

    def value(element, day):
        return float(getattr(record, element)[record.dates == np.datetime64(day)][0])

    return value, record


def test_a_morning_reading_against_the_morning_observer():
    """A farm that reads at seven is dated as NOAA's observer at Front Royal, who reads then too."""
    file = raw(FRONT_ROYAL)
    dated, _ = clean(file)
    number = int(np.flatnonzero(file.dates == np.datetime64("2020-06-11"))[0])
    t_min, t_max, rain = (getattr(file, name)[number] for name in ("t_min", "t_max", "rain"))
    assert file.observed_in_morning[number]
    own = own_days([read(date(2020, 6, 11), rain=rain, temperature_lowest=t_min,
                         temperature_highest=t_max)])  # fmt: skip
    assert own == {
        "t_min": {date(2020, 6, 11): dated.t_min[number]},
        "t_max": {date(2020, 6, 10): dated.t_max[number - 1]},
        "rain": {date(2020, 6, 10): dated.rain[number - 1]},
    }


@pytest.mark.parametrize(
    ("at", "back"),
    [("00:30", 1), ("06:40", 1), (None, 1), ("11:59", 1), ("12:00", 0), ("21:00", 0)],
)
def test_noon_parts_the_days(at, back):
    """Before noon, or when nobody wrote the hour, rain and highest are of the day before."""
    own = own_days([read(date(2026, 8, 20), at, **VALUES)])
    day = date(2026, 8, 20) - timedelta(days=back)
    assert own == {"t_min": {date(2026, 8, 20): 11.0}, "t_max": {day: 29.0}, "rain": {day: 30.0}}


def test_the_farms_own_value_counts_before_the_stations():
    """Each element of each day for itself; every other day stays the station's."""
    station, before = with_own()
    value, after = with_own(read(date(2026, 8, 20), rain=30.0))
    assert value("rain", "2026-08-19") == 30.0 != station("rain", "2026-08-19")
    for element in ("t_min", "t_max"):
        np.testing.assert_array_equal(getattr(after, element), getattr(before, element))
    others = after.dates != np.datetime64("2026-08-19")
    np.testing.assert_array_equal(after.rain[others], before.rain[others])


def test_readings_of_one_day_limits():
    """Evening and next morning add up in rain; the same reading written twice counts once."""
    evening = read(date(2026, 8, 20), "18:00", rain=4.0, temperature_highest=25.0)
    morning = read(date(2026, 8, 21), "06:30", rain=3.0, temperature_highest=24.0)
    again = read(date(2026, 8, 21), "06:45", rain=3.5)
    assert own_days([evening, morning])["rain"] == {date(2026, 8, 20): 7.0}
    assert own_days([evening, morning])["t_max"] == {date(2026, 8, 20): 25.0}
    assert own_days([evening, morning, again])["rain"] == {date(2026, 8, 20): 7.5}


def test_days_stay_in_order_limits():
    """One temperature of a day that contradicts the station's other one: no range, none lost."""
    cold, record = with_own(read(date(2026, 8, 20), "19:00", temperature_highest=9.0))
    assert cold("t_max", "2026-08-20") == cold("t_min", "2026-08-20") == 9.0
    warm, _ = with_own(read(date(2026, 8, 20), temperature_lowest=36.0))
    assert warm("t_max", "2026-08-20") == warm("t_min", "2026-08-20") == 36.0
    assert (record.t_max >= record.t_min).all()


def test_a_reading_passes_the_checks_of_a_station():
    """A slip of the thumb that a station's value would not survive is not believed either."""
    value, _ = with_own(read(date(2026, 8, 20), temperature_lowest=-40.0))
    assert np.isnan(value("t_min", "2026-08-20"))


def test_days_the_station_does_not_have_are_the_farms():
    """A station's file that ends in July: rain of August is what the farm's gauge says."""
    short = replace(whole_demo(), this_weather=whole_demo().this_weather.until(date(2026, 7, 1)))
    readings = (read(date(2026, 8, 20), rain=30.0), read(date(2026, 8, 22), **VALUES),
                read(date(2026, 8, 21), temperature_lowest=12.0))  # fmt: skip
    season = replace(short, gauge_readings=readings).as_seen_on(ON)
    sky = skies(season, 20, 1).daily
    assert (sky.rain[:, season.index(date(2026, 8, 19))] == 30.0).all()
    assert (sky.rain[:, season.index(date(2026, 8, 21))] == 30.0).all()
    assert sky.origin[season.index(date(2026, 8, 21))] == "observed"
    assert (sky.t_min[:, season.index(date(2026, 8, 21))] == 12.0).all()
    assert sky.origin[season.index(date(2026, 8, 15))] == "past"
    assert np.ptp(sky.rain[:, season.index(date(2026, 8, 15))]) > 0


def test_rain_that_was_seen_is_not_foretold():
    """A forecast of before does not wash away what the gauge then held."""
    from test_season_seen import forecast_of

    short = replace(whole_demo(), this_weather=whole_demo().this_weather.until(date(2026, 8, 19)),
                    forecast=forecast_of(date(2026, 8, 19)))  # fmt: skip
    season = replace(short, gauge_readings=(read(date(2026, 8, 21), rain=30.0),))
    sky = skies(season.as_seen_on(date(2026, 8, 22)), 20, 1).daily
    assert (sky.rain[:, season.index(date(2026, 8, 20))] == 30.0).all()
    assert (sky.rain[:, season.index(date(2026, 8, 21))] == 0.0).any()


@pytest.mark.parametrize("on", [date(2026, 8, 20), date(2026, 8, 21), ON])
def test_what_is_read_later_is_not_seen_earlier_limits(on):
    """Known on the day of the reading; of that day itself nothing until the next."""
    readings = tuple(read(date(2026, 8, day), at, **VALUES) for day in (20, 21, 22)
                     for at in ("07:00", "18:00"))  # fmt: skip
    season = replace(whole_demo(), gauge_readings=readings).as_seen_on(on)
    early = replace(whole_demo(), gauge_readings=tuple(r for r in readings if r.read_on <= on))
    assert observed_weather(season).dates[-1] == np.datetime64(on) - 1
    np.testing.assert_array_equal(
        observed_weather(season).rain, observed_weather(early.as_seen_on(on)).rain
    )
    assert season.gauge_readings == early.gauge_readings
    assert season_hash(season) != season_hash(whole_demo().as_seen_on(on))


def test_a_dew_point_keeps_its_distance():
    """A station's dew point goes along with the lowest temperature that the farm read."""
    station, _ = clean(whole_demo().this_weather)
    humid = replace(station, dew_point=station.t_min - 2.0)
    found = with_gauge(humid, [read(date(2026, 8, 20), temperature_lowest=5.0)])
    assert found.dew_point[found.dates == np.datetime64("2026-08-20")] == pytest.approx(3.0)
    np.testing.assert_allclose(found.t_min - found.dew_point, 2.0)


@pytest.mark.parametrize(
    ("said", "why"),
    [({}, "a reading of rain"), ({"note": "broken"}, "a reading of rain"),
     ({"temperature_lowest": "50 F", "temperature_highest": "49 F"}, "at or above its lowest"),
     ({"rain": "-0.1 in"}, "rain from"), ({"rain": "41 in"}, "rain from"),
     ({"temperature_lowest": "140 F"}, "a temperature from")],
)  # fmt: skip
def test_what_no_gauge_says(said, why):
    with pytest.raises(ValidationError, match=why):
        GaugeReading.model_validate({"read_on": "2026-08-20"} | said)
