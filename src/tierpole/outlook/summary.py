"""Every number shown to a person comes through `summarise`.

One function, so that a page, a document and the command line cannot disagree about what a band
or a chance of loss is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.money import cvar

TAIL = 0.2  # share of the worst draws in CVaR unless the user says otherwise
BAND = (0.10, 0.90)


@dataclass(frozen=True)
class Summary:
    """What the draws say of one number; `low`..`high` is the 10-90 % band."""

    mean: float
    median: float
    low: float
    high: float
    cvar: float
    n: int
    p_loss: float

    @property
    def counts(self) -> str:
        """The chance not to lose as seasons out of twenty: "13 of 20 seasons"."""
        return seasons_of_twenty(1 - self.p_loss)


def summarise(draws: np.ndarray, tail: float = TAIL) -> Summary:
    """Mean, median, 10-90 % band, mean of the worst `tail`, chance below zero of [draw] values."""
    ordered = np.sort(np.asarray(draws, dtype=float))
    low, median, high = np.quantile(ordered, (BAND[0], 0.5, BAND[1]))
    return Summary(
        mean=float(ordered.mean()),
        median=float(median),
        low=float(low),
        high=float(high),
        cvar=float(cvar(ordered, tail)),
        n=ordered.size,
        p_loss=float((ordered < 0).mean()),
    )


def bands(
    draws: np.ndarray, quantiles: tuple[float, ...] = (0.1, 0.25, 0.5, 0.75, 0.9)
) -> np.ndarray:
    """Quantiles over the first axis [draw, ...] -> [quantile, ...], by one sort."""
    ordered = np.sort(draws, axis=0)
    position = np.asarray(quantiles) * (draws.shape[0] - 1)
    below = np.floor(position).astype(int)
    above = np.minimum(below + 1, draws.shape[0] - 1)
    part = (position - below).reshape(-1, *([1] * (draws.ndim - 1)))
    return ordered[below] * (1 - part) + ordered[above] * part


def seasons_of_twenty(chance: float) -> str:
    """A chance as counts a person pictures; "fewer than 1 of 20" rather than a false zero."""
    count = round(chance * 20)
    if count == 0 and chance > 0:
        return "fewer than 1 of 20 seasons"
    if count == 20 and chance < 1:
        return "more than 19 of 20 seasons"
    return f"{count} of 20 seasons"
