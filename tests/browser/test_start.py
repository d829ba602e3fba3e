"""The guided start in a real browser: by thumb on a phone, by keyboard alone, without scripts."""

from __future__ import annotations

from contextlib import ExitStack, contextmanager
from datetime import date, datetime

import pytest

from page_server import served
from start_pages import LEAST, quick
from tierpole.office import FarmOffice, Settings
from tierpole.office.sources import season_of
from tierpole.office.start import STEPS, Beginning
from tierpole.office.start.known import season_to_begin
from tierpole.units import ACRE, FOOT

WEIGHT = 200_000  # bytes of a page with all it loads
PAGES = ("/start", *(f"/start/{step.key}" for step in STEPS), "/start/plan")
PORT = 18_800
FAST = Settings(draws=50, seconds=1)


@contextmanager
def farm_to_begin(folder, make=quick, on=None):
    beginning = Beginning(str(folder / "new.db"), FAST, on, make=make)
    with served(None, port=PORT, beginning=beginning) as address:
        beginning.address = address
        yield beginning
    beginning.stop()


@pytest.fixture
def opened(browser):
    """Open a page of a start at a width; it notes what goes wrong and what it weighs."""
    with ExitStack() as stack:

        def page_at(address, width=390, **options):
            context = browser.new_context(viewport={"width": width, "height": 844}, **options)
            stack.callback(context.close)
            page = context.new_page()
            page.troubles, page.weights = [], []
            page.on("pageerror", lambda error: page.troubles.append(str(error)))
            page.on("console", lambda said: _note(page, said))
            page.on("response", lambda given: _weigh(page, given))
            page.goto(address)
            return page

        yield page_at


@pytest.fixture(scope="module")
def half_begun(tmp_path_factory):
    """A start of which some steps are answered, one by a drawing."""
    with farm_to_begin(tmp_path_factory.mktemp("half")) as beginning:
        yield beginning


@pytest.fixture(scope="module")
def half(half_begun, browser):
    """The address of a start on which every page has something to show."""
    page = browser.new_context().new_page()
    page.goto(half_begun.address)
    page.click("text=Begin a farm")
    for step in ("place", "varieties"):
        answer(page, LEAST[step])
        page.click("button.main")
    answer(page, {"name": "Drawn", "variety": "Early one"})
    page.click("text=Draw it instead")
    page.fill("#corners-0", "0, 0\n300, 0\n300, 200\n0, 200")
    page.click("button.main")
    page.wait_for_url("**/start/lots")
    page.context.close()
    return half_begun.address


def _note(page, said):
    if said.type == "error":
        page.troubles.append(said.text)


def _weigh(page, given):
    page.weights.append(given)


def answer(page, row, number=0):
    """Answer the questions of a row."""
    for key, text in row.items():
        field = page.locator(f"#{key}-{number}")
        if field.evaluate("one => one.tagName") == "SELECT":
            field.select_option(text)
        else:
            field.fill(text)


# --- how the pages look and are reached -----------------------------------------------------------


@pytest.mark.parametrize("width", [390, 820, 1440])
def test_start_page_limits(opened, half, width):
    """Nothing scrolls sideways, targets are 48 pixels high and more, a page weighs under 200 kB."""
    page = opened(half + "/start/place", width)
    for path in PAGES[1:]:
        page.weights.clear()
        page.goto(half + path)
        across = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert across[0] <= across[1], path
        small = page.evaluate(
            "[...document.querySelectorAll('.progress a, .states a, button, select, summary, "
            ".question input, textarea')].filter((one) => one.checkVisibility() && "
            "one.getBoundingClientRect().height < 48).map((one) => one.outerHTML)"
        )
        assert small == [], path
        assert sum(len(one.body()) for one in page.weights if one.status == 200) < WEIGHT, path
    assert page.troubles == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_start_accessibility_against_axe(opened, half, scheme):
    """axe-core finds no serious or critical fault on any page of the start."""
    from axe_playwright_python.sync_playwright import Axe

    page = opened(half + "/start/place", color_scheme=scheme)
    for path in PAGES[1:]:
        page.goto(half + path)
        for one in page.locator("summary").all():
            one.click()
        found = Axe().run(page).response["violations"]
        bad = [f"{one['id']}: {[node['target'] for node in one['nodes']][:3]}" for one in found
               if one["impact"] in ("serious", "critical")]  # fmt: skip
        assert bad == [], path


def test_the_first_page_against_axe(opened, tmp_path):
    """The page of choices too, with the table of a file that was refused."""
    from axe_playwright_python.sync_playwright import Axe

    with farm_to_begin(tmp_path) as beginning:
        page = opened(beginning.address)
        broken = {"name": "mine.toml", "mimeType": "text/plain", "buffer": b"season = 2026\n"}
        page.set_input_files("#file", broken)
        page.click("text=Take it in")
        assert page.locator("tbody tr").count() > 3
        across = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert across[0] <= across[1]
        found = Axe().run(page).response["violations"]
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []


def test_a_step_prints(opened, half):
    """On paper stand the words of the step, and nothing to press."""
    page = opened(half + "/start/plan")
    page.emulate_media(media="print")
    assert page.locator("h1").is_visible()
    assert not page.locator("button.main").is_visible()


# --- a whole start --------------------------------------------------------------------------------


