"""Field losses against worked values, extension statements and the laws of disease progress."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

import published_values
from tierpole import crop

PUBLISHED = published_values.load("losses")
DAYS = 120


def celsius(fahrenheit):
    return (np.asarray(fahrenheit, float) - 32.0) / 1.8


def loss_draws(count=4, seed=5):
    return crop.draw_losses(count, np.random.default_rng(seed))


def weather(night=8.0, hours_wet=10.0, temperature_wet=16.0):
    return crop.FieldWeather.of(
        *(np.full((1, DAYS), value) for value in (night, hours_wet, temperature_wet))
    )


def losses(weather_of_field, draws):
    count = draws.frost_half.size
    days_flowering = np.tile(np.arange(DAYS) - 20.5, (count, 1))
    return crop.field_loss(days_flowering, weather_of_field, np.zeros(count, int), draws)


def test_frost_against_worked_values():
    """Damage of a night at five temperatures from 29 to 24 °F."""
    frost = PUBLISHED["frost"]
    damage = crop.frost_damage(celsius(frost["night_f"]), celsius(frost["half_f"]), 1.0)
    assert damage == pytest.approx(frost["damage"], abs=1e-3)


def test_frost_against_extension_bands():
    """Of the most a night can do: next to nothing, some, and heavy damage, band by band."""
    bands, half = PUBLISHED["frost_bands"], celsius(PUBLISHED["frost"]["half_f"])
    assert (crop.frost_damage(celsius(bands["tolerated_f"]), half, 1.0) < 0.05).all()
    middle = crop.frost_damage(celsius(np.mean(bands["damaged_f"])), half, 1.0)
    assert 0.05 < middle < 0.5
    assert (crop.frost_damage(celsius(bands["heavy_f"]), half, 1.0) > 0.8).all()


def test_infection_against_broome_1995():
    """Index and infection of five wet events; ours less the baseline of a dry one."""
    for hours, temperature, index, infection in PUBLISHED["infection"]["rows"]:
        z = crop.infection_index(hours, temperature)
        assert z == pytest.approx(index, abs=6e-4)
        assert 1 / (1 + np.exp(-z)) == pytest.approx(infection, abs=6e-4)
        if temperature >= 12:
            dry = PUBLISHED["infection"]["dry"]
            ours = crop.infection_grey_mould(np.array([hours]), np.array([temperature]))
            assert ours == pytest.approx([infection - dry], abs=1e-3)


def test_infection_against_bulger_1987():
    """Strawberry flowers too are infected most at about 20 °C, for every duration."""
    strawberry = PUBLISHED["strawberry"]
    temperature = np.linspace(0.0, 40.0, 401)
    low, high = strawberry["best"]
    for hours in strawberry["hours"]:
        infection = crop.infection_grey_mould(np.full_like(temperature, hours), temperature)
        assert low <= temperature[infection.argmax()] <= high


@given(st.floats(-10.0, 45.0), st.floats(0.0, 24.0), st.floats(0.0, 24.0))
def test_infection_limits(temperature, hours, more):
    """None when dry, cold or hot; never less for a longer event where mould can grow."""

    def infection(wet):
        return float(crop.infection_grey_mould(np.array(wet), np.array(temperature)))

    assert infection(0.0) == 0.0
    assert 0.0 <= infection(hours) <= infection(hours + more) + 1e-12 <= 1.0
    if temperature <= 8.0 or temperature >= 34.0:
        assert infection(24.0) == 0.0


def test_disease_progress_against_ode_solver():
    """Day-by-day closed form against scipy's integration of dx/dt = (a + g x)(1 - x)."""
    rng = np.random.default_rng(2)
    new, growth = rng.uniform(0.0, 0.02, 60), rng.uniform(0.0, 0.15, 60)
    new[:10] = growth[5:8] = 0.0

    def slope(_, rotten, a, g):
        return (a + g * rotten) * (1.0 - rotten)

    solved = [0.0]
    for rates in zip(new, growth, strict=True):
        day = solve_ivp(slope, (0, 1), solved[-1:], args=rates, rtol=1e-9, atol=1e-12)
        solved.append(day.y[0, -1])
    assert crop.disease_progress(new, growth) == pytest.approx(solved[1:], abs=1e-7)


def test_disease_progress_limits():
    """Without new infection nothing rots, however wet; the share never passes 1."""
    growth = np.full(200, 0.15)
    assert np.array_equal(crop.disease_progress(np.zeros(200), growth), np.zeros(200))
    assert crop.disease_progress(np.full(200, 0.5), growth)[-1] <= 1.0


def test_susceptibility_limits():
    """None before three weeks of flowering, full from seven on."""
    open_flower = crop.susceptibility(np.array([-5.0, 21.0, 35.0, 49.0, 80.0]))
    assert open_flower == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0])


@settings(max_examples=30)
@given(st.floats(-12.0, 15.0), st.floats(0.0, 24.0), st.floats(0.0, 30.0), st.integers(0, 1000))
def test_field_loss_limits(night, hours, temperature, seed):
    """Every cause and their sum lie in 0..1 and never fall; nothing is lost before flowering."""
    loss = losses(weather(night, hours, temperature), loss_draws(3, seed))
    for share in (loss.frost, loss.mould, loss.caterpillars, loss.shatter, loss.total):
        assert ((share >= 0.0) & (share <= 1.0)).all()
        assert (np.diff(share, axis=1) >= -1e-12).all()
        assert (share[:, :20] == 0.0).all()
    assert (loss.total >= loss.besides_frost - 1e-12).all()
    assert (loss.total <= loss.frost + loss.besides_frost + 1e-12).all()


def test_hollow_limits():
    """A field whose nights are colder than the station's loses more to frost, and so to mould."""
    station, draws = weather(night=-1.0), loss_draws()
    ridge, hollow = losses(station, draws), losses(station.in_field(-3.0), draws)
    assert (hollow.frost[:, -1] > ridge.frost[:, -1]).all()
    assert (hollow.mould[:, -1] > ridge.mould[:, -1]).all()


def test_wounds_limits():
    """Caterpillars let mould in: twice to three times as much of it while little is rotten."""
    draws = replace(loss_draws(), mould_rate=np.full(4, 1e-5), mould_growth=np.zeros(4))
    none, many = (
        losses(weather(), replace(draws, caterpillar_loss=np.full(4, loss))) for loss in (0.0, 0.10)
    )
    ratio = many.mould[:, -1] / none.mould[:, -1]
    assert ((ratio > 2.0) & (ratio < 2.6)).all()
