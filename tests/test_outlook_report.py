"""What a forecast says of a lot: before and after its tests, and what the next one may mean."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom, lognorm

from outlook_cases import demo, smaller
from tierpole.farm import Cut, Test, TestKind
from tierpole.outlook import make_forecast
from tierpole.outlook.report import NO_TEST, report
from tierpole.potency import Material

LOTS = ("5 Ridge", "6 South bottom")
DRAWS = 400
DAYS = np.array([165, 172, 179])


@cache
def season():
    """Two lots of one late variety; one has a pre-test."""
    return smaller(demo(), LOTS, ("Frame",), years=4)


@cache
def forecast():
    return make_forecast(season(), DRAWS, 3)


def of(season, lot=1):
    return report(make_forecast(season, DRAWS, 3), DAYS)[lot]


def test_without_a_test_nothing_was_moved_limits():
    """Before and after are one; the verdict says that no certificate is in."""
    found = of(replace(season(), tests=()))
    assert found.told == ()
    assert (found.verdict, found.is_reliable) == (NO_TEST, True)
    for name in ("low", "median", "high"):
        assert (getattr(found.thc, name) == getattr(found.thc_before, name)).all()
        assert (getattr(found.cbd, name) == getattr(found.cbd_before, name)).all()


def test_a_test_moves_its_lot_to_where_it_reads_limits():
    """On its own day the lot's THC ends between what was expected and what the test read."""
    found, test = of(season()), season().tests[0]
    day = season().index(test.sampled_on)
    before, after = found.thc_before.median[day], found.thc.median[day]
    low, high = sorted((before, test.total_thc))
    assert low < after < high
    assert np.sign(found.told[0].moved) == np.sign(test.total_thc - before)
    assert found.told[0].row == 0
    assert (
        found.thc.high[day] - found.thc.low[day]
        < found.thc_before.high[day] - found.thc_before.low[day]
    )


def width(fan, day):
    """How wide a band is on a day."""
    return fan.high[day] - fan.low[day]


@pytest.mark.parametrize("place", [0, 2])
def test_if_read_is_what_a_new_run_would_say(place):
    """Weighted draws give the chances that a full run with the certificate gives, to 0.06."""
    before = report(forecast(), DAYS)[1]
    read = before.if_read[place]
    assert read.is_enough
    test = Test(
        lot=LOTS[1], kind=TestKind.PRETEST, sampled_on=before.next_day,
        reported_on=before.next_day, plants=before.next_plants, total_thc=read.thc,
    )  # fmt: skip
    after = of(replace(season(), tests=(*season().tests, test)))
    assert read.p_pass == pytest.approx(after.p_pass, abs=0.06)


def test_higher_readings_pass_less_limits():
    """The more THC the next test reads, the less a later sample passes."""
    for lot in report(forecast(), DAYS):
        chances = np.array([read.p_pass for read in lot.if_read if read.is_enough])
        assert (chances[0] > chances[-1]).all()
        assert 2 <= len(lot.if_read) <= 10


def test_off_type_plants_of_a_lot_from_seed_limits():
    """Only seed has them; fewer are tolerated the hotter the lot; each walk leaves fewer."""
    seed = smaller(demo(), ("8 Seed strip", "5 Ridge"), ("Frame",), years=4)
    by_lot = {lot.lot: lot.off_types for lot in report(make_forecast(seed, DRAWS, 3), DAYS)}
    assert by_lot["5 Ridge"] is None
    found = by_lot["8 Seed strip"]
    assert found is not None
    assert found.multiple > 1
    assert (np.diff(found.walked.share) < 0).all()
    assert (np.diff(found.walked.chance_in_sample) < 0).all()
    held = make_forecast(seed, DRAWS, 3).thc[:, 1, DAYS]
    hotter = np.argsort(np.median(held, axis=0))
    assert (np.diff(found.tolerated[hotter]) <= 0).all()
    assert binom.sf(0, found.plants, found.shown) == pytest.approx(0.95)


def test_single_plants_over_the_limit_against_scipy():
    """Share of lognormal plants above the limit, draw by draw, and more of them in a hotter lot."""
    made = forecast()
    for lot, found in enumerate(report(made, DAYS)):
        cv = made.potency.plant_cv[:, lot, None]
        shape, thc = np.sqrt(np.log1p(cv**2)), made.thc[:, lot][:, DAYS]
        over = lognorm(shape, scale=thc * np.exp(-(shape**2) / 2)).sf(0.003)
        assert found.plants_over == pytest.approx(over.mean(axis=0), abs=1e-6)
        hotter = np.argsort(np.median(thc, axis=0))
        assert (np.diff(found.plants_over[hotter]) >= 0).all()


def test_final_tests_stand_for_the_day_their_sticks_were_cut():
    """Dry material: biomass of the mean cut day, weighted by sticks; left out without a cut."""
    final = Test(
        lot=LOTS[1], kind=TestKind.FINAL, sampled_on=date(2026, 9, 1), reported_on=date(2026, 9, 2),
        plants=1, total_thc=0.001,
    )  # fmt: skip
    alone = replace(season(), tests=(final,))
    assert make_forecast(alone, DRAWS, 3).tests == ()
    cuts = tuple(
        Cut(lot=LOTS[1], cut_on=date(2026, 8, 20) + timedelta(days=days), sticks=sticks)
        for days, sticks in ((0, 30), (4, 10))
    )
    (test,) = make_forecast(replace(alone, cuts=cuts), DRAWS, 3).tests
    assert test.material is Material.BIOMASS
    assert test.day == pytest.approx(season().index(date(2026, 8, 21)))


def test_a_limit_not_reached_says_less_than_a_reading_limits():
    """THC under 0.05 % says the lot is below; what it says is one-sided, and so weaker."""
    early = season().tests[0].model_copy(update={"total_cbd": None, "total_thc": 0.0005})
    below = early.model_copy(update={"thc_below": True})
    seen, under = (of(replace(season(), tests=(one,))) for one in (early, below))
    day = season().index(early.sampled_on)
    assert under.thc.low[day] < seen.thc.low[day]
    assert under.thc.median[day] < under.thc_before.median[day]


def test_without_its_only_test_a_lot_is_as_before_limits():
    """Left out, the one certificate of the season changes nothing: chances as without any."""
    (told,) = of(season()).told
    none = of(replace(season(), tests=()))
    assert told.p_pass_without == pytest.approx(none.p_pass, abs=1e-6)
