"""What it is worth to know more before acting."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def value_of_perfect_information(payoff: ArrayLike, chance: ArrayLike) -> float:
    """What it would be worth to know the state before acting (EVPI).

    Parameters
    ----------
    payoff : dollars, dims [action, state]
    chance : of each state [1], adding to 1

    Returns
    -------
    float : dollars, never below 0

    Equation: E[max over actions] - max over actions of E.
    Source: Raiffa 1968, Decision Analysis.
    """
    payoff, chance = np.asarray(payoff, float), np.asarray(chance, float)
    return float(payoff.max(axis=0) @ chance - (payoff @ chance).max())


def value_of_sample_information(payoff: ArrayLike, joint: ArrayLike) -> float:
    """What a test is worth before its cost, when its result is known before acting (EVSI).

    Parameters
    ----------
    payoff : dollars, dims [action, state]
    joint : chance of each state with each result [1], dims [state, result], adding to 1

    Returns
    -------
    float : dollars, between 0 and the value of perfect information

    Equation: sum over results of max over actions of sum over states of payoff x joint - max over
    actions of E.
    Source: Raiffa 1968, Decision Analysis.
    """
    payoff, joint = np.asarray(payoff, float), np.asarray(joint, float)
    return float((payoff @ joint).max(axis=0).sum() - (payoff @ joint.sum(axis=1)).max())
