"""What a buyer pays, and whether he does: forms of price, open prices, buyer risk.

Prices are dollars per kg (of CBD, where a price is by the point), so a price "a point a pound" is
100 / 0.4536 times as many dollars a kilogram of CBD. Another form of price is one more function in
`_FORMS`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Market, PriceForm
from tierpole.units import POUND

Array = NDArray[np.floating]
ArrayLike = Array | float

_POINT = 100 / POUND  # dollars per point and pound, as dollars per kg of CBD

MARKET = Table(
    "Prices and buyers",
    (
        Value(
            "paid_full", 0.85, "1", Mark.INFERENCE,
            "creditor suits and bankruptcies of processors, 2019 to 2021",
            note="chance that a contract is paid in full",
        ),
        Value(
            "paid_half", 0.10, "1", Mark.INFERENCE, "as paid_full",
            note="chance that about half of it is paid",
        ),
        Value(
            "part_share", 0.5, "1", Mark.INFERENCE, "as paid_full",
            note="share paid when a contract is paid in part",
        ),
        Value(
            "no_buyer", 0.4, "1", Mark.INFERENCE,
            "65 % of 431 licensed growers and processors had no buyer, autumn 2019", 0.2, 0.65,
            note="chance to find no buyer without a contract",
        ),
        Value(
            "price_and_payment", 0.4, "1", Mark.INFERENCE,
            "the buyers of 2019 and 2020 failed while the price fell",
            note="correlation of an open price with the buyer's payment, normal scores",
        ),
        Value(
            "spot_biomass", 0.45 * _POINT, "USD/kg CBD", Mark.INFERENCE,
            "price reports 2020 to 2022; none later was found", 0.20 * _POINT, 1.00 * _POINT,
            note="median; 0.45 (0.20 to 1.00) dollars a point a pound",
        ),
        Value(
            "spot_biomass_sd", 0.63, "1", Mark.INFERENCE, "as spot_biomass",
            note="standard deviation of the log price",
        ),
    ),
)  # fmt: skip


class Settlement(IntEnum):
    """How a sale ends, worst first."""

    UNSOLD = 0
    UNPAID = 1
    PART_PAID = 2
    PAID = 3


@dataclass(frozen=True)
class Sales:
    """The market of each draw: price [dollars per kg, of CBD where paid by the point], dims [draw].

    `paid_share` is the share of the bill that is paid, `settlement` how the sale ended.
    """

    price: Array
    paid_share: Array
    settlement: NDArray[np.int64]


def mass_at_moisture(mass: ArrayLike, moisture: ArrayLike, wanted: ArrayLike) -> Array:
    """The mass of the same dry matter at another moisture.

    Parameters
    ----------
    mass : at `moisture` [kg]
    moisture, wanted : water, wet basis [1]

    Returns
    -------
    array : at `wanted` [kg], broadcast

    Equation: mass (1 - moisture) / (1 - wanted).
    Source: mass balance.
    """
    return np.asarray(mass * (1 - np.asarray(moisture)) / (1 - np.asarray(wanted)))


def point_revenue(
    mass: ArrayLike, cbd: ArrayLike, price: ArrayLike, lowest: float = 0.0, cap: float = 1.0
) -> Array:
    """What biomass brings that is paid by its percentage of CBD.

    Parameters
    ----------
    mass : at the contract's moisture [kg]
    cbd : total CBD as the contract counts it, share of dry weight [1]
    price : dollars per kg of CBD
    lowest : content below which nothing is paid [1]
    cap : content above which no more is paid [1]

    Returns
    -------
    array : dollars, broadcast

    Equation: mass x min(cbd, cap) x price, 0 where cbd < lowest.
    Source: forms of contract in extension lists; 6.5 % x 1,800 lb x $1.50 = $17,550.
    Departures: a dry-basis content on moist weight is paid as it stands, which is how contracts
    read; one that pays on dry weight has moisture 0.
    """
    paid = np.where(np.asarray(cbd) < lowest, 0.0, np.minimum(cbd, cap))
    return mass * paid * np.asarray(price)


def flat_revenue(mass: ArrayLike, price: ArrayLike, dock: ArrayLike = 0.0) -> Array:
    """What biomass brings at a flat price.

    Parameters
    ----------
    mass : at the contract's moisture [kg]
    price : dollars per kg
    dock : share taken off the price [1], see `dockage`

    Returns
    -------
    array : dollars, broadcast

    Equation: mass x price x (1 - dock), never below 0.
    Source: forms of contract in extension lists.
    """
    return np.asarray(mass * np.asarray(price) * np.maximum(1 - np.asarray(dock), 0.0))


def dockage(measured: ArrayLike, allowed: float, rate: float, reject: float = 1.0) -> Array:
    """Share taken off a flat price for moisture, stem, seed or foreign matter.

    Parameters
    ----------
    measured, allowed : share of the load, and what the contract allows [1]
    rate : share of the price lost for each unit of share above it [1]
    reject : share from which the load is refused [1]

    Returns
    -------
    array : share of the price [1], 0 to 1

    Equation: rate x (measured - allowed), at least 0; 1 where measured >= reject.
    Source: forms of contract in extension lists; each contract has its own numbers.
    """
    off = np.clip(rate * (np.asarray(measured) - allowed), 0.0, 1.0)
    return np.where(np.asarray(measured) >= reject, 1.0, off)


def revenue(mass: ArrayLike, cbd: ArrayLike, price: ArrayLike, market: Market) -> Array:
    """What biomass brings under the farm's contract, were it paid in full [dollars]."""
    return _FORMS[market.form](mass, cbd, price, market)


