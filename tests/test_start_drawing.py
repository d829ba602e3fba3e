"""Fields drawn by their corners, and how far the station lies, against figures of others."""

from __future__ import annotations

import math
from contextlib import suppress
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from published_values import load
from tierpole.office.start.drawing import (
    SQUARES,
    NoFieldError,
    draft,
    polygon_area,
    read_corners,
)
from tierpole.office.start.sphere import COEFFICIENTS, great_circle
from tierpole.units import ACRE, FOOT

AREAS, DISTANCES = load("start")["area"], load("start")["distance"]


@pytest.mark.parametrize("row", AREAS, ids=lambda row: row["what"])
def test_area_against_land_measure(row):
    """An acre and forty acres as land measure defines them: NIST Handbook 44, BLM Manual 2009."""
    assert read_corners(row["corners"]).area / ACRE == pytest.approx(row["acres"], rel=1e-12)


@pytest.mark.parametrize("row", DISTANCES, ids=lambda row: row["what"])
def test_distance_against_aviation_formulary(row):
    """The worked example of Williams' Aviation Formulary."""
    found = great_circle(*row["from"], *row["to"]) / COEFFICIENTS["radius"]
    assert found == pytest.approx(row["radians"], abs=2e-6)


@given(st.integers(3, 12), st.integers(0, 10_000))
def test_area_against_qhull(count, seed):
    """Qhull's area of a convex field, wherever its stake stands (scipy.spatial.ConvexHull)."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(-300, 300, (count, 2)) + rng.uniform(-4_000, 4_000, 2)
    hull = ConvexHull(points)
    corners = points[hull.vertices]
    assert polygon_area(*corners.T) == pytest.approx(hull.volume, rel=1e-9)
    assert polygon_area(*corners[::-1].T) == pytest.approx(hull.volume, rel=1e-9)


@given(st.lists(st.integers(1, 9), min_size=2, max_size=8))
def test_area_against_pick(heights):
    """Pick 1899: area = inside + edge/2 - 1, counted on the squares of a field of steps."""
    steps = [(x, y) for n, height in enumerate(heights) for x, y in ((n, height), (n + 1, height))]
    corners = [(0, 0), *steps, (len(heights), 0)]
    inside = sum(min(pair) - 1 for pair in pairwise(heights))  # on each line between columns
    sides = pairwise([*corners, corners[0]])
    edge = sum(math.gcd(abs(a[0] - b[0]), abs(a[1] - b[1])) for a, b in sides)
    text = "; ".join(f"{10 * x}, {10 * y}" for x, y in corners)
    # a step of no height repeats a corner, which adds nothing
    assert read_corners(text).area / (10 * FOOT) ** 2 == pytest.approx(inside + edge / 2 - 1)


def test_legs_limits():
    """Bearings, winds and metres say the same; legs that miss the first corner say by how much."""
    square = read_corners("0, 0\n0, 100\n100, 100\n100, 0")
    turned = "N 0 E 100 ft; S 90 E 100; S 0 W 30.48 m; N 90 W 100"
    for legs in ("N 100; E 100; S 100; W 100", turned):
        walked = read_corners(legs)
        assert walked.area == pytest.approx(square.area)
        assert walked.gap == pytest.approx(0, abs=1e-9)
    missed = read_corners("N 100; E 100; S 100; W 97")
    assert missed.gap == pytest.approx(3 * FOOT)
    corner = read_corners("NE 141.421356; S 100").corners
    assert corner[1] == pytest.approx((100 * FOOT, 100 * FOOT))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("0,0; 1,1", "three corners or more"),
        ("0,0; 100,100; 100,0; 0,100", "sides that do not cross; side 1 crosses side 3"),
        ("0,0; 1e9,1; 2,2", 'corners such as "120, 80"'),
        ("0,0; 99999999,1; 2,2", "no more than 3 miles"),
        ("N 100; NN 3", "towards N, NE, E"),
        ("N 120 E 100; S 3", "turned 0 to 90 degrees from N"),
        ("N 100; E far", "a direction and a length"),
        ("1,1;" * 40, "at most 30 corners"),
    ],
)
def test_corners_that_make_no_field(text, told):
    with pytest.raises(NoFieldError, match=told):
        read_corners(text)


@given(st.text(alphabet="NSEW0123456789.,;- \n°ft\u0660", max_size=60))
def test_any_text_is_drawn_or_refused(text):
    """Whatever is written, there is paper; a field has an area of its own."""
    paper = draft(text)
    assert paper.feet in SQUARES
    assert all(0 <= x <= paper.wide and 0 <= y <= paper.high for x, y in paper.corners)
    with suppress(NoFieldError):
        assert math.isfinite(read_corners(text).area)
