"""Who comes in, in a real browser: a phone is paired, a guest reads, the crew works in Spanish."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

import synthetic
from books_office import Quick
from open_farm import LOT, open_farm
from tierpole.office.office import Made
from tierpole.office.people import CODE_LASTS, Role
from tierpole.plan.result import LotState

SAMPLED = date(2026, 9, 2)
FIRST, THEN = date(2026, 9, 12), date(2026, 9, 8)


class Moving(Quick):
    """Plans at once; a test of the lot brings its sample forward."""

    def _worked(self, season, report):
        report("weather", 0.5)
        tested = any(one.sampled_on == SAMPLED and one.lot == LOT for one in season.tests)
        plan = synthetic.plan()
        own = replace(plan.lot(LOT), state=LotState.GROWING, sample_on=THEN if tested else FIRST)
        lots = tuple(own if lot.lot == LOT else lot for lot in plan.lots)
        return Made(synthetic.season(), synthetic.outlook(), replace(plan, lots=lots))


@pytest.fixture(scope="module")
def farm(browser, tmp_path_factory):
    with open_farm(tmp_path_factory.mktemp("faces"), browser, Moving) as farm:
        yield farm


# --- pairing a phone ------------------------------------------------------------------------------


def code_for(owner, name="Dee"):
    """Make a code on the owner's page; what it says, and where its picture leads."""
    import zxingcpp
    from PIL import Image

    owner.fill("#phone-name", name)
    owner.get_by_role("button", name="Make a code").click()
    code = owner.locator(".code").inner_text().replace(" ", "")
    drawn = Image.open(io.BytesIO(owner.locator(".qr").screenshot()))
    (found,) = zxingcpp.read_barcodes(drawn)
    return code, found.text


def pair(phone, farm, code):
    phone.goto(f"{farm.address}/pair")
    phone.fill("#code", code)
    phone.get_by_role("button", name="Pair").click()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pairing_by_camera(farm, scheme):
    """The picture leads a phone to its code, which no request holds and no address keeps."""
    owner = farm.page(Role.OWNER, width=1440, color_scheme=scheme)
    owner.goto(f"{farm.address}/people")
    code, leads = code_for(owner)
    phone = farm.page()
    asked = []
    phone.on("request", lambda request: asked.append(request.url))
    phone.goto(f"{farm.address}/pair{leads.partition('/pair')[2]}")
    assert phone.input_value("#code") == code
    assert phone.url == f"{farm.address}/pair"
    assert not any(code in url for url in asked)
    assert phone.evaluate("document.activeElement.textContent") == "Pair"
    phone.keyboard.press("Enter")
    phone.wait_for_url("**/crew")
    phone.go_back()
    assert code not in phone.url
    assert phone.troubles == []


def test_pairing_by_typing(farm):
    """Without scripts the code is typed, as people type it."""
    owner = farm.page(Role.OWNER, width=1440)
    owner.goto(f"{farm.address}/people")
    code, _ = code_for(owner, "Eli")
    phone = farm.page(java_script_enabled=False)
    pair(phone, farm, f"{code[:4].lower()} {code[4:].lower()}")
    assert phone.url.endswith("/crew")
    phone.goto(f"{farm.address}/people")
    assert "That is for others" in phone.content()


def test_pairing_limits(farm):
    """A wrong code, one used twice and one ten minutes old let nobody in, and say so."""
    owner = farm.page(Role.OWNER, width=1440)
    owner.goto(f"{farm.address}/people")
    used, late = code_for(owner)[0], code_for(owner)[0]
    pair(farm.page(), farm, used)
    try:
        for code, after in (("AAAABBBB", 0), (used, 0), (late, 1)):
            farm.later = after * (CODE_LASTS + timedelta(seconds=1))
            phone = farm.page()
            pair(phone, farm, code)
            assert "not any more" in phone.get_by_role("alert").inner_text()
            phone.goto(f"{farm.address}/enter")
            assert phone.url == f"{farm.address}/sign-in"
    finally:
        farm.later = timedelta()


# --- a guest --------------------------------------------------------------------------------------


