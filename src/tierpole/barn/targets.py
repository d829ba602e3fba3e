"""Moisture as written and as reckoned with, and the pounds that go with it.

People write the wet basis (water over all of it); physics uses the dry basis (water over dry
matter). Mixing them up is the costliest slip of the trade.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

COEFFICIENTS = Table(
    "Moisture targets",
    (
        Value(
            "moisture_target", 0.12, "share", Mark.PRACTICE,
            "buyers commonly ask for at most 10-12 % wet basis; above 15 % it moulds in store",
            low=0.10, high=0.13,
        ),
        Value(
            "in_case_driest", 0.12, "share", Mark.PRACTICE,
            "flower pliable and stems that snap: stripped without shatter at 12-15 % wet basis",
        ),
        Value("in_case_wettest", 0.15, "share", Mark.PRACTICE, "as above; finish before bagging"),
        Value(
            "moisture_brittle", 0.09, "share", Mark.PRACTICE,
            "leaf and trichomes shatter below about 8-9 % wet basis",
            low=0.08, high=0.10,
        ),
        Value(
            "hours_at_target", 12.0, "h", Mark.INFERENCE,
            "time in sum at or below the target before a hanging counts as dry: one dry afternoon "
            "is undone by the next damp night",
        ),
        Value("days_most", 45.0, "d", Mark.INFERENCE, "a hanging not dry by then is given up on"),
    ),
)  # fmt: skip


def dry_basis(moisture_wet_basis: ArrayLike) -> Array:
    """Water per dry matter, from the share of water in the whole.

    Parameters
    ----------
    moisture_wet_basis : water over total mass [share], any shape

    Returns
    -------
    moisture : [kg/kg dry matter]

    Equation: X = M / (1 - M).
    Source: definition.
    """
    wet = np.asarray(moisture_wet_basis, dtype=float)
    return wet / (1 - wet)


def wet_basis(moisture: ArrayLike) -> Array:
    """Share of water in the whole, from the water per dry matter.

    Parameters
    ----------
    moisture : [kg/kg dry matter], any shape

    Returns
    -------
    moisture_wet_basis : water over total mass [share]

    Equation: M = X / (1 + X).
    Source: definition.
    """
    dry = np.asarray(moisture, dtype=float)
    return dry / (1 + dry)


def mixed_moisture(mass: ArrayLike, moisture_wet_basis: ArrayLike) -> Array:
    """Moisture a bag settles at when parts of unlike moisture lie in it together.

    Parameters
    ----------
    mass : of each part as weighed [kg], [..., part]
    moisture_wet_basis : of each part [share], [..., part]

    Returns
    -------
    moisture_wet_basis : of the whole [share], [...]

    Equation: M = Σ mᵢ Mᵢ / Σ mᵢ.
    Source: mass balance; wet stems in dry flower make the bag sweat.
    """
    weight = np.asarray(mass, dtype=float)
    return (weight * np.asarray(moisture_wet_basis)).sum(-1) / weight.sum(-1)


def mixed_moisture_dry(mass_dry: ArrayLike, moisture: ArrayLike) -> Array:
    """Water per dry matter of parts taken together.

    Parameters
    ----------
    mass_dry : dry matter of each part, or its share [kg or 1], [..., part]
    moisture : dry basis, of each part [kg/kg], [..., part]

    Returns
    -------
    moisture : dry basis, of the whole [kg/kg], [...]

    Equation: X = Σ mᵢ Xᵢ / Σ mᵢ.
    Source: mass balance.
    """
    weight = np.asarray(mass_dry, dtype=float)
    return (weight * np.asarray(moisture)).sum(-1) / weight.sum(-1)


def in_case_chance(moisture: ArrayLike) -> Array:
    """Chance, hour by hour, that flower is in case: pliable, and dry enough to strip.

    Parameters
    ----------
    moisture : dry basis, of the flower [kg/kg], [draw, ..., hour]; not a number while not up

    Returns
    -------
    chance : [1], [..., hour]

    Equation: share of the draws whose wet basis lies from 12 to 15 %.
    Source: trade practice.
    """
    wet = wet_basis(moisture)
    pliable = (wet >= COEFFICIENTS["in_case_driest"]) & (wet <= COEFFICIENTS["in_case_wettest"])
    return pliable.mean(axis=0)


def in_case_windows(chance: ArrayLike, least: float = 0.5) -> list[tuple[int, int]]:
    """Spans of hours, first and one past the last, in which the chance is at least so high."""
    likely = np.concatenate(([False], np.asarray(chance) >= least, [False]))
    edges = np.flatnonzero(np.diff(likely.astype(int)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]
