"""Duties in a browser, on a phone: from a day on This week to its form, and off the list again."""

from __future__ import annotations

from datetime import date

import pytest
from axe_playwright_python.sync_playwright import Axe

from open_farm import open_farm
from tierpole.farm import Test
from tierpole.farm.books import Bag, Licence, Remediation, Sale
from tierpole.office.people import Role
from tierpole.records import Change, write

SAID = (
    Test(lot="2 Bank", kind="official", sampled_on="2026-08-24", reported_on="2026-08-31",
         plants=2, total_thc=0.0045, uncertainty=0.0004),
    Remediation(name="2 Bank R", lot="2 Bank", done_on="2026-09-01", mass=200.0, moisture=0.1,
                method="whole plants shredded"),
    Bag(name="R1", lot="2 Bank R", filled_on="2026-09-01", mass=180.0, moisture=0.1),
    Sale(name="First load", buyer="Mill", agreed_on="2026-08-20", form="flat", price_flat=6.0),
    Licence(name="grower licence", number="7", authority="the department",
            valid_from="2024-01-01", expires_on="2026-08-30"),
)  # fmt: skip
FORMS = ("/", "/enter/any-report?kind=report of the year&year=2026", "/enter/any-disposal",
         "/enter/any-remediation")  # fmt: skip


@pytest.fixture(scope="module")
def farm(browser, tmp_path_factory):
    with open_farm(tmp_path_factory.mktemp("duties"), browser) as farm:
        day = date(2026, 9, 1)
        write(farm.office.store, [Change(one, known_on=day) for one in SAID], "Ann")
        yield farm


@pytest.mark.parametrize("path", FORMS, ids=["week", "report", "disposal", "remediation"])
def test_pages_fit_a_phone_and_have_no_serious_fault(farm, path):
    page = farm.page(Role.OWNER)
    page.goto(farm.address + path)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(
        "[...document.querySelectorAll('.more a, summary')].filter((one) => one.checkVisibility()"
        " && one.getBoundingClientRect().height < 48).map((one) => one.outerHTML)"
    )
    assert small == []
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    assert page.troubles == []


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without"])
def test_a_report_is_filed_from_its_day(farm, scripts):
    """From the late day by its link to the form, half answered already; taken back, it is late
    again."""
    page = farm.page(Role.OWNER, java_script_enabled=scripts)
    page.goto(farm.address)
    late = page.locator("li", has_text="Report the acres planted.")
    assert "Late, was due Fri 31" in late.inner_text()
    late.get_by_text("It is filed").click()
    assert page.input_value("#kind") == "acres planted"
    assert page.input_value("#year") == "2026"
    page.fill("#filed_on", "2026-07-29")
    page.click("button.main")
    page.wait_for_url("**/entered/*")
    entered = page.url
    page.goto(farm.address)
    assert page.locator("li", has_text="Report the acres planted.").count() == 0
    page.goto(entered)
    page.get_by_role("button", name="Take it back").click()
    page.wait_for_load_state()
    page.goto(farm.address)
    assert page.locator("li", has_text="Report the acres planted.").count() == 1


def test_shredded_plants_are_tested_before_they_are_sold(farm):
    """Refused with the rule, also with a reason; with its test the delivery is written."""
    page = farm.page(Role.OWNER)
    page.goto(farm.address)
    assert "2 Bank R: remedied on" in page.locator("section[aria-labelledby=store]").inner_text()

    def deliver():
        page.goto(f"{farm.address}/enter/any-delivery?sale=First load")
        page.fill("#delivered_on", "2026-09-04")
        page.fill("#bags", "R1")
        page.fill("#mass", "390 lb")
        page.fill("#exception", "the mill wants it")
        page.click("button.main")

    deliver()
    page.wait_for_selector("[role=alert]")
    assert "7 CFR 990.24(f)" in page.inner_text("[role=alert]").replace("\u00a0", " ")
    page.goto(f"{farm.address}/enter/test?lot=2 Bank R")
    page.select_option("#kind", "post-remediation")
    page.fill("#total_thc", "0.21 %")
    page.fill("#plants", "5")
    page.fill("#sampled_on", "2026-09-01")
    page.fill("#reported_on", "2026-09-02")
    page.click("button.main")
    page.wait_for_url("**/entered/*")
    deliver()
    page.wait_for_url("**/entered/*")
    assert len(farm.said("delivery")) == 1


def test_a_disposal_is_led_by_the_rules(farm):
    """The ways of the text and another; what is doubtful is said once it is written."""
    page = farm.page(Role.OWNER)
    page.goto(f"{farm.address}/enter/any-disposal?lot=2 Bank")
    assert "Ways to destroy." in page.inner_text("section.beside")
    ways = page.locator("#method option").all_inner_texts()
    assert ways[-1] == "another way"
    assert "plowed under" in ways
    page.select_option("#method", "another way")
    page.fill("#disposed_on", "2026-09-02")
    page.click("button.main")
    page.wait_for_selector("[role=alert]")
    page.fill("#note", "handed to the sheriff")
    page.click("button.main")
    page.wait_for_url("**/entered/*")
    assert "do not name this way" in page.inner_text(".warns")
