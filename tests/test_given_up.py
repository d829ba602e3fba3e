"""Hemp beside the crops given up: partial budgets against a published one, and the page of it."""

from __future__ import annotations

from dataclasses import replace

import httpx
import numpy as np
import pytest
from pydantic import ValidationError

import synthetic
from books_office import quick_office
from page_server import served
from published_values import load
from tierpole.farm.books import Bag, Delivery, Disposal, OtherCrop, Sale, Settlement
from tierpole.office.acres import acres_of
from tierpole.office.given_up import HempAcre, crop_left, given_up, instead_of, is_settled
from tierpole.office.sales import sale_desk
from tierpole.records import Change, write
from tierpole.units import ACRE

WAGE = 18 / 3600
TOBACCO = OtherCrop(
    name="Burley", priced_on="2026-09-01", returns=4200 / ACRE, returns_low=3300 / ACRE,
    returns_high=4900 / ACRE, costs=1500 / ACRE, hours=100 * 3600.0,
)  # fmt: skip


def test_an_acre_instead_against_farm_press():
    """An acre of the published hundred that were turned from beans to corn, line by line."""
    row = load("economics")["partial_budget"]
    corn = row["added_bushels"] * row["price_bushel"]
    beans = OtherCrop(
        name="Beans", priced_on="2026-09-01", costs=row["reduced_costs"] / ACRE,
        returns=row["reduced_hundredweight"] * row["price_hundredweight"] / ACRE,
    )  # fmt: skip
    acre = HempAcre(np.array([corn - row["added_costs"]]), row["added_costs"], True)
    found = instead_of(acre, beans, WAGE)
    assert found.change * row["acres"] == pytest.approx(row["change"])
    assert found.added_returns == pytest.approx(corn)
    assert found.reduced_costs == pytest.approx(row["reduced_costs"])
    assert found.spread.low == pytest.approx(found.spread.high), "nothing was said of other years"


def test_an_acre_instead_limits():
    """A better hemp year and a worse year of the other crop both speak for hemp; hours cost."""
    left = crop_left(TOBACCO, WAGE)
    assert left.size == 20
    assert left.mean() < 4200 - 1500 - 1800 + 1, "a bad year is further off than a good one"
    assert crop_left(TOBACCO, 0.0) == pytest.approx(left + 1800)
    draws = np.random.default_rng(2).normal(900, 2000, 400)
    found = instead_of(HempAcre(draws, 6000.0, False), TOBACCO, WAGE)
    richer = instead_of(HempAcre(draws + 500, 6000.0, False), TOBACCO, WAGE)
    assert richer.change == pytest.approx(found.change + 500)
    assert richer.spread.p_loss < found.spread.p_loss
    below = (draws[:, None] < left).mean()
    assert found.spread.p_loss == pytest.approx(below)


def test_a_usual_year_lies_between():
    with pytest.raises(ValidationError, match="returns from returns_low to returns_high"):
        OtherCrop(name="Hay", priced_on="2026-09-01", returns=1.0, returns_low=2.0, costs=0.5)


@pytest.fixture
def office(tmp_path):
    with quick_office(tmp_path) as office:
        yield office


def say(office, *nouns):
    write(office.store, [Change(one, known_on=office.season.on) for one in nouns], "Ann")


SOLD = (
    Bag(name="B1", lot="2 Bank", filled_on="2026-09-01", mass=100.0, moisture=0.10),
    Sale(name="First", buyer="Mill", agreed_on="2026-09-01", form="flat", price_flat=10.0),
    Delivery(sale="First", mass=100.0, delivered_on="2026-09-02", bags=("B1",)),
)


def test_settled_when_all_is_gone_and_told(office):
    """The plan speaks until nothing is to be cut, hangs or is in store, and the buyer has told."""
    season, plan = office.season, synthetic.plan()
    empty = replace(season, hangings=())
    over = replace(plan, lots=tuple(replace(lot, cuts=()) for lot in plan.lots))

    def settled(season=empty, plan=over):
        sales = sale_desk(office.store, 2026, season.on).every()
        return is_settled(office.store, season, plan, sales)

    assert not settled(), "nothing was sold"
    say(office, *SOLD)
    assert not settled(), "the buyer has not told"
    say(office, Settlement(sale="First", mass=100.0, settled_on="2026-09-05", due=1000.0))
    assert settled()
    assert not settled(plan=plan)
    assert not settled(season)
    say(office, Bag(name="B2", lot="2 Bank", filled_on="2026-09-01", mass=90.0, moisture=0.10))
    assert not settled(), "a bag lies in store"
    say(office, Disposal(lot="2 Bank", disposed_on="2026-09-06", method="burned", bags=("B2",)))
    assert settled()
    sales = sale_desk(office.store, 2026, season.on).every()
    say(office, TOBACCO)
    acres = acres_of(office.store, season, sales, None)
    told = given_up(office.store, empty, over, acres, sales)
    assert told.is_settled
    (beside,) = told.instead
    assert beside.added_returns - beside.added_costs == pytest.approx(acres.whole.left_per_acre)
    assert told.sentence.startswith("An acre of hemp left ")


def test_the_page_compares_with_what_was_written_down(office):
    """Before any other crop is written down it asks for one; then it says the best one first."""
    with served(office) as address, httpx.Client(base_url=address) as client:
        assert "Write down what an acre of tobacco" in client.get("/acres").text
        hay = OtherCrop(name="Hay", priced_on="2026-09-01", returns=450 / ACRE, costs=375 / ACRE)
        say(office, hay, TOBACCO)
        text = client.get("/acres").text.replace("\u00a0", " ").replace("\u2060", "")
    assert "An acre of hemp leaves less than an acre of burley in " in text
    assert text.index("Hemp instead of burley") < text.index("Hemp instead of hay")
    assert '<td class="number">$375</td>' in text
    assert "−$4,200" in text
