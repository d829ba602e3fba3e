"""Certificates in a browser: a file of any columns, a PDF, a picture; on a phone and by keys."""

from __future__ import annotations

import re

import pytest

from made_certificates import HILL, RIDGE, pdf, scanned
from open_farm import open_farm
from tierpole.office.people import Role
from tierpole.records import content_key

CSV = """Sample Name,Collected,Report Date,Total THC %,Total CBD %,Water %
2 Bank,9/1/2026,9/4/2026,0.24,6.10,9.8
"""


@pytest.fixture(scope="module")
def farm(browser, tmp_path_factory):
    with open_farm(tmp_path_factory.mktemp("certificates"), browser) as farm:
        yield farm


def hand_in(page, farm, name, data, laboratory, kind="application/pdf"):
    page.goto(f"{farm.address}/certificates")
    page.fill("#laboratory", laboratory)
    page.set_input_files("#file", {"name": name, "mimeType": kind, "buffer": data})
    page.click("button.main")


def certified(farm, laboratory):
    return [one for one in farm.said("test") if one.laboratory == laboratory]


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without"])
def test_a_file_of_any_columns(farm, scripts):
    """Columns are guessed, what stands in none is filled in, and the row is in the books."""
    name = f"Creek Lab {scripts}"
    page = farm.page(Role.OWNER, java_script_enabled=scripts)
    hand_in(page, farm, "coa.csv", CSV.encode(), name, "text/csv")
    assert "Which column is which" in page.inner_text("h1")
    for key, said in (("kind", "pre-test"), ("unit", "%"), ("basis", "dry")):
        page.select_option(f"#always-{key}", said)
    page.fill("#always-plants", "20")
    page.click("button.main")
    assert "1 new certificate" in page.inner_text("h1")
    assert [one.total_thc for one in certified(farm, name)] == pytest.approx([0.0024])
    assert page.troubles == []


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without"])
def test_a_pdf_on_a_phone(farm, scripts):
    """The picture stands above the form, its numbers beside the lines; nothing hangs over."""
    name = f"Hill Lab {scripts}"
    page = farm.page(Role.OWNER, java_script_enabled=scripts)
    hand_in(page, farm, "coa.pdf", pdf(HILL), name)
    page.wait_for_url("**/certificates/paper/*")
    picture, form = page.locator(".sheets svg"), page.locator("form.ask")
    assert picture.bounding_box()["y"] < form.bounding_box()["y"]
    assert picture.bounding_box()["width"] > 300
    drawn = page.locator(".sheets text").all_text_contents()
    named = page.locator(".found .mark").all_text_contents()
    assert set(named) <= set(drawn)
    for one in page.locator("fieldset.found label:has(input[type=radio])").all():
        assert one.bounding_box()["height"] >= 48
    page.select_option("#own-kind", "pre-test")
    page.fill("#own-plants", "20")
    page.click("button.main")
    assert "1 new certificate" in page.inner_text("h1")
    (test,) = certified(farm, name)
    assert (test.total_thc, test.total_cbd) == pytest.approx((0.00243, 0.061))
    assert page.troubles == []


def test_a_phone_page_does_not_hang_over(farm):
    page = farm.page(Role.OWNER)
    hand_in(page, farm, "coa.pdf", pdf(RIDGE), "Ridge Testing")
    page.wait_for_url("**/certificates/paper/*")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    loaded = page.evaluate(
        "async () => (await fetch(document.querySelector('svg image').href.baseVal)).ok"
    )
    assert loaded
    assert len(page.content()) < 200_000


def test_by_keyboard(farm):
    """From the list of fields to the books with Tab, arrows, typing and Enter."""
    page = farm.page(Role.OWNER, width=1280)
    hand_in(page, farm, "coa.pdf", pdf(RIDGE), "Ridge by keys")
    page.wait_for_url("**/certificates/paper/*")
    reach(page, "#own-kind")
    page.keyboard.type("pre")
    reach(page, "input[name=pick-total_thc]")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    reach(page, "#own-plants", back=True)
    page.keyboard.type("20")
    reach(page, "button.main")
    page.keyboard.press("Enter")
    page.wait_for_function("document.querySelector('h1').innerText.includes('new certificate')")
    (test,) = certified(farm, "Ridge by keys")
    assert test.total_thc == pytest.approx(0.00194 / (1 - 0.101))


def reach(page, selector, back=False):
    for _ in range(90):
        page.keyboard.press("Shift+Tab" if back else "Tab")
        if page.evaluate("one => document.activeElement.matches(one)", selector):
            return
    pytest.fail(f"Tab does not reach {selector}")


def test_a_scan_is_typed_from_its_picture(farm):
    """It says that it has no text; the same paper again is known by its content."""
    page, data = farm.page(Role.OWNER), scanned(HILL)
    hand_in(page, farm, "scan.pdf", data, "Scanning Lab")
    page.wait_for_url("**/certificates/paper/*")
    assert "There is no text in it" in page.inner_text("main")
    assert page.locator("input[type=radio]").count() == 0
    for key, said in (("lot", "2 Bank"), ("kind", "pre-test"), ("unit", "%"), ("basis", "dry")):
        page.select_option(f"#own-{key}", said)
    for key, said in (("sampled_on", "2026-09-01"), ("reported_on", "2026-09-04"),
                      ("plants", "20"), ("total_thc", "0.21")):  # fmt: skip
        page.fill(f"#own-{key}", said)
    page.click("button.main")
    assert "1 new certificate" in page.inner_text("h1")
    hand_in(page, farm, "again.pdf", data, "Scanning Lab")
    page.wait_for_url("**/certificates/paper/*")
    assert "This very paper was read before" in page.inner_text("main")
    kept = [one.content for one in farm.said("attachment")]
    assert kept.count(content_key(data)) == 1


def test_axe_finds_no_serious_fault(farm):
    from axe_playwright_python.sync_playwright import Axe

    page = farm.page(Role.OWNER)
    hand_in(page, farm, "coa.pdf", pdf(HILL), "Axe Lab")
    page.wait_for_url("**/certificates/paper/*")
    found = Axe().run(page).response["violations"]
    serious = [one["id"] for one in found if one["impact"] in ("serious", "critical")]
    assert serious == []


def test_bad_uploads_say_why(farm):
    page = farm.page(Role.OWNER)
    hand_in(page, farm, "../../x.pdf", b"%PDF-1.7 but no more", "Bad Lab")
    assert re.search("is broken", page.inner_text("[role=alert]"))
    hand_in(page, farm, "coa.csv", b"PK\x03\x04\0\0\0", "Bad Lab", "text/csv")
    assert "a CSV file" in page.inner_text("[role=alert]")
