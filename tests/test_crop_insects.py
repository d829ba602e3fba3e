"""Insects by warmth: a season's count, what stands in for a gap, and how soon a stage comes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from tierpole.crop import insects
from tierpole.crop.insects import CORN_BORER, INSECTS, warmth_of
from tierpole.office.views.scout import NO_COUNT, scout_lines
from tierpole.scenario import demo_path, read_scenario
from tierpole.weather import DailyRecord, Station
from tierpole.weather import degree_days_clipped as clipped

STATION = Station("T", "Test", 39.0, -84.0, 200.0)


def steady(first, last, fahrenheit):
    """A record of one temperature, day and night."""
    days = np.arange(first, last, dtype="datetime64[D]")
    even = np.full(len(days), (fahrenheit - 32) / 1.8)
    return DailyRecord(STATION, days, even, even, 0 * even, np.zeros(len(days), bool))


def test_earworm_against_hartstack():
    """Eggs and small larvae take 220 °F d (Hartstack et al. 1976): 11 days at 20 a day."""
    past = steady("2020-01-01", "2024-01-01", 54.7 + 20)
    found = warmth_of(insects.earworm, past, past, date(2024, 7, 1))
    assert found.days_to(INSECTS["earworm_reach"]).tolist() == [11.0] * 4


def test_corn_borer_against_plain_sums():
    """A year's count is the sum of the days before; a gap has the mean of the other years."""
    past, this = steady("2020-01-01", "2022-01-01", 60), steady("2022-03-01", "2022-12-31", 70)
    gap = this.t_min.copy()
    gap[10:20] = np.nan
    found = warmth_of(insects.corn_borer, past, replace(this, t_min=gap), date(2022, 5, 1))
    assert found.so_far * 1.8 == pytest.approx(59 * 10 + 10 * 10 + 51 * 20)
    assert clipped(60.0, 85.0, 50.0, 86.0) == 22.5  # Iowa State's own example
    assert insects.corn_borer((60.0 - 32) / 1.8, (85.0 - 32) / 1.8) * 1.8 == pytest.approx(22.5)


def test_stages_limits():
    """Stages follow each other; what does not come that year comes never."""
    warmth = [INSECTS[stage] for stage in CORN_BORER]
    assert warmth == sorted(warmth)
    past = steady("2020-01-01", "2022-01-01", 60)
    found = warmth_of(insects.corn_borer, past, past, date(2022, 12, 1))
    days = [found.days_to(need / 1.8).max() for need in (10, 10.1, 300, 311)]
    assert days == [1, 2, 30, np.inf]  # 31 days are left


def test_what_to_look_for_follows_the_season():
    season = read_scenario(demo_path())
    flowers = {"flower_day": _Flowering(season.index(date(2026, 8, 10)))}
    told = {
        month: scout_lines(season.as_seen_on(date(2026, month, 1)), flowers, "us")
        for month in (5, 7, 9)
    }
    assert "first moths of spring fly, in 8 of 10 years" in told[5][0]
    assert "spring flight is at its height" in told[7][0]
    assert "summer flight is past" in told[9][0]
    assert not any("earworm" in line for line in told[5])
    assert any("earworm" in line for line in told[9])
    assert all(lines[-1] == NO_COUNT for lines in told.values())


class _Flowering:
    def __init__(self, day):
        self.values = np.full((3, 2), float(day))
