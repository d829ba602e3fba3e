"""Budgets of one enterprise: variable and fixed cost, break-even, one change against another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Budget:
    """Lines of cost by name, dollars for the enterprise or for an area of it."""

    variable: Mapping[str, float]
    fixed: Mapping[str, float]

    @property
    def variable_total(self) -> float:
        """What would not be spent without the crop."""
        return sum(self.variable.values())

    @property
    def fixed_total(self) -> float:
        """What is spent anyway."""
        return sum(self.fixed.values())

    @property
    def total(self) -> float:
        """Variable and fixed cost together."""
        return self.variable_total + self.fixed_total


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
