"""Sun, sky and wind at the barn."""

import numpy as np
import pandas as pd
import pvlib
import pytest

import published_values
from tierpole.barn import sky
from tierpole.weather import DAY_OF_YEAR

VENTILATION = published_values.load("ventilation")


@pytest.mark.parametrize("latitude", [30.0, 38.9, 45.0])
def test_sun_above_against_pvlib(latitude):
    """Hour by hour on the 15th of five months against pvlib's position and extraterrestrial sun."""
    angle = np.radians(15 * (np.arange(0.5, 24) - 12))
    for day in (105, 166, 227, 258, 319):
        tilt = pvlib.solarposition.declination_spencer71(day)
        zenith = pvlib.solarposition.solar_zenith_analytical(np.radians(latitude), angle, tilt)
        normal = pvlib.irradiance.get_extra_radiation(day, solar_constant=1367.0)
        expected = np.maximum(normal * np.cos(zenith), 0.0)
        made = sky.sun_above(latitude, np.array([day]))
        assert made == pytest.approx(expected, abs=25)
        assert made.sum() == pytest.approx(
            expected.sum(), rel=0.05
        )  # Cooper is a degree off in fall


def test_clearness_limits():
    """Wide ranges are clear days, none clearer than the clear sky; no range, no sun."""
    made = sky.clearness([10.0, 10.0, 10.0, 10.0], [10.0, 14.0, 22.0, 40.0])
    assert made[0] == 0
    assert (np.diff(made) > 0).all()
    assert made[-1] == 0.75
    assert made[2] == pytest.approx(0.16 * np.sqrt(12))


def test_clearness_against_pittsburgh():
    """Mean sun of September in a typical year of Pittsburgh from each day's range, within 10 %."""
    weather = pd.read_csv(
        published_values.FOLDER.parent / "data" / "weather" / "pittsburgh.epw.gz",
        skiprows=8, header=None,
    )  # fmt: skip
    fall = weather[weather[1].isin([9, 10])]
    days = fall.groupby([1, 2])
    made = sky.clearness(days[6].min(), days[6].max())
    number = pd.to_datetime({"year": 2025, "month": days[1].first(), "day": days[2].first()})
    above = sky.sun_above(40.5, number.dt.day_of_year.to_numpy()).reshape(-1, 24).sum(1)
    assert (made * above).sum() == pytest.approx(fall[13].sum(), rel=0.10)


def test_sky_loss_against_swinbank():
    """Emittance times the difference of two black bodies, at worked sky temperatures."""
    for warm, cold in VENTILATION["sky"]["rows"]:
        expected = 0.9 * 5.670374e-8 * ((warm + 273.15) ** 4 - (cold + 273.15) ** 4)
        assert sky.sky_loss(warm, 0.75) == pytest.approx(expected, rel=0.005)
    assert sky.sky_loss(15.0, [0.0, 0.25]) == pytest.approx([0, 0])


def test_wind_usual_against_three_stations():
    """Means of the fitted stations by night and by day, and a spread of days; the same again."""
    wind = sky.wind_usual(30, 24 * 92)
    assert wind.shape == (30, 24 * 92)
    by_hour = wind.reshape(-1, 24).mean(0)
    assert by_hour[2] == pytest.approx(3.1, abs=0.15)
    assert by_hour[13] == pytest.approx(4.2, abs=0.15)
    daily = np.log(wind.reshape(-1, 24).mean(1))
    assert daily.std() == pytest.approx(0.40, rel=0.05)
    assert (sky.wind_usual(30, 24 * 92) == wind).all()
    # seasons differ, as do days one after another
    assert abs(np.corrcoef(daily.reshape(30, -1)[:2])[0, 1]) < 0.3


def test_weather_at_barn_limits(barn_season):
    """No sun by night, more by day in June than in December; no sky warms the roof."""
    outside = barn_season
    sun = outside.sun.reshape(len(outside.sun), -1, 24)
    assert (sun[:, :, [0, 23]] == 0).all()
    june, december = sun[:, (DAY_OF_YEAR > 152) & (DAY_OF_YEAR < 182)], sun[:, -31:]
    assert june.sum(2).mean() > 2 * december.sum(2).mean()
    assert (outside.sky >= 0).all()
    assert outside.sky.max() < 110
    assert outside.wind.shape == outside.temperature.shape


@pytest.fixture
def barn_season():
    from outlook_cases import demo
    from tierpole.outlook.curing import outside_air
    from tierpole.outlook.sky import skies

    season = demo()
    return outside_air(season, skies(season, 4, 1))
