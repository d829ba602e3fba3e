"""Forms of price, open prices and buyers who may not pay."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.farm import Market, PriceForm
from tierpole.money import (
    Settlement,
    dockage,
    draw_sales,
    flat_revenue,
    mass_at_moisture,
    point_revenue,
    revenue,
)
from tierpole.units import POUND, read_quantity

ECONOMICS = load("economics")
CONTRACT = Market(
    price=read_quantity("1.40 USD/point/lb", "a price a point"),
    remediated_price=0.9,
    lowest_cbd=0.03,
    cbd_cap=0.10,
)
masses = st.floats(0, 5)
contents = st.floats(0, 0.2)


def test_point_price_against_arithmetic():
    """6.5 % on 1,800 lb at $1.50 a point a pound is $17,550."""
    row = ECONOMICS["point_price"]
    price = read_quantity(f"{row['price']} USD/point/lb", "a price a point")
    paid = point_revenue(row["pounds"] * POUND, row["percent"] / 100, price)
    assert float(paid) == pytest.approx(row["dollars"])


def test_point_contract_limits():
    """Nothing below the least content, no more above the cap, in proportion between."""
    cbd = np.array([0.029, 0.03, 0.06, 0.10, 0.14])
    paid = revenue(1.0, cbd, 300.0, CONTRACT)
    assert paid == pytest.approx([0.0, 9.0, 18.0, 30.0, 30.0])


def test_moisture_limits():
    """The same dry matter weighs more when moist; paying dry percent on it overpays 11 %."""
    moist = mass_at_moisture(0.90, 0.0, 0.10)
    assert float(moist) == pytest.approx(1.0)
    assert float(mass_at_moisture(moist, 0.10, 0.0)) == pytest.approx(0.90)
    over = point_revenue(moist, 0.07, 300.0) / point_revenue(0.90, 0.07, 300.0)
    assert float(over) == pytest.approx(1.111, abs=5e-4)


def test_flat_price_and_dockage_limits():
    """A flat price loses its dockage, down to nothing; a refused load brings nothing."""
    dock = dockage(np.array([0.08, 0.12, 0.60, 0.16]), allowed=0.10, rate=2.0, reject=0.55)
    assert dock == pytest.approx([0.0, 0.04, 1.0, 0.12])
    assert flat_revenue(10.0, 4.0, dock) == pytest.approx([40.0, 38.4, 0.0, 35.2])
    flat = CONTRACT.model_copy(update={"form": PriceForm.FLAT, "flat_price": 4.0})
    assert revenue(10.0, np.array([0.02, 0.05]), 4.0, flat) == pytest.approx([0.0, 40.0])


@given(masses, masses, contents, contents)
def test_revenue_limits(mass, more, cbd, richer):
    """Never negative; twice the mass, twice the money; more mass or content never less."""
    price = 300.0
    paid = float(revenue(mass, cbd, price, CONTRACT))
    assert paid >= 0
    assert float(revenue(2 * mass, cbd, price, CONTRACT)) == pytest.approx(2 * paid)
    assert float(revenue(mass + more, cbd, price, CONTRACT)) >= paid
    assert float(revenue(mass, cbd + richer, price, CONTRACT)) >= paid


def test_payment_simulated():
    """Draws are paid as often as stated, 0.90 of the bill on average, at the contract's price."""
    row = ECONOMICS["payment"]
    sales = draw_sales(np.random.default_rng(1), 100_000, CONTRACT)
    assert (sales.price == CONTRACT.price).all()
    assert (sales.settlement == Settlement.PAID).mean() == pytest.approx(
        row["paid_full"], abs=0.005
    )
    part = (sales.settlement == Settlement.PART_PAID).mean()
    assert part == pytest.approx(row["paid_half"], abs=0.005)
    assert sales.paid_share.mean() == pytest.approx(row["expected"], abs=0.005)
    assert not (sales.settlement == Settlement.UNSOLD).any()


def test_open_market_simulated():
    """An open price has its stated median and spread, and low prices come with poor payers."""
    market = CONTRACT.model_copy(update={"price_sd": 0.63})
    sales = draw_sales(np.random.default_rng(2), 100_000, market, no_buyer=0.4)
    logs = np.log(sales.price)
    assert np.exp(np.median(logs)) == pytest.approx(CONTRACT.price, rel=0.01)
    assert logs.std() == pytest.approx(0.63, abs=0.005)
    unsold = sales.settlement == Settlement.UNSOLD
    assert unsold.mean() == pytest.approx(0.4, abs=0.005)
    paid_in_full = (sales.settlement == Settlement.PAID).mean()
    assert paid_in_full == pytest.approx(0.6 * 0.85, abs=0.005)
    assert sales.price[unsold].mean() < 0.85 * sales.price[~unsold].mean()
    assert (sales.paid_share[unsold] == 0).all()


def test_same_seed_same_market():
    """The same seed gives the same draws."""
    first, second = (draw_sales(np.random.default_rng(9), 50, CONTRACT) for _ in range(2))
    assert (first.paid_share == second.paid_share).all()


def test_a_market_without_its_price_is_refused():
    """A flat market without a flat price cannot be drawn."""
    market = CONTRACT.model_copy(update={"form": PriceForm.FLAT})
    with pytest.raises(ValueError, match="flat needs its price"):
        draw_sales(np.random.default_rng(0), 1, market)
