"""Quantities as written: exact factors, round-trips, refusals."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tierpole.units import KINDS, read_quantity, show, to_unit, write_quantity

# NIST Special Publication 811 (2008), appendix B.8, conversion factors; exact ones in bold there
# (values from memory of the printed table).
NIST_811 = [
    ("1 acre", "an area", 4046.873, 5e-6),  # printed for the US survey foot, 4 ppm larger
    ("1 ft", "a length", 0.3048, 0),
    ("1 in", "a length", 0.0254, 1e-15),
    ("1 lb", "a mass", 0.45359237, 0),
    ("1 oz", "a mass", 0.02834952, 2e-7),
    ("1 ft3", "a volume", 0.02831685, 2e-7),
    ("212 F", "a temperature", 100.0, 1e-12),
    ("1 Btu/h", "power", 0.2930711, 1e-6),
]


@pytest.mark.parametrize(("written", "kind", "expected", "tolerance"), NIST_811)
def test_factors_against_nist_sp811(written, kind, expected, tolerance):
    """Factors agree with NIST SP 811 appendix B.8 to the digits printed there."""
    assert read_quantity(written, kind) == pytest.approx(expected, rel=tolerance or 1e-15)


@pytest.mark.parametrize(
    ("written", "kind", "same_as"),
    [
        ("2 1/2 ft", "a length", "2.5 ft"),
        ("3/4 acre", "an area", "0.75 acre"),
        ("1,200 lb", "a mass", "1200 lb"),
        ("18in", "a length", "18 in"),
        ("46°F", "a temperature", "46 F"),
        ("-4 F", "a temperature difference", "−4 F"),
        ("$1.40/point/lb", "a price a point", "1.4 USD/point/lb"),
    ],
)
def test_written_forms_limits(written, kind, same_as):
    """The ways a person writes one quantity read as one number."""
    assert read_quantity(written, kind) == read_quantity(same_as, kind)


@pytest.mark.parametrize(
    ("written", "kind", "says"),
    [
        ("2.5", "an area", "it has no unit"),
        ("2.5 lb", "an area", "'lb' is not a unit of an area"),
        ("acre", "an area", "no number can be read in it"),
        ("1/0 acre", "an area", "a zero below the line"),
        ("", "a mass", "no number can be read in it"),
        ("nan lb", "a mass", "no number can be read in it"),
    ],
)
def test_refusals_limits(written, kind, says):
    """What is not a quantity is refused with the reason."""
    with pytest.raises(ValueError, match=says):
        read_quantity(written, kind)


@given(
    st.sampled_from(sorted(KINDS)),
    st.floats(-1e9, 1e9, allow_nan=False),
    st.sampled_from(["us", "metric"]),
)
def test_round_trip_limits(kind, value, system):
    """Writing and reading again gives the same SI number to rounding."""
    again = read_quantity(write_quantity(value, kind, system), kind)
    assert again == pytest.approx(value, rel=1e-9, abs=1e-6)


def test_a_point_of_cbd_is_a_hundredth_of_the_mass_limits():
    """$1.40 a point a pound at 6.5 % and 1,800 lb is what the trade's sum gives."""
    price = read_quantity("1.50 USD/point/lb", "a price a point")
    mass = read_quantity("1800 lb", "a mass")
    assert price * mass * 0.065 == pytest.approx(17_550)  # 6.5 x 1,800 x 1.50


def test_show_rounds_for_reading():
    """Shown numbers carry three digits, a unit, and no false precision."""
    assert show(10117.141056, "an area") == "2.5 acre"
    assert show(0.0034, "a share") == "0.34%"
    assert show(0.0, "a temperature") == "32 °F"
    assert to_unit(0.0, "a temperature", "metric") == (0.0, "C")
