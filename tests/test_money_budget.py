"""Budgets, interest and owning cost against published budgets and worksheets."""

from __future__ import annotations

import numpy as np
import pytest

from published_values import load
from tierpole.money import (
    break_even_price,
    break_even_table,
    capital_recovery,
    capital_recovery_factor,
    interest_operating,
    partial_budget,
)

BUDGETS, ECONOMICS = load("budget"), load("economics")
NEW_YORK = BUDGETS["new_york"]
TOTAL = NEW_YORK["total"]


def test_interest_against_hanchar_2019():
    """Its interest on operating capital is 5 % on all other variable cost for six months."""
    printed = NEW_YORK["variable"][NEW_YORK["interest_line"]]
    outlay = NEW_YORK["variable_total"] - printed
    interest = interest_operating(outlay, NEW_YORK["interest_rate"], NEW_YORK["interest_months"])
    assert float(interest) == pytest.approx(printed, abs=0.005)


def test_break_even_against_new_york_table():
    """Break-even a point and a pound of the New York budget, every cell of the table."""
    row = BUDGETS["new_york_break_even"]
    points = break_even_table(TOTAL, row["pounds"], row["percent"])
    assert points == pytest.approx(np.array(row["dollars_a_point"]), abs=5.1e-4)
    pounds = break_even_price(TOTAL, row["pounds"])
    assert pounds == pytest.approx(row["dollars_a_pound"], abs=5.1e-3)


def test_break_even_limits():
    """Sold at the break-even price the crop pays its cost, and a risk of failing raises it."""
    price = break_even_price(TOTAL, 1348 * 6.8)
    assert float(price) * 1348 * 6.8 == pytest.approx(TOTAL)
    assert float(price) == pytest.approx(1.43, abs=0.005)
    assert float(break_even_price(TOTAL, 1348 * 6.8, 0.8)) == pytest.approx(float(price) / 0.8)


def test_recovery_factor_against_asae_ep496():
    """Capital recovery factors at five rates and lives."""
    row = ECONOMICS["recovery_factor"]
    for rate, years, factor in zip(row["rate"], row["years"], row["factor"], strict=True):
        assert capital_recovery_factor(rate, years) == pytest.approx(factor, abs=5e-7)


def test_recovery_against_iowa_state_a3_29():
    """Capital recovery of the tractor in two editions of the worksheet."""
    row = ECONOMICS["recovery"]
    for k, listed in enumerate(row["list_price"]):
        salvage = row["salvage_share"] * listed
        assert salvage == pytest.approx(row["salvage"][k])
        yearly = capital_recovery(row["price"][k], salvage, row["rate"][k], row["years"][k])
        assert yearly == pytest.approx(row["recovery"][k], abs=0.005)


def test_recovery_limits():
    """Payments discounted at the rate return the price; without interest it is straight-line."""
    factor = capital_recovery_factor(0.07, 10)
    assert sum(factor / 1.07**year for year in range(1, 11)) == pytest.approx(1)
    assert capital_recovery_factor(0.0, 8) == 1 / 8
    assert capital_recovery_factor(1e-9, 8) == pytest.approx(1 / 8, rel=1e-6)
    assert capital_recovery(1000, 200, 0.0, 8) == 100


def test_partial_budget_against_farm_press():
    """A hundred acres of beans turned to corn lose $4,500."""
    row = ECONOMICS["partial_budget"]
    change = partial_budget(
        added_returns=row["acres"] * row["added_bushels"] * row["price_bushel"],
        reduced_costs=row["acres"] * row["reduced_costs"],
        added_costs=row["acres"] * row["added_costs"],
        reduced_returns=row["acres"] * row["reduced_hundredweight"] * row["price_hundredweight"],
    )
    assert change == row["change"]
