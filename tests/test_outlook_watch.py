"""A place of the demo under watch: what is read moves it, what it tells adds up, and slips show."""

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from outlook_cases import demo
from tierpole.barn.sensors import Trouble
from tierpole.farm import AirReading, StickWeight
from tierpole.outlook import watch as watching
from tierpole.outlook.stowing import elevation
from tierpole.outlook.watched import Batch, past_controls, watched

SEASON = demo()
WORTH = {"Frame": (1300.0,), "Fan shed": (1400.0,)}


@cache
def seen(name):
    return watching._watch(SEASON, 1, name, WORTH[name])


@pytest.mark.parametrize("name", WORTH)
def test_watch_limits(name):
    """Arrays fit the hours, humidity and chances are shares, and what is dry was hung before."""
    found = seen(name)
    assert found is not None
    hours = found.humidity.shape[1]
    assert found.temperature.shape == found.humidity_outside.shape == found.humidity.shape
    assert 0 < found.now < hours
    assert np.all((found.humidity > 0) & (found.humidity <= 1))
    for one in found.hangings:
        assert one.moisture.shape[1] == one.mould.shape[1] == hours
        assert np.nanmin(one.moisture) > 0
        assert np.nanmax(one.moisture) < 1
        assert np.nanmax(one.mould) <= 1
        assert np.all(one.dry_day > SEASON.index(one.hanging.hung_on))
        assert np.all((one.bagged > 0) & (one.bagged <= 1))
        assert 0 <= one.brittle <= 1
    assert found.at_stake == sum(WORTH[name])
    assert found.thinned.mould[1] <= found.thinned.mould[0] + 0.01
    assert found.thinned.days[1] <= found.thinned.days[0] + 0.1


def test_nothing_hangs_and_nothing_is_watched():
    assert watched(SEASON, 1, "Home barn") is None
    assert watching._watch(SEASON, 1, "Home barn", ()) is None


def test_readings_narrow_what_is_not_known():
    """Without gauge, scale and meter the flower's moisture now is less sure."""
    bare = replace(SEASON, readings=(), air_readings=(), stick_weights=())
    read, unread = (watched(season, 1, "Frame") for season in (SEASON, bare))
    assert read is not None
    assert unread is not None
    spread = [
        np.log(found.state.moisture[:, 0, :, 0].mean(axis=1)).std() for found in (read, unread)
    ]
    assert spread[0] < 0.7 * spread[1]


def test_a_weight_in_kilograms_is_named_on_the_demo():
    """The last weight of the Frame typed in kilograms under a heading of pounds."""
    *others, last = [w for w in SEASON.stick_weights if w.place == "Frame"]
    slip: StickWeight = last.model_copy(update={"mass": last.mass * 0.45359237})
    season = replace(SEASON, stick_weights=(*others, slip))
    found = watched(season, 1, "Frame")
    assert found is not None
    assert [one.trouble for one in found.corrected.findings] == [Trouble.KILOGRAMS]
    right = watched(SEASON, 1, "Frame")
    assert right is not None
    now = [f.state.moisture[:, 0, :, 0].mean() for f in (found, right)]
    assert now[0] == pytest.approx(now[1], rel=0.05)


def test_a_missing_night_of_a_logger_is_named():
    """Hourly readings of the shed with a night left out."""
    hours = [(d, h) for d in (1, 2) for h in range(24) if (d, h) < (2, 8)]
    kept = [(d, h) for d, h in hours if not (1, 20) <= (d, h) < (2, 6)]
    logger = tuple(
        AirReading(
            place="Fan shed", read_on=date(2026, 9, d), read_at=f"{h:02d}:00",
            temperature=18 + h / 5, humidity=0.9 - h / 80,
        )
        for d, h in kept
    )  # fmt: skip
    found = watched(replace(SEASON, air_readings=logger), 1, "Fan shed")
    assert found is not None
    gaps = [one for one in found.corrected.findings if one.trouble is Trouble.GAP]
    (gap,) = gaps
    first = gap.first_hour + found.origin - SEASON.index(date(2026, 9, 1)) * 24
    assert (first, gap.last_hour - gap.first_hour + 1) == (20, 10)


def test_controls_are_as_written_down():
    """The shed's fans run day and night from the afternoon on on which that was written."""
    place = SEASON.places[SEASON.place_index("Fan shed")]
    first = SEASON.index(date(2026, 8, 31)) * 24 + 14
    found = past_controls(SEASON, place, first, 48)
    assert np.all(found.fans[1:] == 1)
    assert np.all(found.vents[1:] == 1)
    bare = past_controls(replace(SEASON, airings=()), place, first, 48)
    assert bare.fans.min() < 1


def test_what_is_planned_waits_its_turn():
    """Batches to come leave those that hang as they are, and dry after they are hung."""
    found = watched(SEASON, 1, "Fan shed")
    assert found is not None
    day = SEASON.today + 3
    more = found.with_planned([Batch(place=2, day=day, load=100.0)])
    assert more.state.moisture.shape[1] == found.state.moisture.shape[1] + 1
    outcome = more.finished()
    assert outcome.drying_days.shape[1] == 2
    assert outcome.drying_days[:, 1].min() > 0.5
    # company makes the first batch no drier
    alone = found.finished().drying_days[:, 0]
    assert outcome.drying_days[:, 0].mean() > alone.mean() - 0.1


def test_elevation_limits():
    """What hangs is all there, recorded tiers are kept, and no bay overflows."""
    for name, is_recorded in (("Frame", False), ("Fan shed", True), ("Home barn", True)):
        found = elevation(SEASON, name)
        assert found.is_recorded is is_recorded
        assert [one.total for one in found.stowed] == [h.sticks for h in found.hangings]
        assert np.all(sum((one.sticks for one in found.stowed), 0 * found.room) <= found.room)
    shed = elevation(SEASON, "Fan shed").stowed[0].sticks
    assert shed[2].tolist() == [0, 0, 0, 48, 48]
    assert shed[1].tolist() == [0, 0, 0, 36, 48]


def test_heat_is_advised_only_where_a_listed_vented_heater_is_written():
    """The same heater, said to be listed and vented or not."""
    place = SEASON.places[SEASON.place_index("Fan shed")]
    for is_listed in (False, True):
        heated = place.model_copy(
            update={"heater": 30e3, "is_heater_listed_vented": is_listed, "vent_area": 20.0}
        )
        places = tuple(heated if p.name == place.name else p for p in SEASON.places)
        found = watching._watch(replace(SEASON, places=places), 1, "Fan shed", (5e4,))
        assert found is not None
        tried = {rule.heat_above < 1 for rule, _ in found.advice.scores}
        assert (True in tried) is is_listed
