"""Moist air against two libraries, one real-gas and one of the same handbook."""

import tomllib
from pathlib import Path

import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from tierpole import moist_air

PUBLISHED = tomllib.loads(
    (Path(__file__).parent / "published" / "moist_air.toml").read_text("utf-8")
)
STATES = PUBLISHED["state"]
LIMIT = PUBLISHED["tolerance"]
SEA_LEVEL = 101_325.0

psychrolib.SetUnitSystem(psychrolib.SI)


def label(state):
    return f"{state['temperature']:g}C-{state['humidity']:g}"


@pytest.mark.parametrize("state", STATES, ids=label)
def test_state_against_two_libraries(state):
    """Twelve states, -10 to 60 °C, each property against the column of each library."""
    t, humidity, p = state["temperature"], state["humidity"], state["pressure"]
    ratio = moist_air.humidity_ratio(t, humidity, p)
    saturation = moist_air.saturation_pressure(t)
    assert saturation == pytest.approx(state["saturation"], rel=2e-5)
    assert ratio == pytest.approx(state["ratio"]["coolprop"], rel=LIMIT["ratio_coolprop"])
    assert ratio == pytest.approx(state["ratio"]["psychrolib"], rel=LIMIT["ratio_psychrolib"])
    for library in ("coolprop", "psychrolib"):
        dew = moist_air.dew_point(humidity * saturation)
        heat, volume = moist_air.enthalpy(t, ratio), moist_air.specific_volume(t, ratio, p)
        assert dew == pytest.approx(state["dew_point"][library], abs=LIMIT["dew_point"])
        assert heat == pytest.approx(state["enthalpy"][library], rel=LIMIT["enthalpy"])
        assert volume == pytest.approx(state["volume"][library], rel=LIMIT["volume"])


def grid():
    """Random states over what a barn may see, at the pressures of 0 to 1,000 m."""
    rng = np.random.default_rng(7)
    return rng.uniform(-15, 45, 150), rng.uniform(0.1, 1.0, 150), rng.uniform(9e4, 1.02e5, 150)


def test_humidity_ratio_against_coolprop():
    """The ideal mixture lacks the enhancement factor: up to 0.7 %, never on the wet side."""
    t, humidity, p = grid()
    ratio = moist_air.humidity_ratio(t, humidity, p)
    real = np.array(
        [
            HAPropsSI("W", "T", a + 273.15, "R", b, "P", c)
            for a, b, c in zip(t, humidity, p, strict=True)
        ]
    )
    departure = ratio / real - 1
    assert departure.min() > -LIMIT["ratio_coolprop"]
    assert departure.max() < 1e-4


def test_humidity_ratio_against_psychrolib():
    """The same handbook equations in another program, over random states."""
    t, humidity, p = grid()
    rows = zip(t, humidity, p, strict=True)
    expected = [psychrolib.GetHumRatioFromRelHum(*row) for row in rows]
    assert moist_air.humidity_ratio(t, humidity, p) == pytest.approx(expected, rel=1e-6)


def test_mixture_properties_against_psychrolib():
    """Dew point, enthalpy, volume, density and relative humidity over random states."""
    t, humidity, p = grid()
    ratio = moist_air.humidity_ratio(t, humidity, p)
    rows = list(zip(t, ratio, p, strict=True))
    dew = [psychrolib.GetTDewPointFromHumRatio(*row) for row in rows]
    heat = [psychrolib.GetMoistAirEnthalpy(a, w) for a, w, _ in rows]
    volume = [psychrolib.GetMoistAirVolume(*row) for row in rows]
    mass = [psychrolib.GetMoistAirDensity(*row) for row in rows]
    assert moist_air.dew_point(moist_air.vapour_pressure(ratio, p)) == pytest.approx(dew, abs=2e-3)
    assert moist_air.enthalpy(t, ratio) == pytest.approx(heat, rel=1e-9)
    assert moist_air.specific_volume(t, ratio, p) == pytest.approx(volume, rel=1e-5)
    assert moist_air.density(t, ratio, p) == pytest.approx(mass, rel=1e-5)
    assert moist_air.relative_humidity(t, ratio, p) == pytest.approx(humidity, rel=1e-12)


def test_station_pressure_against_psychrolib():
    """The standard atmosphere from the sea to a mountain farm."""
    for height in (0.0, 150.0, 600.0, 1800.0):
        expected = psychrolib.GetStandardAtmPressure(height)
        assert moist_air.station_pressure(height) == pytest.approx(expected, rel=1e-6)


def test_wet_barn_air_sinks_limits():
    """Air cooled by evaporation is heavier although it carries more vapour.

    25 °C and 60 % taken to 90 % along its wet bulb is 20.6 °C: virtual temperature 27.1 to 23.0 °C.
    """
    outside = moist_air.humidity_ratio(25.0, 0.60, SEA_LEVEL)
    inside = moist_air.humidity_ratio(20.6, 0.90, SEA_LEVEL)
    wet = [psychrolib.GetTWetBulbFromRelHum(*air, SEA_LEVEL) for air in ((20.6, 0.9), (25.0, 0.6))]
    assert wet[0] == pytest.approx(wet[1], abs=0.05)
    assert moist_air.virtual_temperature(25.0, outside) == pytest.approx(27.1, abs=0.1)
    assert moist_air.virtual_temperature(20.6, inside) == pytest.approx(23.0, abs=0.1)
    assert moist_air.density(20.6, inside, SEA_LEVEL) > moist_air.density(25.0, outside, SEA_LEVEL)
    # density and virtual temperature tell the same story through the gas law
    virtual = moist_air.virtual_temperature(25.0, outside) + 273.15
    assert moist_air.density(25.0, outside, SEA_LEVEL) == pytest.approx(
        SEA_LEVEL / 287.042 / virtual
    )


def test_saturation_limits():
    """Ice up to and at 0 °C, water above it, rising throughout and nearly meeting at 0 °C."""
    below, above = moist_air.saturation_pressure([-1e-9, 1e-9])
    assert moist_air.saturation_pressure(0.0) == pytest.approx(below, rel=1e-8)
    assert above == pytest.approx(below, rel=2e-4)
    assert (np.diff(moist_air.saturation_pressure(np.linspace(-40, 60, 400))) > 0).all()
    # dew point and air temperature stand in this order, and meet in saturated air
    t, humidity, _ = grid()
    assert (moist_air.dew_point(humidity * moist_air.saturation_pressure(t)) <= t + 1e-9).all()
    assert moist_air.dew_point(moist_air.saturation_pressure(12.0)) == pytest.approx(12.0, abs=1e-6)
