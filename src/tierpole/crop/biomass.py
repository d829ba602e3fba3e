"""How much dry biomass a plant gives, by its spacing, setting date and days of flowering."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

_BAOX_HARVESTS = "Linder et al. 2022, Horticulturae 8(10):959"
_BAOX_SPACING = "Linder et al. 2022, Agronomy 12(8):1856"
_BALANCE = "reconciled from trade ranges so that fresh weight, dry split and pounds sold agree"

COEFFICIENTS = Table(
    "Biomass",
    (
        Value(
            "mass_start", 0.050, "kg", Mark.INFERENCE, f"linear-plateau form of {_BAOX_HARVESTS}"
        ),
        Value(
            "mass_daily",
            0.0057,
            "kg/d",
            Mark.INFERENCE,
            f"linear-plateau form of {_BAOX_HARVESTS}; numbers chosen to give 0.37 kg",
        ),
        Value(
            "days_to_plateau",
            56.0,
            "d",
            Mark.INFERENCE,
            f"linear-plateau form of {_BAOX_HARVESTS}",
            low=49.0,
            high=70.0,
        ),
        Value(
            "mass_alone",
            0.55,
            "kg",
            Mark.INFERENCE,
            "chosen so that 1,742 plants an acre give 1,411 lb, inside the 1,200-1,400 lb of "
            "floral biomass at Watkinsville, UGA impact statement 9204",
        ),
        Value(
            "density_half",
            0.8648685,
            "plants/m2",
            Mark.INFERENCE,
            "3,500 plants an acre; direction (closer: less a plant, more an acre) as "
            + _BAOX_SPACING,
        ),
        Value(
            "delay_cost",
            0.0064,
            "kg/d",
            Mark.PUBLISHED,
            f"{_BAOX_SPACING}: 6.4 g less dry biomass a plant for each day of delay",
            low=0.0045,
            high=0.0083,
        ),
        Value(
            "delay_floor",
            0.25,
            "share",
            Mark.INFERENCE,
            "a late plant still makes a quarter of a timely one",
        ),
        Value("split_flower", 0.40, "share", Mark.INFERENCE, _BALANCE),
        Value("split_leaf", 0.22, "share", Mark.INFERENCE, _BALANCE),
        Value(
            "leaf_drop_start",
            42.0,
            "d",
            Mark.INFERENCE,
            "fan leaves begin to drop six weeks after initiation",
        ),
        Value("leaf_drop", 0.01, "1/d", Mark.INFERENCE, "share of the leaf lost a day after that"),
        Value(
            "split_day",
            49.0,
            "d",
            Mark.INFERENCE,
            "days after initiation at which the split of flower, leaf and stem holds",
        ),
    ),
)


def mass_course(days_flowering: Array) -> Array:
    """Threshed dry biomass of a plant as a share of its plateau.

    Parameters
    ----------
    days_flowering : days since flower initiation [d], any shape

    Returns
    -------
    share of the plateau [-], same shape

    Equation: (b0 + b1 min(tau, ts)) / (b0 + b1 ts), tau not below 0.

    Source: linear-plateau form, Linder et al. 2022, Horticulturae 8(10):959; their table was not
    at hand, so the numbers are inference. Harvests from 14 to 98 d after initiation.
    """
    start, daily = COEFFICIENTS["mass_start"], COEFFICIENTS["mass_daily"]
    plateau = COEFFICIENTS["days_to_plateau"]
    return (start + daily * np.clip(days_flowering, 0.0, plateau)) / (start + daily * plateau)


def mass_at_density(density: Array | float) -> Array | float:
    """Threshed dry biomass of one plant at its plateau, by spacing.

    Parameters
    ----------
    density : plants set per area [1/m2]

    Returns
    -------
    dry mass [kg/plant], same shape

    Equation: w = wmax / (1 + rho/rho50).

    Source: yield-density hyperbola (Shinozaki & Kira 1956, from memory) with numbers by inference;
    set on 1 June.
    Valid range: 0.25 to 1 plants/m2, about 1,000 to 4,000 an acre.
    """
    return COEFFICIENTS["mass_alone"] / (1.0 + density / COEFFICIENTS["density_half"])


def mass_after_delay(
    mass: Array, days_late: Array | float, daily_cost: Array | float = COEFFICIENTS["delay_cost"]
) -> Array:
    """Threshed dry biomass of a plant that was set later than 1 June.

    Parameters
    ----------
    mass : dry mass when set on 1 June [kg/plant]
    days_late : days after 1 June, negative if earlier [d]
    daily_cost : mass lost for each day [kg/d]

    Returns
    -------
    dry mass [kg/plant], broadcast

    Equation: max(0.25 B, B - b d).

    Source: slope from Linder et al. 2022, Agronomy 12(8):1856, BaOx set from 11 May to 7 July;
    the floor is inference.
    """
    return np.maximum(COEFFICIENTS["delay_floor"] * mass, mass - daily_cost * days_late)


def leaf_share(days_flowering: Array) -> Array:
    """Share of leaf in a plant's flower and leaf, by dry mass.

    Parameters
    ----------
    days_flowering : days since flower initiation [d], any shape

    Returns
    -------
    share [-], same shape; 1 at initiation, falling as flower loads and fan leaves drop

    Equation: L / (L + F), F = F1 min(tau, ts), L = L0 (1 - 0.01 (tau - 42)+); F1 and L0 such that
    flower : leaf is 0.40 : 0.22 at 49 d.

    Source: inference; flower weight rises through 5 to 11 weeks (PMC8747189), leaf does not.
    """
    day = COEFFICIENTS["split_day"]
    flower = COEFFICIENTS["split_flower"] * _flower_course(days_flowering) / _flower_course(day)
    leaf = COEFFICIENTS["split_leaf"] * _leaf_course(days_flowering) / _leaf_course(day)
    return leaf / (leaf + flower)


def _flower_course(days_flowering: Array | float) -> Array:
    """Flower mass, as a share of its final value."""
    plateau = COEFFICIENTS["days_to_plateau"]
    return np.clip(days_flowering, 0.0, plateau) / plateau


def _leaf_course(days_flowering: Array | float) -> Array:
    """Leaf mass, as a share of what was there before leaves dropped."""
    dropping = np.maximum(np.asarray(days_flowering) - COEFFICIENTS["leaf_drop_start"], 0.0)
    return np.maximum(1.0 - COEFFICIENTS["leaf_drop"] * dropping, 0.0)
