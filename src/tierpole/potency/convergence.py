"""Whether chains agree, and how many independent draws they are worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Convergence:
    """`r_hat` and `effective` [quantity] of a run of so many kept sweeps."""

    r_hat: Array
    effective: Array
    sweeps: int


class Tally:
    """Sums of watched quantities, chain by chain, over the sweeps kept so far."""

    def __init__(self, groups: int) -> None:
        self.groups = groups
        self.sweeps = 0
        self._sum: Array | float = 0.0
        self._squares: Array | float = 0.0

    def add(self, quantities: Array) -> None:
        """Count one more sweep of quantities [quantity, chain]."""
        self.sweeps += 1
        self._sum = self._sum + quantities
        self._squares = self._squares + quantities**2

    def convergence(self) -> Convergence:
        """How well the chains agree so far."""
        mean, square = np.asarray(self._sum) / self.sweeps, np.asarray(self._squares) / self.sweeps
        means = np.stack([part.mean(axis=1) for part in np.array_split(mean, self.groups, axis=1)])
        squares = np.stack(
            [part.mean(axis=1) for part in np.array_split(square, self.groups, axis=1)]
        )
        variance = np.maximum(square.mean(axis=1) - mean.mean(axis=1) ** 2, 0.0)
        return Convergence(
            nested_r_hat(means, squares - means**2),
            effective_size(variance, mean.var(axis=1, ddof=1), mean.shape[1]),
            self.sweeps,
        )


def nested_r_hat(means: Array, variances: Array) -> Array:
    """How much groups of chains, each started from one point, still differ.

    Parameters
    ----------
    means, variances : of each group over its chains and sweeps [group, quantity]

    Returns
    -------
    ratio [1], [quantity]; 1 when groups agree

    Equation: sqrt(1 + B/W), B the variance of the means between groups, W the mean variance within.

    Source: nested R-hat, Margossian et al. 2024, Bayesian Analysis, "Nested R-hat: assessing the
    convergence of Markov chain Monte Carlo when running many short chains" (from memory).
    """
    within = variances.mean(axis=0)
    between = means.var(axis=0, ddof=1)
    return np.sqrt(1.0 + np.divide(between, within, out=np.zeros_like(within), where=within > 0.0))


def effective_size(variance: Array, variance_of_means: Array, chains: int) -> Array:
    """Independent draws that all chains together are worth.

    Parameters
    ----------
    variance : of the quantity over all draws [quantity]
    variance_of_means : between the means of the chains [quantity]
    chains : their number

    Returns
    -------
    draws [quantity]; infinite for a constant

    Equation: chains x variance / variance of the chains' means.

    Source: the variance of a mean of independent parts; each chain is one part.
    """
    return np.divide(
        chains * variance,
        variance_of_means,
        out=np.full_like(variance, np.inf),
        where=variance_of_means > 0.0,
    )
