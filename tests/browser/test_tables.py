"""A table of the books on a phone, without a script: a row more, and a slip named by its row."""

from __future__ import annotations

import pytest

from books_office import quick_office
from page_server import served
from tierpole.records import Wanted, nouns, standing

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("rows")) as office, served(office) as address:
        yield office, address


def test_crew_hours_on_a_phone(browser, farm):
    """Add a row, make a slip, mend it, write it down; nothing stands beside the screen."""
    office, address = farm
    crew = nouns(office.store, Wanted("crew", season=2026))[-1]
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, java_script_enabled=False, locale="en-US"
    )
    page = context.new_page()
    page.goto(f"{address}/enter/any-crew")
    rows = page.locator("fieldset.rows .row")
    before = rows.count()
    page.get_by_label("Why is it corrected").fill("harvest help")
    more = page.get_by_role("button", name="Add a row")
    assert more.bounding_box()["height"] >= 48
    more.click()
    assert rows.count() == before + 1
    assert page.get_by_label("Why is it corrected").input_value() == "harvest help"
    last = rows.nth(before - 1)
    last.get_by_label("Starting").fill("2026-10-01")
    page.get_by_role("button", name="Write it down").click()
    assert f"Row {before}: Hours must be answered." in page.get_by_role("alert").inner_text()
    assert rows.nth(before - 1).get_by_label("Starting").input_value() == "2026-10-01"
    rows.nth(before - 1).get_by_label("Hours").fill("24")
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390
    page.get_by_role("button", name="Write it down").click()
    now = standing(office.store, crew.entry.of).noun
    assert now.hours[:-1] == crew.noun.hours
    assert str(now.hours[-1].starting) == "2026-10-01"
    context.close()
