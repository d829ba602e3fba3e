"""A place corrected by its readings: known truths found again, troubles named, nothing lost."""

from dataclasses import replace

import numpy as np
import pytest

from tierpole.barn import Controls, Hangings, OutsideAir, PlaceAir, correct, draw_barn_parameters
from tierpole.barn.correct import Metered, Readings, Weighing
from tierpole.barn.runs import Run, finish, joined, waiting_too
from tierpole.barn.sensors import Trouble, air_series
from tierpole.units import POUND

MEMBERS, TRUTHS, LAST = 100, 30, 24 * 6
STICKS = np.array([200.0, 150.0])
NO_AIR = air_series([], [], [])


def barn(heater=0.0):
    """A loaded barn in ten days of warm days and damp nights."""
    rng, hour = np.random.default_rng(0), np.arange(24 * 10)
    wave = np.sin(2 * np.pi * (hour - 9) / 24)
    warm = 16 + 6 * wave + rng.normal(0, 1, hour.size).cumsum() * 0.05
    air = OutsideAir(warm[None], np.clip(0.75 - 0.2 * wave, 0.3, 0.98)[None])
    place = PlaceAir(
        sticks=500, volume=1450.0, tiers=2, vent_area=15.0, leaks=1.0, wall_area=500.0, height=6.0,
        walls=2000.0, roof=250.0, sun=0.1, transmittance=4.0, store=5e6, heater=heater,
    )  # fmt: skip
    return air, place


def run_of(count, heater=0.0):
    """Two batches hung a day and a half apart, the heater on at night where there is one."""
    air, place = barn(heater)
    hangings = Hangings.unmeasured(np.array([14, 50]), STICKS)
    usual, clock = place.usual(), np.arange(14, 24 * 10) % 24
    night = ((clock < 8) | (clock >= 18)).astype(float)
    controls = Controls(usual.vents[clock], usual.fans[clock], night * (heater > 0))
    return Run(air, place, np.zeros(count, np.int64), hangings, controls, 14)


DRAWS = draw_barn_parameters(np.random.default_rng(1), MEMBERS + TRUTHS)
PRIOR = DRAWS.take(np.arange(MEMBERS))


def flower(state, batch):
    return state.moisture[:, batch, :, 0].mean(axis=1)


def simulated(truth, rng):
    """What a logger and a scale would read of one drawn truth, and where it ends."""
    draws, run = DRAWS.take(np.array([MEMBERS + truth])), run_of(1)
    state, trace = run.advance(draws, run.start(draws), LAST)
    hours = np.arange(20, LAST)
    warm, damp = (
        getattr(trace, name)[0].mean(axis=0)[hours - run.first].astype(float)
        for name in ("temperature", "humidity")
    )
    noise = rng.normal(0, 1, (2, hours.size))
    air = air_series(
        hours, warm + 0.5 * rng.normal() + 0.5 * noise[0],
        np.clip(damp + 0.02 * rng.normal() + 0.02 * noise[1], 0, 1),
    )  # fmt: skip
    own = np.exp(0.2 * rng.standard_normal(2))
    dry = np.array([draws.mass_flower[0], draws.mass_leaf[0], draws.mass_stem[0]])
    weighings = [
        Weighing(hour, batch, float(own[batch] * whole * rng.normal(1, 0.02)), 2)
        for batch, hung in enumerate(run.hangings.hang_hour)
        for hour in (int(hung) + 1, int(hung) + 43, LAST - 5)
        for whole in [(dry * (1 + trace.moisture[0, batch, 0, :, hour - 1 - run.first])).sum()]
    ]
    return draws, state, Readings(air, tuple(weighings))


def test_correct_simulated():
    """Thirty truths drawn from the prior, read with the errors the filter reckons with: moistures
    now and parameters lie inside their 90 % bands nine times in ten, and the bands are narrower
    than without readings."""
    rng = np.random.default_rng(5)
    run = run_of(MEMBERS)
    free, _ = run.advance(PRIOR, run.start(PRIOR), LAST)
    inside, narrower = [], []
    for truth in range(TRUTHS):
        draws, state, readings = simulated(truth, rng)
        found = correct.correct(run, PRIOR, readings, LAST, STICKS, np.random.default_rng(truth))
        pairs = [
            *((flower(found.state, b), flower(state, b), flower(free, b)) for b in (0, 1)),
            *((getattr(found.draws, n), getattr(draws, n), getattr(PRIOR, n))
              for n in ("conductance_flower", "conductance_stem", "vents", "leaks")),
        ]  # fmt: skip
        for after, true, before in pairs:
            low, high = np.quantile(after, (0.05, 0.95))
            inside.append(low <= true[0] <= high)
            narrower.append((high - low) / np.subtract(*np.quantile(before, (0.95, 0.05))))
    # 180 answers, some of them of one truth: three standard errors of 60 independent ones
    assert np.mean(inside) == pytest.approx(0.9, abs=3 * np.sqrt(0.09 / 60))
    assert np.mean(narrower) < 0.85


def test_correct_limits():
    """Without readings the place runs as it would; the same readings give the same answer; moisture
    keeps to what plants can hold and shares to one."""
    run = run_of(MEMBERS)
    free, _ = run.advance(PRIOR, run.start(PRIOR), LAST)
    alone = correct.correct(run, PRIOR, Readings(NO_AIR), LAST, STICKS, np.random.default_rng(0))
    assert np.array_equal(alone.state.moisture, free.moisture)
    assert alone.draws is PRIOR
    _, _, readings = simulated(0, np.random.default_rng(5))
    once, twice = (
        correct.correct(run, PRIOR, readings, LAST, STICKS, np.random.default_rng(3))
        for _ in range(2)
    )
    assert np.array_equal(once.state.moisture, twice.state.moisture)
    assert once.state.moisture.min() > 0
    assert once.draws.exposed.max() <= 1
    assert once.draws.shelter.max() <= 1
    assert sum(trace.temperature.shape[-1] for trace in once.traces) == LAST - run.first


