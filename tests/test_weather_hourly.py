"""Hours made of days, against observed hours and the fits they rest on."""

from datetime import date

import numpy as np
import pytest
from scipy.optimize import curve_fit

from tierpole.weather import (
    DAY_OF_YEAR,
    DAYS,
    HourlyWeather,
    day_length,
    hourly_weather,
    is_wet,
    season_pool,
    splice,
    wet_hours,
)
from tierpole.weather.dew_point import COEFFICIENTS as DEW
from tierpole.weather.dew_point import RAIN_TRACE, dew_point_daily, dew_point_error
from tierpole.weather.hourly import (
    COEFFICIENTS,
    dew_point_hourly,
    rain_hourly,
    rain_hours,
    temperature_hourly,
)
from weather_data import DEMO, celsius, columns, numbers, record
from weather_hours import FALL, champaign, errors, new_york, wetness

LENGTH = day_length(38.9, DAY_OF_YEAR)


@pytest.fixture(scope="module")
def season():
    pool = season_pool(record(DEMO))
    return splice(pool, 2026, None, None, np.random.default_rng(1))


@pytest.fixture(scope="module")
def hours(season):
    return hourly_weather(season)


# --- against observations -----------------------------------------------------------------------


def test_temperature_against_champaign_hours():
    """Six seasons of measured hours from their daily extremes alone."""
    apart = errors(champaign(), True, "temperature")
    assert abs(apart.mean()) < 0.3
    assert apart.std() < 2.3


def test_temperature_against_new_york_hours():
    """Hours rebuilt from daily extremes against those observed at three airports in 2013."""
    apart = errors(new_york(), True, "temperature")
    assert abs(apart.mean()) < 0.3
    assert apart.std() < 2.3


@pytest.mark.parametrize(("is_recorded", "spread"), [(True, 0.11), (False, 0.17)])
def test_humidity_against_champaign_hours(is_recorded, spread):
    """With a recorded daily dew point, and with one estimated from the minimum."""
    apart = errors(champaign(), is_recorded, "humidity")
    assert abs(apart.mean()) < 0.02
    assert apart.std() < spread


def test_humidity_against_new_york_hours():
    """A recorded dew point serves a coast as well; an estimated one is too humid there."""
    assert abs(errors(new_york(), True, "humidity").mean()) < 0.02
    too_humid = errors(new_york(), False, "humidity").mean()
    assert 0.05 < too_humid < 0.2


@pytest.mark.parametrize(
    ("is_recorded", "bias", "likeness"), [(True, 0.5, 0.7), (False, 1.0, 0.15)]
)
def test_wet_hours_against_champaign_hours(is_recorded, bias, likeness):
    """August to October, hours wet by the rule in the model's hours and in the measured ones.

    An estimated dew point carries a drawn error: right in its mean and spread, not day by day.
    """
    made, seen = wetness(champaign(), is_recorded)
    assert abs(made.mean() - seen.mean()) < bias
    assert 0.75 < made.std() / seen.std() < 1.1
    assert abs((made < 4).mean() - (seen < 4).mean()) < 0.15
    assert abs((made >= 12).mean() - (seen >= 12).mean()) < 0.06
    assert np.corrcoef(made, seen)[0, 1] > likeness


def first_order():
    table = columns("first_order_1990_1993.csv.gz")
    low, high, dew = (celsius(numbers(table[n])) for n in ("tmin_f", "tmax_f", "dewpoint_f"))
    rain = numbers(table["precip_in"]) * 25.4
    number = np.array([date.fromisoformat(day).timetuple().tm_yday for day in table["date"]])
    april = table["date"].astype("datetime64[M]").astype(int) % 12 >= 3
    return [array[april & np.isfinite(dew)] for array in (low, high, rain, number, dew)]


def test_dew_point_against_its_fit():
    """The coefficients are what least squares gives on the first-order stations."""
    low, high, rain, number, dew = first_order()
    angle = 2 * np.pi * number / 365.25
    wet = rain > RAIN_TRACE
    terms = np.column_stack([np.ones_like(low), high - low, wet, np.cos(angle), np.sin(angle)])
    fit = np.linalg.lstsq(terms, dew - low, rcond=None)[0]
    names = ("dew_offset", "dew_per_range", "dew_if_rain", "dew_cosine", "dew_sine")
    np.testing.assert_allclose([DEW[name] for name in names], fit, atol=6e-4)
    apart = dew_point_daily(low, high, rain, number) - dew
    assert apart.std() < 2.2
    assert apart.std() < (low - dew).std() - 0.2  # better than "dew point = minimum"


