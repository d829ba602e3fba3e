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


def value_of_sample_information(
    payoff: ArrayLike, joint: ArrayLike, still_open: ArrayLike | None = None
) -> float:
    """What a test is worth before its cost, when its result is known before acting (EVSI).

    Parameters
    ----------
    payoff : dollars, dims [action, state]
    joint : chance of each state with each result [1], dims [state, result], adding to 1
    still_open : actions that can wait for the result, dims [action]; all when left out

    Returns
    -------
    float : dollars, at most the value of perfect information; below 0 only if waiting for the
        result closes an action that pays more than all others

    Equation: sum over results of max over open actions of sum over states of payoff x joint - max
    over all actions of E.
    Source: Raiffa 1968, Decision Analysis; the price of waiting is inference.
    """
    payoff, joint = np.asarray(payoff, float), np.asarray(joint, float)
    after = payoff if still_open is None else payoff[np.asarray(still_open)]
    return float((after @ joint).max(axis=0).sum() - (payoff @ joint.sum(axis=1)).max())
