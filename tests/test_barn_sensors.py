"""Troubles of readings, each made on purpose and found by name; and nothing found in good ones."""

import numpy as np
import pytest

from tierpole.barn import sensors
from tierpole.barn.sensors import Trouble
from tierpole.units import POUND


def a_week(seed=0):
    """A logger's week: warm dry days, cool damp nights, in tenths."""
    hour = np.arange(3000, 3000 + 168)
    noise = np.random.default_rng(seed).normal(0, 0.3, (2, hour.size))
    wave = np.sin(2 * np.pi * hour / 24)
    return hour, np.round(18 + 6 * wave + noise[0], 1), np.round(0.75 - 0.2 * wave, 3)


def test_good_readings_show_no_trouble():
    series = sensors.air_series(*a_week())
    marked, found = sensors.stuck(series)
    assert not marked.any()
    assert found == []
    assert list(sensors.gaps(series.hour)) == []


def test_readings_within_an_hour_are_averaged_in_any_order():
    series = sensors.air_series([7, 5, 5], [20, 10, 12], [0.5, 0.8, 0.6])
    assert series.hour.tolist() == [5, 7]
    assert series.temperature.tolist() == [11, 20]
    assert series.humidity == pytest.approx([0.7, 0.5])
    assert len(sensors.air_series([], [], [])) == 0


def test_a_missing_night_is_told_with_its_hours():
    hour, warm, damp = a_week()
    kept = (hour < 3040) | (hour > 3049)
    (found,) = sensors.gaps(sensors.air_series(hour[kept], warm[kept], damp[kept]).hour)
    assert (found.trouble, found.first_hour, found.last_hour) == (Trouble.GAP, 3040, 3049)


def test_a_stuck_sensor_is_told_and_fog_is_not():
    hour, warm, damp = a_week()
    damp[30:60] = 0.83
    marked, (found,) = sensors.stuck(sensors.air_series(hour, warm, damp))
    assert (found.trouble, found.what, found.value) == (Trouble.STUCK, "humidity", 0.83)
    assert (found.first_hour, found.last_hour) == (3030, 3059)
    assert marked.sum() == 30
    damp[30:60] = 1.0
    assert sensors.stuck(sensors.air_series(hour, warm, damp))[1] == []
    warm[10:20] = 15.0  # ten hours only
    assert sensors.stuck(sensors.air_series(hour, warm, damp))[1] == []


@pytest.mark.parametrize(
    ("written", "trouble"),
    [(9.0, None), (9.0 * POUND, Trouble.KILOGRAMS), (9.0 / POUND, Trouble.POUNDS), (60.0, None)],
)
def test_unit_slip_names_the_unit(written, trouble):
    """A weight in the other unit, against a forecast of 9 kg give or take half."""
    predicted = np.random.default_rng(1).normal(9.0, 0.5, 200)
    assert sensors.unit_slip(written, predicted, 0.14, 4.0) is trouble


def test_drift_variance_limits():
    """Twice the time, twice the variance; wetting makes it worse; at once nothing."""
    dry, wet = sensors.drift_variance([0.7, 0.99], 24)
    assert wet > dry > 0
    assert sensors.drift_variance(0.7, 48) == pytest.approx(2 * dry)
    assert sensors.drift_variance(0.99, 0) == 0


def test_a_failing_heater_is_told():
    hour = np.arange(100, 124)
    foretold = np.full(24, 18.0)
    heated = hour >= 110
    cold = np.where(hour >= 112, 11.0, 18.2)
    found = sensors.heater_finding(hour, cold, foretold, heated)
    assert found is not None
    assert (found.trouble, found.first_hour, found.last_hour) == (Trouble.HEATER, 112, 123)
    assert (found.value, found.likely) == (11.0, 18.0)
    assert sensors.heater_finding(hour, foretold - 1, foretold, heated) is None
    assert sensors.heater_finding(hour, cold, foretold, np.zeros(24, bool)) is None
