"""The short forms of what is sold, on a phone: large enough, in view, one tap to the books."""

from __future__ import annotations

import pytest

from open_farm import open_farm
from tierpole.farm.books import Bag, Sale
from tierpole.office.entry import SELLING
from tierpole.office.people import Role
from tierpole.records import Change, write

ANSWERS = {
    "spot": {"buyer": "Mill", "name": "Mill, first load", "bags": "B-11", "mass": "1,240",
             "price_flat": "$8", "amount": "9,920"},
    "agreed": {"buyer": "Mill", "name": "Oil", "form": "by the point", "price_point": "1.40",
               "due_days": "30"},
    "delivered": {"sale": "Hops", "mass": "430 lb", "moisture": "12", "bags": "B-11"},
    "statement": {"sale": "Hops", "mass": "420 lb", "total_cbd": "7.1", "due": "4,000"},
    "paid": {"sale": "Hops", "amount": "4,000"},
}  # fmt: skip
MADE = {"spot": "payment", "agreed": "sale", "delivered": "delivery", "statement": "settlement",
        "paid": "payment"}  # fmt: skip


@pytest.fixture(scope="module")
def farm(browser, tmp_path_factory):
    with open_farm(tmp_path_factory.mktemp("selling"), browser) as farm:
        bag = Bag(name="B-11", lot="2 Bank", filled_on="2026-09-01", mass=200.0, moisture=0.1)
        sale = Sale(name="Hops", buyer="Mill", agreed_on="2026-09-01", form="flat", price_flat=6.0)
        write(farm.office.store, [Change(one) for one in (bag, sale)], "Ann")
        yield farm


@pytest.mark.parametrize("key", [form.key for form in SELLING])
def test_sold_by_thumb(farm, key):
    """From the list of what happened to what was written down, without a sideways scroll."""
    page = farm.page(Role.OWNER, width=390, has_touch=True, is_mobile=True)
    before = len(farm.said(MADE[key]))
    page.goto(f"{farm.address}/enter")
    page.locator(f".tiles a[href='/enter/{key}']").tap()
    page.wait_for_url(f"**/enter/{key}")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for name, text in ANSWERS[key].items():
        asked = page.locator(f"#{name}")
        assert asked.bounding_box()["height"] >= 48
        if asked.evaluate("one => one.tagName") == "SELECT":
            asked.select_option(text)
        else:
            asked.fill(text)
    page.locator("button.main").tap()
    page.wait_for_url("**/entered/*")
    assert len(farm.said(MADE[key])) == before + 1
    assert page.troubles == []
