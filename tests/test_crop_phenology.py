"""Flower initiation against chambers, field dates and a calendar worked elsewhere."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

import published_values
from tierpole import crop
from tierpole.farm import Stock
from tierpole.weather import DAY_OF_YEAR, DAYS, day_length

PUBLISHED = published_values.load("flowering")
FIRST = date(2025, 4, 1)
BEST_WARMTH = 29.0


def day_of(month_day):
    return (date.fromisoformat(f"2025-{month_day}") - FIRST).days


def date_of(day):
    return (FIRST + timedelta(days=int(day))).strftime("%m-%d")


def one(critical, slope=0.15, inductive_days=10.0, lag=0.0):
    values = (critical, slope, inductive_days, lag)
    return crop.FloweringDraws(*(np.array([float(value)]) for value in values))


def days_at(day_length_constant, temperature, flowering, twilight=0.0):
    """Days from setting to flowering when every day is alike."""
    long = np.full(DAYS, float(day_length_constant))
    warm = np.full((1, DAYS), temperature)
    row = np.zeros(1, int)
    return crop.flower_day(long, warm, row, 0, flowering, twilight=twilight)[0]


def flower_at(latitude, temperature, set_day, flowering):
    """Flower day in a season of one temperature at a latitude."""
    warm = np.full((1, DAYS), temperature)
    length = day_length(latitude, DAY_OF_YEAR)
    return crop.flower_day(length, warm, np.zeros(1, int), set_day, flowering)[0]


def test_step_of_day_length_against_zhang_2021():
    """The step from 13 h 45 min to 14 h costs 5 to 13 days, that from 12 to 13 h hardly any."""
    chamber, worked = PUBLISHED["chamber"], PUBLISHED["chamber_worked"]
    plant = one(worked["critical"], worked["slope"], worked["inductive_days"])
    at_12, at_13, at_1345, at_14 = (
        days_at(hours, BEST_WARMTH, plant) for hours in (12.0, 13.0, 13.75, 14.0)
    )
    low, high = chamber["step"]
    assert low <= at_14 - at_1345 <= high
    low, high = chamber["delay_13"]
    assert low <= at_13 - at_12 <= high


def test_days_in_chamber_against_worked_values():
    """Days to initiation at five constant day lengths."""
    worked = PUBLISHED["chamber_worked"]
    plant = one(worked["critical"], worked["slope"], worked["inductive_days"])
    days = [days_at(hours, BEST_WARMTH, plant) for hours in worked["day_length"]]
    assert days == pytest.approx(worked["days"], abs=0.05)


def test_field_dates_against_homestead_2019():
    """Four sowings of a seeded hemp in Florida, days to half of the plants induced."""
    field = PUBLISHED["homestead"]
    plant = one(field["critical"], field["slope"], field["inductive_days"])
    sown = [day_of(month_day) for month_day in field["sown"]]
    days = [
        flower_at(field["latitude"], BEST_WARMTH, day + field["fixed_days"], plant) - day
        for day in sown
    ]
    assert days == pytest.approx(field["worked"], abs=0.15)
    assert np.sqrt(np.mean(np.square(np.subtract(days, field["days"])))) < field["rmse"]


@pytest.mark.parametrize("critical", PUBLISHED["calendar"]["initiation"])
def test_calendar_against_worked_values(critical):
    """The very date of initiation at six latitudes, for four classes of variety."""
    calendar = PUBLISHED["calendar"]
    for latitude, expected in zip(
        calendar["latitude"], calendar["initiation"][critical], strict=True
    ):
        induced = flower_at(latitude, 26.2, day_of("06-01"), one(float(critical)))
        assert date_of(np.ceil(induced) + 4) == expected


def test_midwest_dates_against_grower_records():
    """An early variety starts in early to mid August at 41 to 43 °N, as growers reported."""
    midwest = PUBLISHED["midwest"]
    for latitude in midwest["latitude"]:
        day = flower_at(latitude, 24.0, day_of("06-15"), one(midwest["critical"], lag=4.0))
        low, high = (day_of(month_day) for month_day in midwest["initiation"])
        assert low <= day <= high


def test_temperature_response_limits():
    """Nothing at the base and the maximum, all of it at the optimum, one hump between."""
    assert crop.temperature_response(np.array([-5.0, 1.0, 29.0, 41.0, 50.0])) == pytest.approx(
        [0.0, 0.0, 1.0, 0.0, 0.0]
    )
    rise = np.diff(crop.temperature_response(np.linspace(1.0, 29.0, 50)))
    fall = np.diff(crop.temperature_response(np.linspace(29.0, 41.0, 50)))
    assert (rise > 0).all()
    assert (fall < 0).all()


def test_photoperiod_response_limits():
    """Half at the critical day length, more on shorter days, a step where the slope is small."""
    hours = np.array([12.0, 14.0, 16.0])
    gradual, steep = (crop.photoperiod_response(hours, 14.0, slope) for slope in (0.3, 0.01))
    assert gradual[1] == steep[1] == 0.5
    assert (np.diff(gradual) < 0).all()
    assert steep[[0, 2]] == pytest.approx([1.0, 0.0], abs=1e-9)


def test_day_neutral_limits():
    """An infinite critical day length leaves temperature alone to count, at any latitude."""
    plant = one(np.inf, inductive_days=30.0)
    north, south = (flower_at(latitude, 15.0, 60, plant) for latitude in (60.0, 20.0))
    assert north == south == pytest.approx(60 + 30.0 / 0.5)


@given(
    critical=st.floats(13.0, 15.5),
    later=st.floats(0.0, 1.0),
    set_day=st.integers(30, 100),
    inductive_days=st.floats(5.0, 25.0),
)
def test_flower_day_limits(critical, later, set_day, inductive_days):
    """A higher critical day length never flowers later; no lot flowers before it is set."""
    earlier, late = (
        flower_at(40.0, 24.0, set_day, one(hours, inductive_days=inductive_days))
        for hours in (critical + later, critical)
    )
    assert set_day < earlier <= late <= DAYS


def test_never_in_season_limits():
    """A lot that does not flower in the season is given the day after its end."""
    assert flower_at(40.0, 0.5, 60, one(14.5, lag=4.0)) == DAYS


def test_juvenile_phase_limits():
    """380 degree days above 1 °C take 20 days at 20 °C, and only then does day length count."""
    long, warm, row = np.full(DAYS, 11.0), np.full((1, DAYS), 20.0), np.zeros(1, int)
    plant = one(np.inf)
    at_once = crop.flower_day(long, warm, row, 10, plant)[0]
    from_seed = crop.flower_day(long, warm, row, 10, plant, juvenile_heat=380.0)[0]
    assert from_seed - at_once == pytest.approx(20.0)


def test_flower_days_limits():
    """All lots at once are the lots one by one, and each draw reads its own weather."""
    length = day_length(39.0, DAY_OF_YEAR)
    warm = np.array([np.full(DAYS, 20.0), np.full(DAYS, 25.0)])
    row, set_day = np.array([0, 1, 0]), np.array([61, 75])
    fields = (np.full((3, 2), value) for value in (14.5, 0.2, 10.0, 4.0))
    flowering = crop.FloweringDraws(*fields)
    days = crop.flower_days(length, warm, row, set_day, flowering)
    for lot in range(2):
        alone = crop.flower_day(length, warm, row, set_day[lot], flowering.of_lot(lot))
        assert np.array_equal(days[:, lot], alone)
    assert days[0, 0] == days[2, 0] > days[1, 0]


def test_plant_spread_against_homestead_2019():
    """From 10 to 90 % in flower, the spread of a seed lot stands among the four sowings'."""
    spread = crop.PLANT_SPREAD[Stock.SEED]
    span = np.ptp(norm.ppf([0.1, 0.9], scale=spread))
    seen = PUBLISHED["homestead"]["days_10_to_90"]
    assert min(seen) < span < max(seen)
