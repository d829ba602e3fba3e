"""Dollars: what a stick brings and costs, budgets, risk and the worth of knowing more."""

from tierpole.money.budget import break_even_price, break_even_table, partial_budget
from tierpole.money.costs import (
    FailWork,
    StickWork,
    capital_recovery,
    capital_recovery_factor,
    fail_work,
    interest_operating,
    stick_work,
    stripping_cost,
)
from tierpole.money.information import value_of_perfect_information, value_of_sample_information
from tierpole.money.risk import cvar, tail_weights, two_piece_normal
from tierpole.money.selling import (
    Sales,
    Settlement,
    dockage,
    draw_sales,
    flat_revenue,
    mass_at_moisture,
    point_revenue,
    revenue,
)
from tierpole.money.settling import (
    Count,
    Load,
    Step,
    acreage_revenue,
    counted,
    differences,
    docked_price,
    owed,
    split_revenue,
    toll_revenue,
)
from tierpole.money.value import StickValue, mass_sold, split_change, value_per_stick

__all__ = [
    "Count",
    "FailWork",
    "Load",
    "Sales",
    "Settlement",
    "Step",
    "StickValue",
    "StickWork",
    "acreage_revenue",
    "break_even_price",
    "break_even_table",
    "capital_recovery",
    "capital_recovery_factor",
    "counted",
    "cvar",
    "differences",
    "dockage",
    "docked_price",
    "draw_sales",
    "fail_work",
    "flat_revenue",
    "interest_operating",
    "mass_at_moisture",
    "mass_sold",
    "owed",
    "partial_budget",
    "point_revenue",
    "revenue",
    "split_change",
    "split_revenue",
    "stick_work",
    "stripping_cost",
    "tail_weights",
    "toll_revenue",
    "two_piece_normal",
    "value_of_perfect_information",
    "value_of_sample_information",
    "value_per_stick",
]
