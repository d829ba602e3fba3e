"""What a buyer owes by each form of sale, and where his statement departs from it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.farm.books import Sale, Settlement
from tierpole.money import (
    Count,
    Load,
    acreage_revenue,
    counted,
    differences,
    docked_price,
    owed,
    split_revenue,
    toll_revenue,
)
from tierpole.units import POUND, read_quantity

ECONOMICS = load("economics")
POINT = read_quantity("1 USD/point/lb", "a price a point")


def sale(form, **terms):
    return Sale(name="First", buyer="Mill", agreed_on="2026-10-10", form=form, **terms)


def settled(**said):
    return Settlement(sale="First", settled_on="2026-11-01", **said)


def test_settlement_by_the_point_against_hand_work():
    """Pounds at the contract's moisture times points and price; each cause of a difference in $."""
    row = ECONOMICS["settled_by_the_point"]
    terms = sale("by the point", price_point=row["price"] * POINT)
    load = Load(row["delivered"] * POUND, row["moisture"], row["percent"] / 100)
    ours = counted(terms, [load])
    assert ours.mass / POUND == pytest.approx(row["counted"], rel=1e-6)
    assert owed(terms, ours) == pytest.approx(row["due"])
    theirs = settled(
        mass=row["their_pounds"] * POUND, total_cbd=row["their_percent"] / 100,
        deductions=row["their_deductions"], due=row["their_due"],
    )  # fmt: skip
    steps = {step.name: step.dollars for step in differences(terms, ours, theirs)}
    assert steps == pytest.approx(
        {"pounds": row["by_pounds"], "total CBD": row["by_content"], "deductions": -110.0}
    )


def test_settlement_by_the_point_edges_against_hand_work():
    """Nothing below the least content, no more above the cap (settled_by_the_point_edges)."""
    row = ECONOMICS["settled_by_the_point_edges"]
    terms = sale("by the point", price_point=POINT, cbd_lowest=0.05, cbd_cap=0.10)
    for percent, points in zip(row["percent"], row["paid_points"], strict=True):
        ours = counted(terms, [Load(100 * POUND, 0.10, percent / 100)])
        assert owed(terms, ours) == pytest.approx(100 * points)


def test_flat_settlement_against_hand_work():
    """A flat price less dockage for moisture and for stems and seed (settled_flat)."""
    row = ECONOMICS["settled_flat"]
    terms = sale(
        "flat", price_flat=row["price"] / POUND, dockage=row["dockage"] / POUND,
        foreign_most=row["foreign_most"], dockage_foreign=row["dockage_foreign"] / POUND,
        mould_reject=0.02,
    )  # fmt: skip
    load = Load(row["pounds"] * POUND, row["moisture"], foreign=row["foreign"])
    assert owed(terms, counted(terms, [load])) == pytest.approx(row["due"])
    mouldy = Load(row["pounds"] * POUND, 0.10, mould=0.02)
    assert owed(terms, counted(terms, [load, mouldy])) == pytest.approx(row["due"])
    assert docked_price(3.0, 0.60, 0.10, 0.10) == 0.0


def test_split_and_toll_against_hand_work():
    """Whose risk the recovery is (settled_split, settled_toll)."""
    split, toll = ECONOMICS["settled_split"], ECONOMICS["settled_toll"]
    mass, cbd, price = split["pounds"] * POUND, split["percent"] / 100, split["price"] * POINT
    about = {"price_point": price, "is_as_received": True}
    shared = sale("processor keeps a share", share_kept=split["share_kept"], **about)
    charged = sale("fee a pound", fee=toll["fee"] / POUND, **about)
    of_dry = shared.model_copy(update={"is_as_received": False})
    for recovery, kept, left in zip(split["recovery"], split["due"], toll["due"], strict=True):
        assert split_revenue(mass, cbd, recovery, price, 0.5) == pytest.approx(kept)
        assert toll_revenue(mass, cbd, recovery, price, 1.5 / POUND) == pytest.approx(left)
        count = Count(mass, cbd, recovery)
        assert owed(shared, count) == pytest.approx(kept)
        assert owed(charged, count) == pytest.approx(left)
        assert owed(of_dry, count) == pytest.approx(0.9 * kept)  # a tenth of the pounds is water
    assert owed(shared, Count(mass, cbd)) is None


def test_settlement_by_the_acre_against_hand_work():
    """Acres at a price, less the plants the buyer supplied (settled_by_the_acre)."""
    row = ECONOMICS["settled_by_the_acre"]
    area, price = row["acres"] * read_quantity("1 acre", "an area"), row["price"]
    rate = price / read_quantity("1 acre", "an area")
    supplied = row["plants"] * row["plant_price"]
    assert acreage_revenue(area, rate, supplied) == pytest.approx(row["due"])
    terms = sale("by the acre", price_area=rate, area=area, plants_supplied=supplied)
    assert owed(terms, counted(terms, [])) == pytest.approx(row["due"])


shares = st.floats(0, 0.3)
loads = st.builds(Load, st.floats(1, 2000), shares, shares, shares, shares)


@given(st.lists(loads, min_size=1, max_size=4), st.floats(0, 2000), shares, st.floats(0, 500),
       st.floats(0, 1e5))  # fmt: skip
def test_causes_limits(given_loads, mass, cbd, deductions, due):
    """Whatever a buyer says, the causes add to the whole difference, to the cent."""
    terms = sale("by the point", price_point=POINT, cbd_lowest=0.02, cbd_cap=0.12)
    ours = counted(terms, given_loads)
    theirs = settled(mass=mass, total_cbd=cbd, deductions=deductions, due=due)
    summed = sum(step.dollars for step in differences(terms, ours, theirs))
    assert summed == pytest.approx(due - (owed(terms, ours) or 0.0), abs=0.02)
