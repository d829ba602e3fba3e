"""What work, tests, money and machines cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Crew
from tierpole.units import POUND

Array = NDArray[np.floating]
ArrayLike = Array | float

_MINUTE = 60.0
_POUND_HOUR = POUND / 3600
_HOUR_ACRE = 3600 / 523  # 523 sticks an acre: 1,568 plants, 3 to a stick

WORK = Table(
    "Work for a stick of hemp",
    (
        Value(
            "cut", 2.5 * _MINUTE, "s/stick", Mark.INFERENCE,
            "burley 1.25 min a stick (26 h/acre), hemp 1.5 to 3 times as long",
            1.2 * _MINUTE, 4.0 * _MINUTE, note="2.5 worker-minutes",
        ),
        Value(
            "haul", 0.9 * _MINUTE, "s/stick", Mark.INFERENCE, "8 h/acre with 2 or 3 people",
            0.6 * _MINUTE, 1.6 * _MINUTE, note="0.9 worker-minutes",
        ),
        Value(
            "hang", 2.3 * _MINUTE, "s/stick", Mark.INFERENCE,
            "burley 1.1 to 1.5 min a stick (23 to 31 h/acre), hemp heavier",
            1.1 * _MINUTE, 4.5 * _MINUTE, note="2.3 worker-minutes",
        ),
        Value(
            "take_down", 0.8 * _MINUTE, "s/stick", Mark.INFERENCE, "no figure was found",
            0.4 * _MINUTE, 1.5 * _MINUTE, note="0.8 worker-minutes",
        ),
        Value(
            "strip", 8 * _POUND_HOUR, "kg/s", Mark.INFERENCE,
            "3 to 12 lb an hour by hand (from memory); the New York budget leaves 5 to 6",
            4 * _POUND_HOUR, 14 * _POUND_HOUR, note="8 lb per worker-hour by hand",
        ),
        Value(
            "shred", 7 * _HOUR_ACRE, "s/stick", Mark.INFERENCE, "4 to 10 h/acre; no figure found",
            4 * _HOUR_ACRE, 10 * _HOUR_ACRE, note="7 worker-hours an acre, 523 sticks",
        ),
        Value(
            "strip_flower", 2.5 * _MINUTE, "s/stick", Mark.INFERENCE, "as long as cutting",
            1.0 * _MINUTE, 5.0 * _MINUTE, note="taking green flower off a failed lot to destroy it",
        ),
        Value(
            "destroy", 2 * _HOUR_ACRE, "s/stick", Mark.INFERENCE, "mowing and disking in",
            0.5 * _HOUR_ACRE, 4 * _HOUR_ACRE, note="2 worker-hours an acre, 523 sticks",
        ),
    ),
)  # fmt: skip

CAPITAL = Table(
    "Interest",
    (
        Value(
            "operating", 0.08, "1/year", Mark.MEMORY, "farm operating loans", 0.065, 0.095,
            note="interest on operating capital",
        ),
        Value(
            "real", 0.05, "1/year", Mark.PUBLISHED,
            "Iowa State University Ag Decision Maker A3-29: 8 % less 3 % inflation",
            note="real rate for capital recovery",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class StickWork:
    """Dollars of crew time a stick takes, by step."""

    cut: float
    haul: float
    hang: float
    take_down: float


def stick_work(crew: Crew) -> StickWork:
    """Dollars of crew time a stick takes at the crew's pace and wage."""
    steps = (crew.cut, crew.haul, crew.hang, crew.take_down)
    return StickWork(*(step * crew.wage for step in steps))


def stripping_cost(mass: ArrayLike, rate: float, wage: float) -> Array:
    """Cost of stripping dry biomass from the stalk.

    Parameters
    ----------
    mass : threshed biomass at the selling moisture [kg]
    rate : stripped by one worker [kg/s]
    wage : [dollars/s]

    Returns
    -------
    array : dollars, dims of `mass`

    Equation: mass / rate x wage.
    Source: arithmetic.
    """
    return np.asarray(mass) * (wage / rate)


@dataclass(frozen=True)
class FailWork:
    """Dollars of crew time a stick of a failed lot takes, by what is done with it."""

    strip: float
    shred: float
    destroy: float


def fail_work(wage: float) -> FailWork:
    """Dollars of crew time for the ways out of a failed lot, at a wage [dollars/s]."""
    return FailWork(
        strip=WORK["strip_flower"] * wage,
        shred=WORK["shred"] * wage,
        destroy=WORK["destroy"] * wage,
    )


def interest_operating(cost: ArrayLike, rate: ArrayLike, months: ArrayLike) -> Array:
    """Interest on money spent before the sale.

    Parameters
    ----------
    cost : outlay [dollars]
    rate : simple interest [1/year]
    months : from the outlay to the sale

    Returns
    -------
    array : dollars, broadcast; sum over outlays for the season's interest

    Equation: cost x rate x months / 12.
    Source: extension budgets; Hanchar 2019 charges 5 % for 6 months.
    """
    return np.asarray(cost) * rate * (np.asarray(months) / 12)


def capital_recovery_factor(rate: float, years: float) -> float:
    """Yearly payment that returns one dollar with interest.

    Parameters
    ----------
    rate : [1/year]
    years : economic life

    Returns
    -------
    float : dollars a year per dollar

    Equation: i (1 + i)^n / ((1 + i)^n - 1); 1 / n at no interest.
    Source: ASAE EP496 and D497; Iowa State University Ag Decision Maker A3-29.
    """
    if rate == 0:
        return 1 / years
    growth = (1 + rate) ** years
    return rate * growth / (growth - 1)


def capital_recovery(price: float, salvage: float, rate: float, years: float) -> float:
    """Yearly cost of owning a machine or building.

    Parameters
    ----------
    price, salvage : when bought and at the end [dollars]
    rate : [1/year]
    years : economic life

    Returns
    -------
    float : dollars a year

    Equation: (P - S) x factor + S x i.
    Source: ASAE EP496; Iowa State University Ag Decision Maker A3-29.
    """
    return (price - salvage) * capital_recovery_factor(rate, years) + salvage * rate