def test_dew_point_error_against_its_fit():
    """Spread and memory of what the fit leaves over, station by station, and of the draws."""
    low, high, rain, number, dew = first_order()
    apart = dew - dew_point_daily(low, high, rain, number)
    next_day = np.diff(number) == 1
    memory = np.corrcoef(apart[:-1][next_day], apart[1:][next_day])[0, 1]
    assert apart.std() == pytest.approx(DEW["error_sd"], abs=0.01)
    assert memory == pytest.approx(DEW["error_memory"], abs=0.02)
    drawn = dew_point_error(400, DAYS, np.random.default_rng(2))
    assert drawn.std() == pytest.approx(DEW["error_sd"], rel=0.02)
    drawn_memory = np.corrcoef(drawn[:, :-1].ravel(), drawn[:, 1:].ravel())[0, 1]
    assert drawn_memory == pytest.approx(DEW["error_memory"], abs=0.02)
    assert drawn[:, 0].std() == pytest.approx(DEW["error_sd"], rel=0.1)


def test_dew_point_against_harvard_forest():
    """Eighteen years at a station the fit has not seen, 600 km from those it has."""
    table = columns("fisher_2002_2019.csv.gz")
    low, high, dew, rain = (numbers(table[n]) for n in ("airtmin", "airtmax", "dewp", "prec"))
    dates = table["date"].astype("datetime64[D]")
    number = (dates - dates.astype("datetime64[Y]")).astype(int) + 1
    rows = (number > 90) & np.isfinite(low + high + dew + rain)
    apart = (dew_point_daily(low, high, rain, number) - dew)[rows]
    assert abs(apart.mean()) < 0.3
    assert apart.std() < 2.5


def daily_rain_hours(origins):
    table = columns("new_york_2013.csv.gz")
    keep = np.isin(table["origin"], origins)
    keys = [table[name][keep] for name in ("origin", "month", "day")]
    days = np.array(["-".join(key) for key in zip(*keys, strict=True)])
    fall = np.nan_to_num(numbers(table["precip"][keep])) * 25.4
    _, day = np.unique(days, return_inverse=True)
    total, count = np.bincount(day, fall), np.bincount(day, fall > 0)
    wet = total > RAIN_TRACE
    return total[wet], count[wet]


def test_rain_hours_against_their_fit_and_another_airport():
    """Fitted at Newark and Kennedy; La Guardia's mean comes within a quarter of an hour."""
    total, count = daily_rain_hours(("EWR", "JFK"))
    fit, _ = curve_fit(lambda rain, one, power: one * rain**power, total, count, p0=(2, 0.5))
    ours = [COEFFICIENTS["rain_hours_one"], COEFFICIENTS["rain_hours_power"]]
    np.testing.assert_allclose(ours, fit, atol=0.006)
    total, count = daily_rain_hours(("LGA",))
    apart = rain_hours(total) - count
    assert abs(apart.mean()) < 0.25
    assert apart.std() < 3


# --- limits ---------------------------------------------------------------------------------------


def test_temperature_limits(season, hours):
    """Inside the extremes of the days it belongs to, warmest in the afternoon, coldest at dawn."""
    days = hours.temperature.reshape(len(season), DAYS, 24)[:, 1:-1]
    low = np.minimum.reduce([season.t_min[:, :-2], season.t_min[:, 1:-1], season.t_min[:, 2:]])
    high = np.maximum(season.t_max[:, 1:-1], season.t_max[:, :-2])
    assert (days >= low[..., None] - 1e-9).all()
    assert (days <= high[..., None] + 1e-9).all()
    plain = temperature_hourly(np.full((1, DAYS), 5.0), np.full((1, DAYS), 25.0), LENGTH)
    shape = plain.reshape(DAYS, 24)[1:-1]
    assert set(shape.argmax(axis=1)) <= {13, 14}
    assert (np.abs(shape.argmin(axis=1) + 0.5 - (12 - LENGTH[1:-1] / 2)) < 1.2).all()
    # no step at dawn, dusk or midnight: never steeper than the sine at its foot
    steepest = 20 * np.pi / (LENGTH.min() + 2 * COEFFICIENTS["lag_maximum"])
    assert np.abs(np.diff(plain)).max() < steepest