def test_packet(farm):
    """The owner makes a link; whoever follows it sees and prints one lot, and nothing else."""
    owner = farm.page(Role.OWNER, width=1440)
    owner.goto(f"{farm.address}/people")
    owner.fill("#guest-name", "Inspector")
    owner.select_option("#lot", LOT)
    owner.get_by_role("button", name="Make a link").click()
    link = owner.locator(".seal").inner_text()
    guest = farm.page()
    guest.goto(farm.address.replace("127.0.0.1", "localhost") + "/sign-in")  # another site, as mail
    guest.evaluate(
        "to => { const a = document.createElement('a'); a.href = to; document.body.append(a); "
        "a.click(); }", farm.address + re.search(r"/guest/.+", link)[0],
    )  # fmt: skip
    guest.wait_for_url("**/packet/1%20River")
    assert "All that is on record of 1 River" in guest.content()
    assert guest.locator("nav a").count() == 0
    guest.emulate_media(media="print")
    assert guest.pdf().startswith(b"%PDF-")
    paper = guest.locator("a", has_text="as a paper").get_attribute("href")
    answer = guest.request.get(farm.address + paper)
    assert answer.headers["content-type"] == "application/pdf"
    for path in ("/", "/packet/2 Bank", "/paper/packet/2 Bank", "/enter", "/books", "/people",
                 "/crew", "/calendar.ics", "/paper/lender.pdf"):  # fmt: skip
        assert guest.request.get(farm.address + path).status == 403, path
    lost = guest.request.get(f"{farm.address}/nothing").text()
    assert "2 Bank" not in lost


# --- a new plan -----------------------------------------------------------------------------------


def test_a_new_plan_is_told(farm):
    """A test result moves a sample: an open page is told which, from when to when, and why; it can
    be put away; the plan before is still there."""
    before = farm.office.kept_plans()
    owner = farm.page(Role.OWNER, width=820)
    owner.clock.install()
    owner.goto(f"{farm.address}/")
    region = owner.locator("#news[role=status]")
    assert region.inner_text().strip() == ""
    entry = farm.page(Role.OWNER)
    entry.goto(f"{farm.address}/enter/test")
    entry.select_option("#lot", LOT)
    entry.select_option("#kind", "pre-test")
    for key, text in (("total_thc", "0.24 %"), ("plants", "5"), ("sampled_on", str(SAMPLED)),
                      ("reported_on", "2026-09-05")):  # fmt: skip
        entry.fill(f"#{key}", text)
    farm.office.ready.clear()
    entry.click("button.main")
    entry.wait_for_url("**/entered/*")
    farm.office.wait()
    owner.clock.fast_forward(11_000)
    region.get_by_text("There is a new plan.").wait_for()
    thc = synthetic.outlook()["thc"].sel(lot=LOT, day=SAMPLED.isoformat()).median().item()
    told = (
        f"{LOT}: sample moves from 12 to 8 September: test of 2 September reads 0.24 %, was "
        f"expected {100 * thc:.2f} %."
    )
    assert told in region.inner_text().replace("\u00a0", " ")
    region.get_by_role("link", name="Show the new plan").click()
    owner.wait_for_load_state()
    assert told in region.inner_text().replace("\u00a0", " ")
    assert region.locator("details").get_attribute("open") is not None
    region.get_by_role("button", name="I have seen it").click()
    owner.wait_for_load_state()
    assert region.inner_text().strip() == ""
    owner.goto(f"{farm.address}/plans")
    plans = owner.locator("main .index a")
    assert plans.count() == len(before) + 1
    plans.nth(1).click()
    row = owner.locator("section[aria-labelledby=calls] tr", has_text=LOT)
    assert str(FIRST) in row.inner_text()
    assert owner.troubles == []


# --- the crew in Spanish --------------------------------------------------------------------------


def test_crew_in_spanish(farm):
    """From what is to be done to a day, a place and a slip at a form, all in Spanish."""
    crew = farm.page(Role.CREW, "es")
    crew.goto(f"{farm.address}/crew")
    assert crew.locator("html").get_attribute("lang") == "es"
    assert "Para cortar esta semana" in crew.locator("h1").inner_text()
    crew.locator("a[href^='/crew/day/']").first.click()
    assert "Llene desde el fondo" in crew.locator("main").inner_text()
    assert "septiembre" in crew.locator("h1").inner_text()
    crew.locator(".item a").first.click()
    crew.wait_for_url("**/place/*")
    text = crew.locator("main").inner_text()
    for said in ("Lo que cuelga aquí", "De la puerta al fondo", "Para colgar aquí", "Cuidado"):
        assert said in text
    crew.goto(f"{farm.address}/enter/cut")
    crew.fill("#sticks", "1,2")
    crew.click("button.main")
    alert = crew.get_by_role("alert")
    alert.get_by_text("Palos cortados: tiene que ser un número entero de 1 a 100,000.").wait_for()
    assert crew.locator("#sticks-fault").inner_text().startswith("Palos cortados: tiene que ser")
    crew.goto(f"{farm.address}/crew")
    crew.get_by_role("button", name="English").click()
    crew.get_by_text("To cut this week").wait_for()
    assert crew.troubles == []
