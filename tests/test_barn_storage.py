"""Bags, store and stripping: mass balance, the isotherm's table, and windows by counting."""

import numpy as np
import pytest

import published_values
from tierpole.barn import storage, targets

PUBLISHED = published_values.load("storage")


def test_bag_activity_against_mass_balance():
    """Ninety pounds of flower at 11 % with ten of stem at 40 % make 13.9 % and no longer keep."""
    bag = PUBLISHED["bag"]
    mixed = targets.mixed_moisture(bag["mass_lb"], bag["moisture"])
    assert float(mixed) == pytest.approx(bag["mixed"], abs=5e-5)
    alone = storage.bag_activity([90.0], [0.11], 25.0)
    together = storage.bag_activity(bag["mass_lb"], bag["moisture"], 25.0)
    assert storage.keeps(alone)
    assert not storage.keeps(together)
    assert together > alone


def test_bag_activity_against_asabe_d245_form():
    """A bag of one part stands at the humidity its moisture is in balance with, to the table's
    rounding."""
    table = PUBLISHED["isotherm"]
    for humidity, moisture in zip(table["humidity"], table["moisture"], strict=True):
        found = storage.bag_activity([1.0], [moisture], table["temperature_c"])
        assert float(found) == pytest.approx(humidity, abs=6e-4)


def test_keeps_limits():
    """Between 0.55 and 0.65, the ends included."""
    assert storage.keeps([0.549, 0.55, 0.60, 0.65, 0.651]).tolist() == [
        False,
        True,
        True,
        True,
        False,
    ]


def test_case_windows_limits():
    """Hours in which half of the draws lie between 12 and 15 %, whole stretches, gone ones out."""
    moisture = np.full((4, 10), 0.20)
    moisture[:2, 3:6] = 0.13
    moisture[:, 5] = 0.14
    moisture[:, 8:] = np.nan
    (found,) = storage.case_windows(1000, moisture)
    assert (found.first_hour, found.last_hour, found.chance) == (1003, 1005, 1.0)
    assert list(storage.case_windows(0, np.full((4, 10), 0.2))) == []


def test_brittle_chance_limits():
    """Counted over the draws, below 9 %."""
    assert storage.brittle_chance([[0.08, 0.2], [0.1, 0.05]]).tolist() == [0.5, 0.5]