def test_stick_mass_against_mass_balance():
    """Thirty pounds hung at 75 % hold 7.50 lb of dry matter, so 9.00 lb read 16.7 %; had they hung
    at 77 %, 6.90 lb, and the same 9.00 lb read 23.3 %."""
    for hung, dry, read in ((0.75, 7.50, 0.167), (0.77, 6.90, 0.233)):
        wet = np.full((1, 1, 1), read / (1 - read))
        mass = correct.stick_mass(wet, np.full((1, 1, 1), dry * POUND), np.ones(1), 1.0)
        assert float(mass[0]) / POUND == pytest.approx(9.0, abs=0.01)
        assert dry == pytest.approx(30.0 * (1 - hung))


def read_twice(weight):
    """The first batch weighed when hung, and two days later as `weight` says."""
    run = run_of(MEMBERS)
    state, _ = run.advance(PRIOR, run.start(PRIOR), 15)
    start = float(
        (correct._dry_mass(run, PRIOR, 0) * (1 + state.moisture[:, 0])).sum((1, 2)).mean() / 200
    )
    weighings = [Weighing(15, 0, start, 2), Weighing(60, 0, weight(start), 2)]
    return correct.correct(
        run, PRIOR, Readings(NO_AIR, weighings), LAST, STICKS, np.random.default_rng(0)
    )


def test_a_scale_in_kilograms_typed_as_pounds_is_named_and_set_right():
    """Less than half of what was foretold, and right once it is multiplied by 2.2046."""
    right = read_twice(lambda start: 0.8 * start)
    slip = read_twice(lambda start: 0.8 * start * POUND)
    assert right.findings == ()
    (found,) = slip.findings
    assert (found.trouble, found.what, found.first_hour) == (Trouble.KILOGRAMS, "batch 0", 60)
    near = flower(right.state, 0).mean()
    assert flower(slip.state, 0).mean() == pytest.approx(near, rel=0.05)
    (other,) = read_twice(lambda start: 0.8 * start / POUND).findings
    assert other.trouble is Trouble.POUNDS


def test_a_weight_nobody_can_explain_is_named_and_left_out():
    found = read_twice(lambda start: 9 * start)
    assert [one.trouble for one in found.findings] == [Trouble.GROSS]
    assert found.findings[0].value / found.findings[0].likely > 5


def test_a_measured_moisture_far_from_the_forecast_starts_it_anew():
    """A meter is believed: the flower stands where it was read, and the surprise is told."""
    readings = Readings(NO_AIR, (), (Metered(30, 0, 0.40),))
    found = correct.correct(run_of(MEMBERS), PRIOR, readings, 31, STICKS, np.random.default_rng(0))
    assert [one.trouble for one in found.findings] == [Trouble.GROSS]
    wet = flower(found.state, 0) / (1 + flower(found.state, 0))
    assert wet.mean() == pytest.approx(0.40, abs=0.03)
    assert wet.std() == pytest.approx(0.03, abs=0.01)


def test_a_failing_heater_is_named_and_left_cold():
    """Air as if the heater gave nothing, while it should have run: the nights are run without."""
    cold, warm = run_of(1), run_of(MEMBERS, heater=60e3)
    one = PRIOR.take(np.array([0]))
    _, trace = cold.advance(one, cold.start(one), LAST)
    hours = np.arange(20, LAST)
    air = air_series(
        hours, trace.temperature[0].mean(0)[hours - 14], trace.humidity[0].mean(0)[hours - 14]
    )
    found = correct.correct(warm, PRIOR, Readings(air), LAST, STICKS, np.random.default_rng(0))
    assert Trouble.HEATER in [one.trouble for one in found.findings]
    foretold = np.concatenate([t.temperature.mean(axis=(0, 1)) for t in found.traces])[hours - 14]
    assert np.abs(foretold - air.temperature).mean() < 1.0
    heated, _ = warm.advance(PRIOR, warm.start(PRIOR), LAST)
    assert flower(found.state, 0).mean() > flower(heated, 0).mean()


def test_joined_and_waiting_limits():
    """Batches to come change nothing of those that hang, until they hang."""
    run = run_of(MEMBERS)
    more = Hangings.unmeasured(np.array([LAST + 100]), np.array([90.0]))
    longer = replace(run, hangings=joined(run.hangings, more, run.place.tiers))
    start = waiting_too(run.start(PRIOR), 1)
    alone, _ = run.advance(PRIOR, run.start(PRIOR), LAST)
    both, _ = longer.advance(PRIOR, start, LAST)
    assert np.allclose(both.moisture[:, :2], alone.moisture)
    assert longer.hangings.tier_share.sum() == pytest.approx(3)


def test_finish_limits():
    """Everything comes down; what is dry now is dry no later for being looked at later."""
    run = run_of(MEMBERS)
    whole = finish(run, PRIOR, run.start(PRIOR))
    state, _ = run.advance(PRIOR, run.start(PRIOR), 60)
    later = finish(run, PRIOR, state)
    assert whole.drying_days.shape == (MEMBERS, 2)
    assert np.allclose(whole.drying_days, later.drying_days)
    assert np.all((whole.mould_risk >= 0) & (whole.mould_risk <= 1))