def test_temperature_is_linear_in_its_day(season):
    """Two degrees warmer days make hours two degrees warmer; rows do not mix."""
    one = temperature_hourly(season.t_min, season.t_max, LENGTH)
    warmer = temperature_hourly(season.t_min + 2, season.t_max + 2, LENGTH)
    np.testing.assert_allclose(warmer, one + 2)
    np.testing.assert_array_equal(
        temperature_hourly(season.t_min[3:4], season.t_max[3:4], LENGTH)[0], one[3]
    )


def test_humidity_limits(hours):
    """Humidity lies between none and saturation, and no wind is made up."""
    assert (hours.humidity > 0).all()
    assert (hours.humidity <= 1).all()
    assert (hours.dew_point <= hours.temperature).all()
    assert hours.wind is None


def test_dew_point_runs_from_noon_to_noon():
    """Daily means of 0 and 12 by turns: half way at midnight, the mean itself at noon."""
    daily = np.array([[0.0, 12.0, 0.0]])
    dew = dew_point_hourly(daily, np.full((1, 72), 25.0))[0]
    assert dew[36] == pytest.approx(12 - 0.25)  # the hour from noon, at its middle
    assert (dew[23] + dew[24]) / 2 == pytest.approx(6)
    assert (dew[:12] == 0).all()
    assert dew_point_hourly(daily, np.full((1, 72), 5.0)).max() == 5  # never above the air


def test_rain_is_conserved_and_spread_round_the_clock(season, hours):
    days = hours.rain.reshape(len(season), DAYS, 24)
    np.testing.assert_allclose(days.sum(axis=2), season.rain, atol=1e-9)
    raining = (days > 0).sum(axis=2)
    ceiling = np.ceil(rain_hours(season.rain))
    assert (raining == np.where(season.rain > 0, np.maximum(ceiling, 1), 0)).all()
    by_hour = rain_hourly(np.full((1, 2400), 5.0)).reshape(-1, 24).astype(bool).mean(axis=0)
    assert by_hour.max() / by_hour.min() < 1.05


def flat(temperature, dew_point, humidity, rain):
    return HourlyWeather(
        *(np.full((1, 72), value) for value in (temperature, dew_point, humidity, rain))
    )


@pytest.mark.parametrize(
    ("weather", "wet"),
    [
        (flat(15.0, 5.0, 0.5, 0.0), False),
        (flat(15.0, 5.0, 0.5, 1.0), True),
        (flat(15.0, 13.5, 0.8, 0.0), True),
        (flat(15.0, 5.0, 0.9, 0.0), True),
    ],
    ids=["dry", "rain", "near its dew point", "humid"],
)
def test_each_way_of_being_wet(weather, wet):
    assert is_wet(weather).all() == wet
    hours, warmth = wet_hours(weather)
    assert (hours == 24 * wet).all()
    assert (warmth == 15).all()


def test_a_night_is_one_spell():
    """Wet from 20:00 to 08:00: twelve hours on the morning's day, at the night's temperature."""
    clock = np.arange(96) % 24
    night = (clock >= 20) | (clock < 8)
    warmth = np.where(night, 10.0, 20.0)[None]
    humid = np.where(night, 0.95, 0.4)[None]
    weather = HourlyWeather(warmth, warmth - 8, humid, np.zeros((1, 96)))
    hours, mean = wet_hours(weather)
    assert hours.tolist() == [[12, 12, 12, 12]]
    assert mean.tolist() == [[10, 10, 10, 10]]


def test_september_nights_are_wet_and_july_noons_dry(hours):
    """A sanity check on the demo's climate: dew most fall nights, dry mid-days."""
    wet = is_wet(hours).reshape(len(hours.temperature), DAYS, 24)
    september = slice(153, 183)
    assert 0.6 < wet[:, september, 4:6].mean() < 0.95
    assert wet[:, 91:122, 12:15].mean() < 0.25
    assert 5 < wet[:, FALL].sum(axis=2).mean() < 11
