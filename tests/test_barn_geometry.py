"""Room in sticks, plants to a stick, rails, against published barns and statics."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tierpole.barn import geometry
from tierpole.farm import Place
from tierpole.units import FOOT, POUND

PUBLISHED = tomllib.loads(
    (Path(__file__).parent / "published" / "capacity.toml").read_text("utf-8")
)
INCH = FOOT / 12
POUND_FORCE = POUND * 9.80665


def test_stick_capacity_against_killebrew_and_myrick():
    """The 24 ft dark-tobacco barn of 1897 holds 1,080 sticks under the roof."""
    barn = PUBLISHED["dark_barn"]
    run, spacing = barn["run_ft"] * FOOT, barn["spacing_in"] * INCH
    assert geometry.sticks_per_run(run, spacing) == barn["per_run"]
    assert geometry.stick_capacity(run, spacing, barn["runs"], barn["tiers"]) == barn["sticks"]


def test_sticks_per_run_against_field_frame():
    """Frame sections to the stick where the printed table rounds down, one less where up."""
    frame = PUBLISHED["field_frame"]
    run = frame["rows"] * frame["section_ft"] * FOOT
    ours = geometry.sticks_per_run(run, np.array(frame["spacing_in"]) * INCH)
    assert (np.array(frame["sticks"]) - ours).tolist() == [0, 0, 1, 0]


def test_stick_capacity_against_counting():
    """A 64 x 40 ft barn at three spacings, and its tiers used every other one for hemp."""
    barn = PUBLISHED["wide_barn"]
    run, spacing = barn["run_ft"] * FOOT, np.array(barn["spacing_in"]) * INCH
    room = geometry.stick_capacity(run, spacing, barn["runs"], barn["tiers"])
    assert room.tolist() == barn["sticks"]
    hemp = barn["hemp"]
    place = Place(
        name="Home barn", kind="air-cured barn", tiers=hemp["tiers"], runs=barn["runs"],
        run_length=run, stick_spacing=hemp["spacing_in"] * INCH, volume=1450.0,
    )  # fmt: skip
    assert geometry.place_capacity(place) == hemp["sticks"]
    assert geometry.place_capacity(place.model_copy(update={"keep_out": 60})) == hemp["sticks"] - 60


@pytest.mark.parametrize("row", PUBLISHED["plants"]["rows"], ids=lambda r: f"{r['green_lb']:g} lb")
def test_plants_per_stick_against_trade_habit(row):
    """Big plants go one to a stick; only those no stick carries need breaking up."""
    green = row["green_lb"] * POUND
    assert geometry.plants_per_stick(green) == row["plants"]
    assert geometry.needs_sectioning(green) == (row["green_lb"] > 25)


@given(st.floats(0.2, 40), st.floats(1.01, 3))
def test_plants_per_stick_limits(green, factor):
    """Heavier plants never go more to a stick, and a full stick stays near its usual weight."""
    few, many = geometry.plants_per_stick([green * factor, green])
    assert 1 <= few <= many <= 5
    if 1 < many < 5:
        assert 12 * POUND <= many * green <= 25 * POUND


@pytest.mark.parametrize("row", PUBLISHED["rail"]["rows"], ids=lambda r: f"{r['spacing_in']:g} in")
def test_rail_load_against_statics(row):
    """Pounds on each foot of an inner rail and on a 12 ft span; an edge rail carries half."""
    spacing, stick = row["spacing_in"] * INCH, row["stick_lb"] * POUND
    load = geometry.rail_load(stick, spacing)
    span = PUBLISHED["rail"]["span_ft"] * FOOT
    assert load * FOOT / POUND_FORCE == pytest.approx(row["load_lb_ft"], rel=1e-9)
    assert load * span / POUND_FORCE == pytest.approx(row["span_load_lb"], rel=1e-9)
    assert geometry.rail_load(stick, spacing, rail_sides=1) == pytest.approx(load / 2)


@given(
    st.integers(1, 60),
    st.integers(1, 12),
    st.floats(2, 60),
    st.floats(0.1, 1.5),
    st.integers(0, 500),
)
def test_stick_capacity_limits(runs, tiers, length, spacing, keep_out):
    """Sticks are whole, never fewer than none, and never closer than the spacing."""
    room = geometry.stick_capacity(length, spacing, runs, tiers, keep_out)
    full = geometry.stick_capacity(length, spacing, runs, tiers)
    assert room == max(full - keep_out, 0)
    assert geometry.sticks_per_run(length, spacing) * spacing <= length * (1 + 1e-8)
