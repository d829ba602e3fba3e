"""Sales in a browser: from the list to a delivery that a failed panel keeps back, on a phone."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from open_farm import open_farm
from tierpole.farm.books import Bag, Delivery, OtherCrop, Panel, Sale, Settlement
from tierpole.office.people import Role
from tierpole.records import Change, write

SAID = (
    Bag(name="B1", lot="2 Bank", filled_on="2026-09-01", mass=450.0, moisture=0.1),
    Bag(name="B2", lot="1 River", filled_on="2026-09-01", mass=450.0, moisture=0.1),
    Panel(lot="2 Bank", sampled_on="2026-09-01", reported_on="2026-09-03", laboratory="Hill Lab",
          microbes_pass=False),
    Sale(name="First load", buyer="Mill", agreed_on="2026-09-01", form="flat", price_flat=6.0),
    Delivery(sale="First load", delivered_on="2026-09-04", bags=("B2",), mass=450.0),
    Settlement(sale="First load", settled_on="2026-09-08", mass=440.0, due=2640.0),
    OtherCrop(name="Burley", priced_on="2026-09-01", returns=1.0, returns_low=0.8, costs=0.4),
)  # fmt: skip


@pytest.fixture(scope="module")
def farm(browser, tmp_path_factory):
    with open_farm(tmp_path_factory.mktemp("sales"), browser) as farm:
        day = farm.office.season.on
        write(farm.office.store, [Change(one, known_on=day) for one in SAID], "Ann")
        yield farm


@pytest.mark.parametrize("path", ["/sales", "/sales/First load", "/acres"])
def test_pages_fit_a_phone_and_have_no_serious_fault(farm, path):
    page = farm.page(Role.OWNER)
    page.goto(farm.address + path)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    assert page.troubles == []


def test_the_acre_is_drawn_beside_other_crops(farm):
    """The picture is there under the strict policy, and the form leads back to a new budget."""
    page = farm.page(Role.OWNER)
    page.goto(f"{farm.address}/acres")
    page.wait_for_selector("#left .picture svg")
    page.click("text=Write down another crop")
    page.fill("#name", "Grass hay")
    page.fill("#priced_on", "2026-09-01")
    page.fill("#returns", "465")
    page.fill("#costs", "375 USD/acre")
    page.click("button.main")
    page.wait_for_url("**/entered/*")
    page.goto(f"{farm.address}/acres")
    assert "Hemp instead of grass hay" in page.inner_text("main")
    assert page.troubles == []


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without"])
def test_a_failed_panel_asks_why(farm, scripts):
    """The form names the panel; with a reason the delivery is written and the page keeps both."""
    page = farm.page(Role.OWNER, java_script_enabled=scripts)
    before = len(farm.said("delivery"))
    page.goto(f"{farm.address}/sales")
    page.click("text=First load")
    assert "less than we reckon" in page.inner_text("main")
    page.click("text=Delivered >> nth=0")
    assert page.input_value("#sale") == "First load"
    page.fill("#delivered_on", "2026-09-05")
    page.fill("#bags", "B1")
    page.fill("#mass", "990 lb")
    page.click("button.main")
    page.wait_for_selector("[role=alert]")
    assert "microbes failed in the sample of 1" in page.inner_text("[role=alert]")
    assert len(farm.said("delivery")) == before
    page.fill("#exception", "for burning")
    page.click("button.main")
    page.wait_for_url("**/entered/*")
    assert len(farm.said("delivery")) == before + 1
    page.goto(f"{farm.address}/sales/First load")
    assert "microbes failed" in page.inner_text("main").replace("\u00a0", " ")
    assert "for burning" in page.inner_text("main")
