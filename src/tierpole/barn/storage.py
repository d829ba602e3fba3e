"""Taking down, stripping and bagging: when flower is "in case", and how a bag settles.

Flower that is in case bends and does not shatter; below it is brittle, above it moulds in store.
What lies in one bag comes to one water activity, whatever each part brought.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.barn import isotherm, targets
from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

COEFFICIENTS = Table(
    "Stripping and store",
    (
        Value(
            "activity_least", 0.55, "share", Mark.PUBLISHED,
            "ASTM D8197-21, water activity of dry cannabis flower in store (scope as read)",
        ),
        Value(
            "activity_most", 0.65, "share", Mark.PUBLISHED,
            "ASTM D8197-21, as above; several states' rules cap it there",
        ),
        Value("case_chance", 0.5, "share", Mark.INFERENCE, "of draws in case, to name the hours"),
        Value("store", 15.0, "°C", Mark.INFERENCE, "temperature of a store in autumn"),
    ),
)  # fmt: skip

_C = COEFFICIENTS


@dataclass(frozen=True)
class Window:
    """Hours, last one included, in which flower is likely in case, and the best chance of it."""

    first_hour: int
    last_hour: int
    chance: float


def bag_activity(
    mass: ArrayLike,
    moisture_wet_basis: ArrayLike,
    temperature: ArrayLike = COEFFICIENTS["store"],
    scale: ArrayLike = 1.0,
    exponent: ArrayLike = isotherm.COEFFICIENTS["exponent"],
) -> Array:
    """Water activity a bag of unlike parts settles at.

    Parameters
    ----------
    mass : of each part as weighed [kg], [..., part]
    moisture_wet_basis : of each part [share], [..., part]
    temperature : of the store [°C], [...]
    scale, exponent : of the flower's isotherm [1], [...]

    Returns
    -------
    activity : [share], [...]

    Equation: `isotherm.water_activity` of Σ mᵢ Mᵢ / Σ mᵢ.
    Source: mass balance; one isotherm for all parts (departure: stem holds a little less, so the
    flower ends a little damper than said).
    """
    mixed = targets.mixed_moisture(mass, moisture_wet_basis)
    return isotherm.water_activity(targets.dry_basis(mixed), temperature, scale, exponent)


def keeps(activity: ArrayLike) -> NDArray[np.bool_]:
    """True where a water activity is within what store allows: neither mouldy nor brittle."""
    share = np.asarray(activity, dtype=float)
    return (share >= _C["activity_least"]) & (share <= _C["activity_most"])


def case_windows(first_hour: int, moisture_wet_basis: Array) -> Iterator[Window]:
    """Stretches of hours in which flower is in case in at least half of the draws.

    Parameters
    ----------
    first_hour : of the season, of the first column [h]
    moisture_wet_basis : of the flower [share], [draw, hour]; NaN while it does not hang
    """
    chance = targets.in_case_chance(targets.dry_basis(moisture_wet_basis))
    for start, end in targets.in_case_windows(chance, _C["case_chance"]):
        yield Window(first_hour + start, first_hour + end - 1, float(chance[start:end].max()))


def brittle_chance(moisture_wet_basis: ArrayLike) -> Array:
    """Share of draws in which flower is so dry that it shatters.

    Parameters
    ----------
    moisture_wet_basis : of the flower [share], [draw, ...]

    Returns
    -------
    chance : [1], [...]

    Equation: mean over draws of M < M_brittle.
    Source: definition; M_brittle of `targets`.
    """
    share = np.asarray(moisture_wet_basis, dtype=float)
    return (share < targets.COEFFICIENTS["moisture_brittle"]).mean(axis=0)
