"""Room in sticks, plants to a stick, and what the rails carry.

Everything is in metres, kilograms and newtons. No load here is called safe: what an old rail
bears is for the farmer and a carpenter to say.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Place
from tierpole.units import POUND

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

COEFFICIENTS = Table(
    "Sticks and rails",
    (
        Value(
            "stick_weight", 18 * POUND, "kg", Mark.INFERENCE,
            "green weight of a full stick of hemp, 18 lb; burley sticks of 30-35 lb are too dense "
            "for hemp flower; no source found, weigh some",
            low=12 * POUND, high=25 * POUND,
        ),
        Value(
            "plants_most", 5.0, "plants", Mark.INFERENCE,
            "burley goes five to eight to a stick; hemp fewer, for air between the plants",
        ),
        Value("gravity", 9.80665, "m/s2", Mark.PUBLISHED, "standard gravity, CGPM 1901"),
    ),
)  # fmt: skip


def sticks_per_run(run_length: ArrayLike, stick_spacing: ArrayLike) -> Counts:
    """Whole sticks that fit side by side along a run.

    Parameters
    ----------
    run_length : clear length [m], any shape
    stick_spacing : centre to centre [m], broadcast

    Returns
    -------
    sticks : [1]

    Equation: floor(L / s).
    Source: Killebrew & Myrick 1897, Tobacco Leaf: a 24 ft tier at 8 in holds 36.
    """
    # a hair of slack: 64 ft at 8 in is 96 sticks whatever the rounding of metres
    return np.floor(np.asarray(run_length) / np.asarray(stick_spacing) + 1e-9).astype(np.int64)


def stick_capacity(
    run_length: ArrayLike,
    stick_spacing: ArrayLike,
    runs: ArrayLike,
    tiers: ArrayLike,
    keep_out: ArrayLike = 0,
) -> Counts:
    """Sticks a place holds.

    Parameters
    ----------
    run_length : clear length of one run of sticks [m], any shape
    stick_spacing : centre to centre [m], broadcast
    runs : rows of sticks across the building [1], broadcast
    tiers : rows one above the other that are used [1], broadcast
    keep_out : sticks lost to driveway, hot top or damp bottom [1], broadcast

    Returns
    -------
    sticks : [1], never below 0

    Equation: tiers x runs x floor(L / s) - keep-outs.
    Source: counting; University of Kentucky ID-116, Table 1 counts its frames the same way.
    """
    rows = np.asarray(runs) * np.asarray(tiers)
    room = rows * sticks_per_run(run_length, stick_spacing) - np.asarray(keep_out)
    return np.maximum(room, 0).astype(np.int64)


def hung_runs(place: Place) -> int:
    """Runs that are hung full: those over an aisle are kept free."""
    return max(place.runs - place.aisle_runs, 0)


def hung_tiers(place: Place) -> range:
    """Tiers that are hung, 1 the lowest: a damp bottom or a hot top may be kept free."""
    return range(1 + place.is_bottom_free, 1 + place.tiers - place.is_top_free)


def place_capacity(place: Place) -> int:
    """Sticks a place of the farm holds by its own measurements."""
    tiers = len(hung_tiers(place))
    length, spacing = place.run_length, place.stick_spacing
    return int(stick_capacity(length, spacing, hung_runs(place), tiers, place.keep_out))


def plants_per_stick(weight_green: ArrayLike) -> Counts:
    """Plants to hang on a stick so that it carries about its usual green weight.

    Parameters
    ----------
    weight_green : of one plant as cut [kg], any shape

    Returns
    -------
    plants : [1], 1 to 5

    Equation: round(W_stick / W_plant), between 1 and the most.
    Source: ours (inference); see the coefficients.
    """
    plants = np.floor(COEFFICIENTS["stick_weight"] / np.asarray(weight_green, dtype=float) + 0.5)
    return np.clip(plants, 1, COEFFICIENTS["plants_most"]).astype(np.int64)


def needs_sectioning(weight_green: ArrayLike) -> NDArray[np.bool_]:
    """True where one plant outweighs a heavy stick: break it into branches before hanging."""
    heaviest = COEFFICIENTS.row("stick_weight").high
    return np.asarray(weight_green, dtype=float) > heaviest


def rail_load(stick_weight: ArrayLike, stick_spacing: ArrayLike, rail_sides: int = 2) -> Array:
    """Force that hung sticks put on each metre of a rail.

    Parameters
    ----------
    stick_weight : [kg], any shape
    stick_spacing : centre to centre [m], broadcast
    rail_sides : 2 for a rail with sticks on both sides, 1 for an edge rail

    Returns
    -------
    load : [N/m]

    Equation: w = g W / s x sides / 2; a stick leans half its weight on each of its two rails.
    Source: statics.
    """
    per_length = np.asarray(stick_weight, dtype=float) / np.asarray(stick_spacing)
    return COEFFICIENTS["gravity"] * per_length * rail_sides / 2
