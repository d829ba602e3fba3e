"""Budgets: at which price a crop breaks even, and what one change is worth against another."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.floating]


def break_even_price(cost: float, amount: ArrayLike, p_sold: ArrayLike = 1.0) -> Array:
    """Price at which the sale just pays the cost.

    Parameters
    ----------
    cost : [dollars]
    amount : sold, in the unit the price is for (kg, kg of CBD, pounds times points)
    p_sold : chance that the crop passes and is sold [1]

    Returns
    -------
    array : dollars per unit, broadcast

    Equation: cost / (p_sold x amount).
    Source: extension budgets.
    """
    return cost / (np.asarray(p_sold, float) * np.asarray(amount, float))


def break_even_table(cost: float, masses: ArrayLike, contents: ArrayLike) -> Array:
    """Break-even price by mass sold (rows) and CBD content (columns), per unit of CBD."""
    return break_even_price(cost, np.multiply.outer(np.asarray(masses), np.asarray(contents)))


def partial_budget(
    added_returns: float, reduced_costs: float, added_costs: float, reduced_returns: float
) -> float:
    """What a change is worth.

    Parameters
    ----------
    added_returns, reduced_costs, added_costs, reduced_returns : [dollars]

    Returns
    -------
    float : dollars; negative when the change loses

    Equation: (added returns + reduced costs) - (added costs + reduced returns).
    Source: extension budgets.
    """
    return added_returns + reduced_costs - added_costs - reduced_returns
