"""Entry pages in a real browser: large, for keyboard and ear, and working without a signal."""

from __future__ import annotations

import threading
from contextlib import ExitStack

import pytest

from books_office import quick_office
from page_server import served
from tierpole.records import Wanted, conflicts, nouns

PAGES = (
    "/enter", "/enter/cut", "/enter/scouting", "/enter/gauge", "/enter/spot", "/enter/any-sale",
    "/books", "/books/balance", "/books/check", "/plans", "/people", "/crew",
    "/packet/2 Bank", "/certificates", "/sign-in", "/pair",
)  # fmt: skip
PORT = 18_700


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("entry")) as office:
        yield office


class Farm:
    """The farm's computer, which can be switched off and on again at the same address."""

    def __init__(self, office):
        self.office, self.stack, self.address = office, ExitStack(), ""

    def on(self):
        self.address = self.stack.enter_context(served(self.office, port=PORT))

    def off(self):
        self.stack.close()

    def cuts(self, sticks):
        """How often a cut of so many sticks stands in the books."""
        return sum(one.noun.sticks == sticks for one in nouns(self.office.store, Wanted("cut")))


@pytest.fixture
def machine(farm):
    machine = Farm(farm)
    machine.on()
    yield machine
    machine.off()


@pytest.fixture
def phone(browser, machine):
    """A phone with its own store; gives a new page at a path."""
    with ExitStack() as stack:

        def opened(path, width=390, **options):
            context = browser.new_context(viewport={"width": width, "height": 844}, **options)
            stack.callback(context.close)
            page = context.new_page()
            page.troubles = []
            page.on("pageerror", lambda error: page.troubles.append(str(error)))
            page.goto(machine.address + path)
            return page

        yield opened


def cut(page, sticks):
    page.fill("#sticks", str(sticks))
    page.fill("#hours", "2 1/2")
    page.click("button.main")


def wait_for(true):
    waiting = threading.Event()
    for _ in range(3000):
        if true():
            return
        waiting.wait(0.02)
    pytest.fail("waited in vain")


# --- how they look and are reached ----------------------------------------------------------------


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("path", PAGES)
def test_entry_page_limits(phone, path, width):
    """Nothing scrolls sideways; what is touched is 48 pixels high and more; nothing goes wrong."""
    page = phone(path, width)
    across = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert across[0] <= across[1]
    small = page.evaluate(
        "[...document.querySelectorAll('nav a, .tiles a, .journal a, button, select, summary, "
        ".question input, textarea')].filter((one) => one.checkVisibility() && "
        "one.getBoundingClientRect().height < 48).map((one) => one.outerHTML)"
    )
    assert small == []
    assert page.troubles == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_entry_accessibility_against_axe(phone, path, scheme):
    """axe-core finds no serious or critical fault."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(phone(path, color_scheme=scheme)).response["violations"]
    bad = [f"{one['id']}: {[node['target'] for node in one['nodes']][:3]}" for one in found
           if one["impact"] in ("serious", "critical")]  # fmt: skip
    assert bad == []


def test_a_cut_by_keyboard_alone(phone, machine):
    """From the list of forms to what was written, and back by taking it back."""
    page = phone("/enter")
    page.locator(".tiles a", has_text="Cut").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/enter/cut")
    page.locator("#lot").focus()
    page.keyboard.type("2 Bank")
    for typed in ("31", "3"):
        page.keyboard.press("Tab")
        page.keyboard.type(typed)
    page.keyboard.press("Enter")
    page.wait_for_url("**/entered/*")
    assert machine.cuts(31) == 1
    page.get_by_role("button", name="Take it back").focus()
    page.keyboard.press("Enter")
    page.get_by_text("Taken back.").wait_for()
    assert machine.cuts(31) == 0


def test_forms_limits_without_scripts(phone, machine):
    """A form needs no script: slips are shown, and what is right is written."""
    page = phone("/enter/cut", java_script_enabled=False)
    page.fill("#sticks", "1,2")
    page.click("button.main")
    assert page.locator(".fault").count() == 1
    assert page.input_value("#sticks") == "1,2"
    page.fill("#sticks", "32")
    page.click("button.main")
    assert "/entered/" in page.url
    assert machine.cuts(32) == 1


# --- without a signal -----------------------------------------------------------------------------


def test_entries_limits_network_cut(phone, machine):
    """Cut off, entries are kept and said to wait; with the network back each is written once."""
    page = phone("/enter/cut")
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    for sticks in (41, 42):
        cut(page, sticks)
        page.locator("#queue li", has_text=str(sticks)).wait_for()
    assert "2 wait in this phone" in page.locator("#queue").inner_text()
    assert machine.cuts(41) == machine.cuts(42) == 0
    page.context.set_offline(False)
    wait_for(lambda: machine.cuts(41) == machine.cuts(42) == 1)
    page.locator("#queue").wait_for(state="hidden")
    assert page.troubles == []


def test_entries_limits_server_killed(phone, machine):
    """The farm's computer goes down and comes back; the page was closed and opened meanwhile."""
    page = phone("/enter/cut")
    page.wait_for_load_state("networkidle")
    machine.off()
    cut(page, 51)
    page.locator("#queue li", has_text="51").wait_for()
    machine.on()
    page.reload()
    wait_for(lambda: machine.cuts(51) == 1)
    page.locator("#queue").wait_for(state="hidden")
    assert machine.cuts(51) == 1


