"""The dollars of one stick, piece by piece, so that a difference can be told apart."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from tierpole.farm import Costs, Crew, Market
from tierpole.money.costs import interest_operating, stick_work, stripping_cost
from tierpole.money.selling import Sales, revenue

Array = NDArray[np.floating]
ArrayLike = Array | float


@dataclass(frozen=True)
class StickValue:
    """Dollars a stick by piece; costs are negative, so that the pieces add up to `total`.

    Each piece has only the dims it depends on, ready to broadcast with the others.
    """

    revenue: Array
    cut: Array
    haul: Array
    hang: Array
    take_down: Array
    strip: Array
    drying: Array
    interest: Array

    @property
    def total(self) -> Array:
        """All pieces added, broadcast to [draw, lot, day, place]."""
        return sum((getattr(self, f.name) for f in fields(self)), start=np.zeros(()))


def mass_sold(mass: ArrayLike, field_loss: ArrayLike, drying_loss: ArrayLike) -> Array:
    """Biomass of a stick that is left to sell.

    Parameters
    ----------
    mass : threshed biomass of a stick without losses, at the selling moisture [kg]
    field_loss : share lost by the day it is cut [1], dims [draw, lot, day]
    drying_loss : share lost while it hangs [1], dims [draw, place, day] set out to broadcast

    Returns
    -------
    array : [kg], broadcast

    Equation: mass (1 - field_loss) (1 - drying_loss).
    Source: arithmetic; that the losses act one after the other is inference.
    """
    return np.asarray(mass) * (1 - np.asarray(field_loss)) * (1 - np.asarray(drying_loss))


def value_per_stick(
    sold: ArrayLike,
    cbd: ArrayLike,
    sales: Sales,
    market: Market,
    crew: Crew,
    costs: Costs,
    drying_cost: ArrayLike = 0.0,
) -> StickValue:
    """Dollars of a stick that is cut under a pass, after everything still to be spent on it.

    Parameters
    ----------
    sold : biomass left to sell [kg], dims [draw, lot, day, place]
    cbd : total CBD of the sold biomass, share of dry weight [1], dims [draw, lot, day, 1]
    sales : price and payment, dims [draw] (set out here along the first dim of `sold`)
    market, crew, costs : contract, pace and wage, interest
    drying_cost : fuel and power for a stick [dollars], dims [place] or one number

    Returns
    -------
    StickValue : dollars a stick

    Equation: revenue x paid share - cut - haul - hang - take down - strip - drying - interest on
    all of these until the sale.
    Source: arithmetic.
    """
    along = (-1, *([1] * (np.ndim(sold) - 1)))
    price, paid = sales.price.reshape(along), sales.paid_share.reshape(along)
    work = stick_work(crew)
    strip = stripping_cost(sold, crew.strip, crew.wage)
    hands = work.cut + work.haul + work.hang + work.take_down
    outlay = strip + hands + drying_cost
    return StickValue(
        revenue=revenue(sold, cbd, price, market) * paid,
        cut=np.asarray(-work.cut),
        haul=np.asarray(-work.haul),
        hang=np.asarray(-work.hang),
        take_down=np.asarray(-work.take_down),
        strip=-strip,
        drying=-np.asarray(drying_cost, float),
        interest=-interest_operating(outlay, costs.interest, costs.months_to_sale),
    )


def split_change(
    value: Callable[[Mapping[str, ArrayLike]], ArrayLike],
    before: Mapping[str, ArrayLike],
    after: Mapping[str, ArrayLike],
) -> dict[str, Array]:
    """How much of a change in value each cause brings; the parts add up to the whole change.

    Parameters
    ----------
    value : dollars from the causes, by name
    before, after : the causes in both cases, same names

    Returns
    -------
    dict : dollars by cause, as `value` returns them

    Equation: for each cause, the mean over all orders of changing the causes one by one of what
    the value gains when its turn comes: sum over sets S of the others of
    |S|! (n - |S| - 1)! / n! x (value with S and the cause changed - value with S changed).
    Source: Shapley 1953, Contributions to the Theory of Games II (from memory).
    """
    names = list(before)
    worth = {
        changed: np.asarray(value({**before, **{name: after[name] for name in changed}}), float)
        for size in range(len(names) + 1)
        for changed in map(frozenset, combinations(names, size))
    }
    parts: dict[str, Array] = {name: np.zeros(()) for name in names}
    for changed, dollars in worth.items():
        for name in changed:
            others = changed - {name}
            orders = len(names) * comb(len(names) - 1, len(others))
            parts[name] = parts[name] + (dollars - worth[others]) / orders
    return parts
