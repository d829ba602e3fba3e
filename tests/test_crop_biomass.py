"""Plant mass against worked values and a trial statement."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import published_values
from tierpole import crop
from tierpole.units import ACRE, POUND

PUBLISHED = published_values.load("biomass")


def test_course_against_worked_values():
    """Mass at 28, 56 and 70 days of flowering: rising, then level."""
    course = PUBLISHED["course"]
    share = crop.mass_course(np.array(course["days"]))
    assert share * course["mass_g"][-1] == pytest.approx(course["mass_g"], abs=0.6)


def test_density_against_worked_values_and_georgia():
    """Mass a plant and an acre; the usual spacing falls inside what Georgia reported."""
    density = PUBLISHED["density"]
    an_acre = np.array(density["plants_per_acre"])
    mass = crop.mass_at_density(an_acre / ACRE)
    assert mass == pytest.approx(density["mass_kg"], abs=6e-4)
    assert mass * an_acre == pytest.approx(density["mass_kg_per_acre"], abs=1.0)
    low, high = density["georgia"]
    assert low <= mass[0] * an_acre[0] / POUND <= high


@given(st.floats(0.1, 3.0), st.floats(1.001, 3.0))
def test_density_limits_against_linder_2022(density, ratio):
    """Closer spacing: lighter plants, heavier acre."""
    wide, close = crop.mass_at_density(density), crop.mass_at_density(density * ratio)
    assert close < wide
    assert close * density * ratio > wide * density


def test_delay_against_linder_2022():
    """20 days of delay take 128 g from a 369 g plant."""
    delay = PUBLISHED["delay"]
    left = crop.mass_after_delay(np.array([delay["mass_g"] / 1000]), delay["days_late"])
    assert left * 1000 == pytest.approx(delay["left_g"], abs=0.5)


def test_delay_limits():
    """However late, a quarter is left."""
    assert crop.mass_after_delay(np.array([0.4]), 200.0) == pytest.approx(0.1)


def test_leaf_share_limits():
    """Leaf share falls as flower loads (common practice), and is 0.22 : 0.40 at 49 days."""
    share = crop.leaf_share(np.arange(0.0, 90.0))
    assert (np.diff(share) < 0).all()
    assert share[0] == 1.0
    assert share[49] == pytest.approx(0.22 / 0.62)
