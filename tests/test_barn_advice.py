"""Rules of airing: what they do by the hour, what fuel costs, and that luck is not sold as gain."""

import numpy as np
import pytest

from tierpole.barn import advice
from tierpole.barn.advice import Hours, Means, Rule, Score

GALLON = 3.785411784e-3
KWH = 3.6e6


def test_fuel_cost_against_energy_content():
    """A gallon of propane is 91,452 Btu gross (EIA), 26.8 kWh: at 80 % it takes 1.37 gal for
    100,500 Btu/h over an hour, the heat that lifts 10,000 cfm by 5 K."""
    heat = 100_500 * 1055.05585262
    gallons = advice.fuel_cost(heat, price=1.0 / GALLON)
    assert float(gallons) == pytest.approx(1.37, abs=0.005)
    assert advice.COEFFICIENTS["propane_heat"] * GALLON / KWH == pytest.approx(26.8, abs=0.05)
    assert advice.fuel_cost(heat) == pytest.approx(gallons * 2.60)


def test_power_cost_against_counting():
    """A fan of half a kilowatt for a day draws 12 kWh."""
    assert advice.power_cost(500 * 86_400, price=0.13 / KWH) == pytest.approx(12 * 0.13)
    assert advice.power_cost(500 * 86_400) == pytest.approx(12 * 0.13)


def test_rules_follow_clock_and_gauge():
    """Open by day, shut in damp air, heat only at night and then ajar."""
    clock = np.arange(24)
    damp = np.where((clock >= 8) & (clock < 18), 0.6, 0.95)
    always = advice.schedule(Rule(Hours.ALWAYS), clock, damp)
    assert np.all(always.vents == 1)
    by_day = advice.schedule(Rule(Hours.BY_DAY), clock, damp)
    assert by_day.vents.sum() == 10
    gauge = advice.schedule(Rule(Hours.ALWAYS, 0.8), clock, damp)
    assert np.array_equal(gauge.vents, by_day.vents)
    warm = advice.schedule(Rule(Hours.BY_DAY, 0.8, Hours.ALWAYS, 0.9), clock, damp)
    assert warm.fans.all()
    assert warm.heat.sum() == 14
    assert np.all(warm.vents[warm.heat] == advice.COEFFICIENTS["ajar"])


def test_rules_use_only_what_is_there():
    """No heat without a heater, no fans without fans; the simple rules are those of vents alone."""
    plain = Rule(Hours.BY_DAY)
    assert advice.fan_rules(plain, Means(has_heater=True)) == []
    assert advice.heat_rules(plain, Means(has_fans=True)) == []
    assert {r.fans for r in advice.fan_rules(plain, Means(has_fans=True))} == {
        Hours.BY_DAY, Hours.ALWAYS,
    }  # fmt: skip
    assert all(rule.heat_above < 1 for rule in advice.heat_rules(plain, Means(has_heater=True)))
    assert set(advice.simple_rules()) == {rule for rule in advice.vent_rules() if rule.is_simple}


def by_luck(rng):
    """Every rule costs the same but for luck, each draw by its own."""
    return lambda rule: Score(rng.normal(100, 30, 200), np.zeros(200))


def test_advise_limits():
    """Where no rule is better the gain is not worth telling; where one is, it is found with its
    gain, and what it burns is counted."""
    rng = np.random.default_rng(5)
    everything = Means(has_fans=True, has_heater=True)
    luck = [advice.advise(everything, by_luck(rng)) for _ in range(40)]
    assert sum(found.is_worth_it for found in luck) <= 1

    good = Rule(Hours.BY_DAY, 0.8, Hours.ALWAYS)
    base = rng.normal(100, 30, 200)

    def score(rule):
        vents = 10 if (rule.vents, rule.most) == (good.vents, good.most) else 0
        return Score(base - vents - 15 * (rule == good), np.full(200, 5.0 * (rule == good)))

    found = advice.advise(everything, score)
    assert found.rule == good
    assert found.is_worth_it
    assert (found.gain, found.energy) == pytest.approx((20.0, 5.0))
    assert found.simple.is_simple
    assert len(found.scores) == len(advice.vent_rules()) + 4


def test_a_simple_rule_gains_nothing_over_itself():
    """When a simple rule is best the advice is that rule."""
    found = advice.advise(
        Means(has_fans=True),
        lambda rule: Score(np.full(50, 9.0 if rule == Rule(Hours.BY_DAY) else 10.0), np.zeros(50)),
    )
    assert found.rule == found.simple == Rule(Hours.BY_DAY)
    assert found.gain == 0
    assert not found.is_worth_it
