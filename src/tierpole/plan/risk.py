"""What a schedule is judged by: the mean over draws, moved towards the mean of the worst ones.

The worst tail becomes rows of the program by cutting planes. The draws that are worst under one
schedule have, under any other, a mean no lower than that schedule's own worst tail; and the mean of
stated draws is linear. So each schedule tried gives one row that is exact for it and never too
strict for others, and a few rows are enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.money.risk import TAIL, cvar, tail_weights
from tierpole.plan.problem import Decisions, Draws, Floats, Problem
from tierpole.plan.program import Columns, dollars
from tierpole.plan.value import averages, drawn, linear_dollars, mean_chance, mean_dollars

Row = tuple[Floats, float]


@dataclass(frozen=True)
class Risk:
    """How much the mean of the worst `tail` share of draws weighs against the mean of all."""

    weight: float = TAIL["weight"]
    tail: float = TAIL["share"]


class Aim:
    """The objective of a problem under a risk weight, for any decisions.

    Money that is the same for every schedule counts by how far a draw lies from its mean: it says
    which draws are worst without moving the objective.
    """

    def __init__(self, problem: Problem, risk: Risk):
        if risk.weight > 0 and problem.draws is None:
            raise ValueError("a risk weight above 0 needs draws")
        self.risk = risk
        self._problem = problem
        self._chance: Floats | None = None
        if risk.weight > 0 and self._draws.place is not None:
            self._chance = mean_chance(self._draws.p_pass, problem.allowed)

    def objective(self, decided: Decisions) -> float:
        """Dollars a schedule is judged by."""
        mean, weight = mean_dollars(self._problem, decided), self.risk.weight
        return (1 - weight) * mean + weight * self.tail(decided) if weight else mean

    def tail(self, decided: Decisions) -> float:
        """Mean dollars of the worst draws under these decisions (CVaR)."""
        return float(cvar(self._dollars(decided), self.risk.tail))

    def tail_row(self, columns: Columns, decided: Decisions | None = None) -> Row:
        """A row `entries @ v <= upper` that holds the tail column down, exact at `decided`.

        Without decisions all draws weigh the same: the tail is never above the mean.
        """
        by_draw = np.zeros(self._draws.count) if decided is None else self._dollars(decided)
        share = 1.0 if decided is None else self.risk.tail
        weights = np.asarray(tail_weights(by_draw, share), np.float64)
        means = averages(self._draws, self._problem.allowed, len(self._problem.places), weights)
        entries = -dollars(self._problem, columns, *means)
        entries[columns.tail] = 1.0
        scale = np.abs(entries).max()
        return entries / scale, float(weights @ self._shift) / scale

    @property
    def _draws(self) -> Draws:
        return drawn(self._problem)

    @property
    def _shift(self) -> Floats:
        return self._draws.fixed - self._draws.fixed.mean()

    def _dollars(self, decided: Decisions) -> Floats:
        return linear_dollars(self._problem, decided, self._chance) + self._shift
