"""The dollars of a stick by piece, crew costs, and differences told apart."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.farm import Costs, Crew, CrewHours, Market, Weekday
from tierpole.money import (
    Sales,
    StickValue,
    fail_work,
    mass_sold,
    split_change,
    stick_work,
    stripping_cost,
    value_per_stick,
)
from tierpole.money.costs import WORK
from tierpole.units import POUND

LABOUR = load("economics")["labour"]
HOUR = 3600.0
CREW = Crew(
    wage=18.0 / HOUR,
    hours=(CrewHours(starting="2026-08-01", hours=24 * HOUR),),
    workdays=(Weekday.MON,),
    sticks_owned=1000,
    haul_limit=500,
)
MARKET = Market(price=140.0 / POUND, remediated_price=0.4 / POUND)
COSTS = Costs(plant=1.25, inputs=0.2, field_labour=0.0)


def sales(*paid: float) -> Sales:
    price = np.full(len(paid), MARKET.price)
    return Sales(price, np.array(paid), np.zeros(len(paid), dtype=int))


def test_stripping_cost_against_hand_count():
    """1,400 lb at 12 lb an hour are 116.7 hours; at $18 an hour $2,100."""
    dollars = stripping_cost(1400 * POUND, 12 * POUND / HOUR, 18 / HOUR)
    assert dollars == pytest.approx(2100)


def test_rates_of_work_against_reconciled_task_times():
    """A stick takes 2.5, 0.9, 2.3 and 0.8 minutes, 57 hours an acre, also by a crew's defaults."""
    steps = ("cut", "haul", "hang", "take_down")
    for step, minutes in zip(steps, LABOUR["minutes"], strict=True):
        assert WORK[step] == pytest.approx(minutes * 60)
        assert getattr(CREW, step) == WORK[step]
    assert CREW.strip == pytest.approx(WORK["strip"])
    assert WORK["strip"] == pytest.approx(LABOUR["pounds_an_hour"] * POUND / HOUR)
    hours = sum(LABOUR["minutes"]) / 60 * LABOUR["sticks_an_acre"]
    assert hours == pytest.approx(LABOUR["hours_an_acre"], abs=0.05)


def test_a_stick_against_hand_computation():
    """One stick: 2.6 lb at 6.8 % and $1.40 a point, $18 an hour, 8 % for four months."""
    sold = 2.6 * POUND * np.ones((2, 1, 1, 1))
    value = value_per_stick(sold, 0.068, sales(1.0, 0.5), MARKET, CREW, COSTS, drying_cost=0.10)
    gross = 2.6 * 6.8 * 1.40
    assert value.revenue.ravel() == pytest.approx([gross, gross / 2])
    minutes = sum(LABOUR["minutes"])
    hands, strip = minutes / 60 * 18, 2.6 / 8 * 18
    interest = (hands + strip + 0.10) * 0.08 * 4 / 12
    total = gross - hands - strip - 0.10 - interest
    assert value.total.ravel() == pytest.approx([total, total - gross / 2])
    assert float(value.cut) == pytest.approx(-0.75)


def test_pieces_keep_their_dims_and_add_up_limits():
    """Pieces broadcast to [draw, lot, day, place] and add up to the total; costs are negative."""
    rng = np.random.default_rng(4)
    mass = rng.uniform(0.5, 2, (3, 2, 4, 1))
    sold = mass_sold(mass, rng.uniform(0, 0.3, (3, 2, 4, 1)), rng.uniform(0, 0.1, (3, 1, 4, 5)))
    cbd = rng.uniform(0.04, 0.09, (3, 2, 4, 1))
    drying = np.array([0.0, 0.1, 0.2, 0.0, 0.4])
    value = value_per_stick(sold, cbd, sales(1.0, 0.5, 0.0), MARKET, CREW, COSTS, drying)
    assert value.total.shape == (3, 2, 4, 5)
    pieces = {f.name: getattr(value, f.name) for f in fields(StickValue)}
    assert value.total == pytest.approx(
        sum(np.broadcast_to(p, (3, 2, 4, 5)) for p in pieces.values())
    )
    assert pieces["drying"].shape == (5,)
    assert all((np.asarray(p) <= 0).all() for name, p in pieces.items() if name != "revenue")
    assert (value.total[2] <= 0).all(), "an unpaid stick only costs"


@given(st.floats(0, 3), st.floats(0, 1), st.floats(0, 1))
def test_mass_is_conserved_limits(mass, field_loss, drying_loss):
    """What is sold and what is lost in field and barn is what grew."""
    sold = float(mass_sold(mass, field_loss, drying_loss))
    lost_in_field = mass * field_loss
    lost_in_barn = (mass - lost_in_field) * drying_loss
    assert sold + lost_in_field + lost_in_barn == pytest.approx(mass, abs=1e-12)


def test_work_costs_limits():
    """Work costs its time at the wage; destroying is the cheapest of the ways out in labour."""
    assert sum(vars(stick_work(CREW)).values()) == pytest.approx(6.5 / 60 * 18)
    work = fail_work(CREW.wage)
    assert 0 < work.destroy < work.shred < work.strip


causes = st.fixed_dictionaries(
    {name: st.floats(-3, 3) for name in ("mass", "cbd", "price", "cost")}
)


def profit(cause):
    return cause["mass"] * cause["cbd"] * cause["price"] - cause["cost"]


@given(causes, causes)
def test_split_adds_up_limits(before, after):
    """The parts of a change add up to it, and a cause that did not change has no part."""
    parts = split_change(profit, before, {**after, "cbd": before["cbd"]})
    whole = profit({**after, "cbd": before["cbd"]}) - profit(before)
    assert sum(map(float, parts.values())) == pytest.approx(whole, abs=1e-9)
    assert float(parts["cbd"]) == pytest.approx(0, abs=1e-12)
    # a cost that only subtracts keeps its whole change to itself
    assert float(parts["cost"]) == pytest.approx(before["cost"] - after["cost"])


def test_split_treats_causes_alike_limits():
    """Two causes that enter alike share alike; draws are split draw by draw."""
    before = {"mass": np.ones(3), "cbd": np.ones(3)}
    after = {"mass": np.array([2.0, 3.0, 4.0]), "cbd": np.array([2.0, 3.0, 4.0])}
    parts = split_change(lambda c: c["mass"] * c["cbd"], before, after)
    assert parts["mass"] == pytest.approx(parts["cbd"])
    assert parts["mass"] == pytest.approx([1.5, 4.0, 7.5])