def test_entries_limits_answer_lost(phone, machine):
    """Written, but the answer was lost on the way: sent again, it is still one entry."""
    page = phone("/enter/cut")
    lost = []

    def lose(route):
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch(max_redirects=0).status)
            route.abort()
        else:
            route.continue_()

    page.context.route("**/enter/cut", lose)
    cut(page, 61)
    page.locator("#queue li", has_text="61").wait_for()
    assert (lost, machine.cuts(61)) == ([303], 1)
    page.locator("#queue").wait_for(state="hidden", timeout=20_000)
    assert machine.cuts(61) == 1


FORGET_LIST = """async () => {
  for (const name of await caches.keys()) await (await caches.open(name)).delete("/enter");
}"""


@pytest.mark.parametrize("is_half_kept", [False, True])
def test_forms_limits_page_left_open(phone, machine, is_half_kept):
    """Left open, the list of forms opens each of them without a signal, one after the other, also
    where the browser had begun to keep pages and has the form but not the list."""
    page = phone("/enter")
    page.locator("html[data-forms]").wait_for(state="attached")
    if is_half_kept:
        wait_for(lambda: page.evaluate("navigator.serviceWorker.controller !== null"))
        page.evaluate("fetch('/enter/cut').then((answer) => answer.text())")
        page.evaluate(FORGET_LIST)
    page.context.set_offline(True)
    for sticks in (71, 72):
        page.locator(".tiles a", has_text="Cut").click()
        page.locator("#sticks").wait_for()
        cut(page, sticks)
        page.locator("#queue li", has_text=str(sticks)).wait_for()
        page.get_by_text("Leave it").click()
        page.locator(".tiles").first.wait_for()
    page.context.set_offline(False)
    wait_for(lambda: machine.cuts(71) == machine.cuts(72) == 1 + is_half_kept)


def test_entries_limits_refused_later(phone, machine):
    """What is refused when it is sent at last is shown with the reason, and can be mended."""
    page = phone("/enter/cut")
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    cut(page, "8,1")
    page.locator("#queue li", has_text="8,1").wait_for()
    page.context.set_offline(False)
    page.get_by_text("was not taken:").wait_for()
    assert "whole number" in page.locator("#queue").inner_text()
    page.get_by_role("button", name="Mend it").click()
    wait_for(lambda: page.input_value("#sticks") == "8,1")
    page.fill("#sticks", "81")
    page.click("button.main")
    wait_for(lambda: machine.cuts(81) == 1)


def test_conflicts_limits(phone, machine):
    """Two phones say otherwise of the same place, one of them late: both are kept and shown."""
    early, late = phone("/enter/freed"), phone("/enter/freed")
    late.wait_for_load_state("networkidle")
    late.context.set_offline(True)
    for page, day in ((late, "2026-09-20"), (early, "2026-09-15")):
        page.select_option("#place", index=1)
        page.fill("#free_from", day)
        page.click("button.main")
    late.locator("#queue li").wait_for()
    early.wait_for_url("**/entered/*")
    late.context.set_offline(False)
    wait_for(lambda: conflicts(machine.office.store))
    late.get_by_text("Somebody else corrected the same before").wait_for()
    (found,) = conflicts(machine.office.store)
    assert str(found.in_force.noun.free_from) == "2026-09-15"
    assert [str(one.noun.free_from) for one in found.rivals] == ["2026-09-20"]
    page = phone(f"/books/noun/{found.in_force.of}", 1440)
    page.get_by_role("button", name="Take what owner wrote").click()
    wait_for(lambda: not conflicts(machine.office.store))


def test_start_limits_offline(phone, machine):
    """Where the connection can be trusted, an entry page starts without a signal at all."""
    page = phone("/enter")
    wait_for(lambda: page.evaluate("navigator.serviceWorker.controller !== null"))
    page.goto(machine.address + "/enter/cut")
    page.wait_for_load_state("networkidle")
    machine.off()
    page.goto(machine.address + "/enter/cut")
    cut(page, 91)
    page.locator("#queue li", has_text="91").wait_for()
    machine.on()
    wait_for(lambda: machine.cuts(91) == 1)