def test_a_start_by_thumb(opened, tmp_path):
    """On a phone's width, a field drawn by touch, to a plan of exactly what was typed."""
    late = date(season_to_begin(datetime.now().astimezone().date()), 9, 25)  # few days to plan
    with farm_to_begin(tmp_path, FarmOffice, late) as beginning:
        page = opened(beginning.address, has_touch=True)
        page.tap("text=Begin a farm")
        answer(page, LEAST["place"] | {"latitude": "39.1 N", "longitude": "83.2 W"})
        page.locator("#told", has_text="43 miles from the farm").wait_for()
        page.tap("button.main")
        answer(page, LEAST["varieties"])
        page.locator("#told", has_text="begins to flower about").wait_for()
        page.tap("button.main")
        answer(page, {"name": "Home", "variety": "Early one"})
        draw_by_touch(page)
        page.tap("button.main")  # the lot as it was proposed
        answer(page, LEAST["places"] | {"tiers": "1"})
        page.locator("#told", has_text="holds 540 sticks").wait_for()
        page.tap("button.main")
        answer(page, LEAST["crew"])
        page.tap("button.main")
        answer(page, {"price": "1.50"})
        page.tap("button.main")
        page.locator("h1", has_text="Everything was answered").wait_for()
        page.tap("button.main")
        page.locator("text=The first plan is being made").wait_for()
        page.locator("nav a", has_text="This week").wait_for(timeout=60_000)
        office = beginning.office
        season = office.season
        assert [one.lot for one in office.plan.lots] == ["Home"]
        assert [one.place for one in office.plan.places] == ["Barn"]
        # 18 squares of 20 ft: what is touched at a twentieth and at nineteen falls on 320 ft
        assert season.lots[0].area / ACRE == pytest.approx(320 * 320 / 43_560, rel=0.1)
        assert season.places[0].run_length == 64 * FOOT
        assert (season.farm.latitude, season.farm.longitude) == (39.1, -83.2)
        assert page.locator("text=Assumed since the start").count() == 0


def draw_by_touch(page):
    """A square field, corner after corner."""
    page.tap("text=Draw it instead")
    for number, (x, y) in enumerate(((0.05, 0.95), (0.95, 0.95), (0.95, 0.05), (0.05, 0.05))):
        touch(page, x, y)
        page.locator(f"#paper-0 circle >> nth={number}").wait_for()
    page.locator("#told", has_text="acre planted").wait_for()
    page.tap("button.main")


def touch(page, x, y):
    paper = page.locator("#paper-0 svg")
    paper.scroll_into_view_if_needed()
    box = paper.bounding_box()
    paper.tap(position={"x": box["width"] * x, "y": box["height"] * y})


def test_a_start_by_keyboard_alone(opened, tmp_path):
    """Every question is reached by Tab, every list answered by typing, every page left by Enter."""
    with farm_to_begin(tmp_path) as beginning:
        page = opened(beginning.address, width=1440)
        press(page, "Begin a farm")
        type_row(page, {"name": "Sandy Fork", "jurisdiction": "Ohio"})
        press(page, "Write it down and go on")
        type_row(page, {"name": "Early one", "kind": "Early"})
        press(page, "Write it down and go on")
        type_row(page, {"name": "Home", "variety": "Early"})
        open_fold(page, "Draw it instead")
        type_row(page, {"corners": "E 330 ft\nN 330\nW 330\nS 330"})
        page.locator("#told", has_text="2.5 acre planted").wait_for()
        press(page, "Write it down and go on")
        press(page, "Skip this step")
        type_row(page, {"name": "Barn", "kind": "air", "long": "64", "wide": "40 ft",
                        "high": "22 ft", "tiers": "5"})  # fmt: skip
        press(page, "Write it down and go on")
        type_row(page, {"people": "4", "hours": "9"})
        press(page, "Write it down and go on")
        press(page, "Skip this step")
        press(page, "Make the plan")
        page.locator("nav a", has_text="This week").wait_for()
        season = season_of(beginning.office.store)
        assert (season.farm.name, season.farm.jurisdiction) == ("Sandy Fork", "ohio")
        assert season.lots[0].area / ACRE == pytest.approx(2.5)
        assert season.crew.hours[0].hours == pytest.approx(36 * 3600)
        assert page.locator(".notice a", has_text="Market").is_visible()


def reach(page, says):
    """Go on by Tab until what is wanted has the focus."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate(f"(() => {{ const one = document.activeElement; return {says}; }})()"):
            return
    pytest.fail(f"never reached by Tab: {says}")


def press(page, words):
    reach(page, f"one.textContent.trim() === '{words}'")
    with page.expect_navigation():
        page.keyboard.press("Enter")


def open_fold(page, words):
    reach(page, f"one.tagName === 'SUMMARY' && one.textContent.trim() === '{words}'")
    page.keyboard.press("Enter")


def type_row(page, row):
    for key, text in row.items():
        reach(page, f"one.id === '{key}-0'")
        page.keyboard.type(text)


def test_a_start_without_scripts(opened, tmp_path):
    """Typed corners are drawn by the page itself; what is wrong is told beside what was typed."""
    with farm_to_begin(tmp_path) as beginning:
        page = opened(beginning.address, java_script_enabled=False)
        page.click("text=Begin a farm")
        answer(page, LEAST["place"] | {"name": ""})
        page.click("button.main")
        assert page.locator(".fault").inner_text() == "What the farm is called must be answered."
        answer(page, {"name": "Sandy Fork"})
        page.click("button.main")
        answer(page, LEAST["varieties"])
        page.click("button.main")
        answer(page, {"name": "Home", "variety": "Early one"})
        page.click("text=Draw it instead")
        answer(page, {"corners": "0, 0\n300, 0\n300, 200\n0, 200"})
        page.click("text=See what it comes to")
        assert page.locator("#paper-0 polygon").is_visible()
        assert "1.38 acre planted" in page.locator("#told").inner_text()
        page.click("button.main")
        assert page.url.endswith("/start/lots")
