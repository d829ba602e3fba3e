"""Bays, lots kept apart, what blocks what, fillings, rails: against counted barns and by order."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import published_values
from tierpole.barn import geometry, room
from tierpole.farm import Place
from tierpole.units import ACRE, FOOT, POUND

INCH = FOOT / 12
CAPACITY = published_values.load("capacity")


def a_place(**changes):
    """A barn of ten runs and three tiers."""
    size = {
        "name": "Barn", "kind": "air-cured barn", "tiers": 3, "runs": 10, "run_length": 64 * FOOT,
        "stick_spacing": 18 * INCH, "volume": 1450.0,
    }  # fmt: skip
    return Place(**(size | changes))


def test_bays_against_killebrew_and_myrick():
    """Six across and five high at 8 in: the bays of the dark barn add up to its 1,080 sticks."""
    barn = CAPACITY["dark_barn"]
    place = a_place(
        tiers=barn["tiers"], runs=barn["runs"], run_length=barn["run_ft"] * FOOT,
        stick_spacing=barn["spacing_in"] * INCH, bents=2,
    )  # fmt: skip
    found = room.bays(place)
    assert found.shape == (5, 2)
    assert found.sum() == barn["sticks"]
    assert np.all(found == found[0, 0])


@given(
    st.integers(1, 6), st.integers(1, 12), st.floats(8, 100), st.floats(6, 30),
    st.integers(0, 3_000), st.integers(0, 4), st.booleans(), st.booleans(),
)  # fmt: skip
def test_bays_limits(tiers, runs, length, spacing, keep_out, aisle, top, bottom):
    """Bays hold no fewer than none, nothing where it is kept free, and add up to the capacity."""
    place = a_place(
        tiers=tiers, runs=runs, run_length=length * FOOT, stick_spacing=spacing * INCH,
        keep_out=keep_out, aisle_runs=aisle, is_top_free=top, is_bottom_free=bottom,
    )  # fmt: skip
    found = room.bays(place)
    assert found.min() >= 0
    assert found.sum() == geometry.place_capacity(place)
    if bottom:
        assert not found[0].any()
    if top:
        assert not found[-1].any()


def test_acres_of_against_counting():
    """Hemp in the 64 x 40 ft barn, every other tier, two plants a stick at 12 in: 2.4 acres at
    1,600 plants an acre (counted in the capacity test's own barn)."""
    barn = CAPACITY["wide_barn"]
    place = a_place(run_length=barn["run_ft"] * FOOT, stick_spacing=12 * INCH)
    sticks = geometry.place_capacity(place)
    assert sticks * 2 == 3840
    acres = room.acres_of(sticks, 2, 1600 / ACRE) / ACRE
    assert float(acres) == pytest.approx(2.4)


@given(st.lists(st.integers(1, 400), min_size=1, max_size=6), st.integers(1, 8))
def test_stow_limits(sticks, bents):
    """Nothing is lost while there is room, no bay overflows, and lots share a bent only when
    every bent has one."""
    place = a_place(bents=bents)
    bays = room.bays(place)
    lots = [f"lot {n}" for n in range(len(sticks))]
    stowed = room.stow(bays, lots, sticks)
    filled = sum(one.sticks for one in stowed)
    assert np.all(filled <= bays)
    assert filled.sum() == min(sum(sticks), bays.sum())
    holders = [{one.lot for one in stowed if one.sticks[:, bent].any()} for bent in range(bents)]
    if any(len(held) > 1 for held in holders):
        assert all(holders)


def test_stow_fills_from_the_far_end_downwards():
    """The first sticks hang in the top bay farthest from the door."""
    bays = np.full((2, 3), 10)
    first, second = room.stow(bays, ["a", "b"], [15, 5])
    assert first.sticks.tolist() == [[0, 0, 5], [0, 0, 10]]
    assert second.sticks.tolist() == [[0, 0, 0], [0, 5, 0]]


def test_a_lot_at_the_door_blocks_what_is_ready_before_it():
    """Only without an aisle, and only when it stays longer."""
    inner, outer = room.stow(np.full((2, 3), 10), ["a", "b"], [20, 20])
    assert room.blocked([inner, outer], [5, 9], has_aisle=False) == [room.Blocked("a", "b")]
    assert room.blocked([inner, outer], [9, 5], has_aisle=False) == []
    assert room.blocked([inner, outer], [5, 9], has_aisle=True) == []
    assert room.order_to_empty([inner, outer], [9, 5]) == [1, 0]
    assert room.order_to_empty([inner, outer], [5.1, 5.9]) == [1, 0]


def test_filled_in_the_right_order_nothing_blocks():
    """What dries last goes in first."""
    ready = np.array([4.0, 9.0, 6.0])
    order = room.order_to_fill(ready)
    assert order == [1, 2, 0]
    stowed = room.stow(np.full((2, 4), 10), [f"lot {n}" for n in order], [20, 20, 20])
    assert room.blocked(stowed, ready[order], has_aisle=False) == []


@pytest.mark.parametrize("row", CAPACITY["rail"]["rows"], ids=lambda r: f"{r['spacing_in']:g} in")
def test_rail_share_against_statics(row):
    """Load over limit, both in pounds a foot; and nothing at all without a limit."""
    place = a_place(stick_spacing=row["spacing_in"] * INCH, rail_limit=60 * POUND / FOOT)
    share = room.rail_share(place, row["stick_lb"] * POUND)
    assert float(share) == pytest.approx(row["load_lb_ft"] / 60)
    assert room.rail_share(a_place(), row["stick_lb"] * POUND) is None


def test_filling_days_limits():
    """Ten days each with a day between: three fillings in a month, fewer when it dries slower,
    none when it is free too late."""
    days = np.full((2, 100), 10.0)
    days[1] = 25.0
    ready = room.filling_days(0, days, 29, turn=1)
    assert ready[0].tolist() == [10, 21, 32]
    assert ready[1, :2].tolist() == [25, 51]
    assert np.isnan(ready[1, 2])
    assert room.filling_days(30, days, 29).shape == (2, 0)