def draw_sales(
    rng: np.random.Generator, draws: int, market: Market, no_buyer: float = 0.0
) -> Sales:
    """Draws of price and payment, low prices with poor payers.

    Parameters
    ----------
    draws : number of draws
    market : contract or open market: price, its log spread, chances to be paid
    no_buyer : chance to find no buyer at all [1]

    Returns
    -------
    Sales : dims [draw]

    Equation: log price normal round the log of the stated price; payment by the normal score
    r z + sqrt(1 - r^2) e, worst outcome at the lowest scores.
    Source: Gaussian copula (textbook); correlation r and chances as in the table `MARKET`.
    """
    z, own = rng.standard_normal((2, draws))
    r = MARKET["price_and_payment"]
    score = ndtr(r * z + np.sqrt(1 - r**2) * own)
    paid = np.array([1 - market.paid_full - market.paid_half, market.paid_half, market.paid_full])
    chances = np.cumsum([no_buyer, *((1 - no_buyer) * paid)])
    settlement = np.searchsorted(chances[:-1], score, side="right")
    shares = np.array([0.0, 0.0, MARKET["part_share"], 1.0])
    return Sales(_stated(market) * np.exp(market.price_sd * z), shares[settlement], settlement)


def _stated(market: Market) -> float:
    price = market.price if market.form is PriceForm.POINT else market.flat_price
    if price is None:
        raise ValueError(f"a market paid by form {market.form} needs its price")
    return price


def _by_point(mass: ArrayLike, cbd: ArrayLike, price: ArrayLike, market: Market) -> Array:
    return point_revenue(mass, cbd, price, market.lowest_cbd, market.cbd_cap)


def _flat(mass: ArrayLike, cbd: ArrayLike, price: ArrayLike, market: Market) -> Array:
    return flat_revenue(mass, price, dock=np.where(np.asarray(cbd) < market.lowest_cbd, 1.0, 0.0))


_FORMS: dict[PriceForm, Callable[[ArrayLike, ArrayLike, ArrayLike, Market], Array]] = {
    PriceForm.POINT: _by_point,
    PriceForm.FLAT: _flat,
}
