"""The pages in a real browser: whole at every width, in dark and on paper, for keyboard and ear."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest

PAGES = (
    "/", "/season", "/lot/6 South bottom", "/lot/1 River", "/place/Home barn", "/place/Frame",
    "/rules", "/why/plan/p_pass/6 South bottom", "/why/outlook/p_pass/6 South bottom",
    "/why/formula/compliance.chance:p_pass", "/why/value/compliance.chance:trimming", "/nothing",
)  # fmt: skip
WITH_CHARTS = ("/season", "/lot/6 South bottom", "/place/Home barn")
WIDTHS = (390, 820, 1440)

FOCUSED = """() => {
  const at = document.activeElement;
  if (!at || at === document.body) return null;
  const style = getComputedStyle(at), box = at.getBoundingClientRect();
  return {
    key: at.getAttribute("href") || at.id || at.textContent,
    outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    seen: box.width > 0 && box.height > 0 && box.right > 0 && box.left < innerWidth,
  };
}"""


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("path", PAGES)
def test_page_limits(open_page, path, width):
    """Nothing scrolls sideways, nothing leaves this machine, nothing is complained of."""
    page = open_page(path, width)
    for media, scheme in (("screen", "light"), ("screen", "dark"), ("print", "light")):
        page.emulate_media(media=media, color_scheme=scheme)
        across = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert across[0] <= across[1], (media, scheme)
    hosts = {urlsplit(url).hostname for url in page.asked if not url.startswith("data:")}
    assert hosts == {"127.0.0.1"}
    assert len(page.troubles) == (path == "/nothing"), page.troubles  # the browser notes the 404


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1440, "dark")])
@pytest.mark.parametrize("path", PAGES)
def test_accessibility_against_axe(open_page, path, width, scheme):
    """axe-core finds no serious or critical fault."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(open_page(path, width, scheme)).response["violations"]
    bad = [
        f"{fault['id']}: {fault['help']} {[node['target'] for node in fault['nodes']][:3]}"
        for fault in found
        if fault["impact"] in ("serious", "critical")
    ]
    assert bad == []


@pytest.mark.parametrize("path", PAGES)
def test_keyboard_limits(open_page, path):
    """Tab reaches every link and control in order, and where it is can be seen."""
    page = open_page(path)
    wanted = page.evaluate(
        "[...document.querySelectorAll('a[href], summary, input')]"
        ".filter((one) => one.checkVisibility()).length"
    )
    keys, steps = [], 0
    while steps < wanted + 60:
        page.keyboard.press("Tab")
        steps += 1
        at = page.evaluate(FOCUSED)
        if at is None:
            break
        assert at["outline"], at
        assert at["seen"], at
        keys.append(at["key"])
    assert len(keys) >= wanted


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("path", PAGES)
def test_targets_limits(open_page, path, width):
    """What stands by itself to be touched is at least 48 pixels high."""
    small = open_page(path, width).evaluate(
        "[...document.querySelectorAll('nav a, summary, .more a, .ways a, .index a, .onward a, "
        "input')].filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 48)"
        ".map((one) => one.outerHTML)"
    )
    assert small == []


LONGEST_LINE = """() => {
  let longest = 0;
  for (const paragraph of document.querySelectorAll("main p, .prose li")) {
    if (!paragraph.checkVisibility()) continue;
    const lines = new Map(), walker = document.createTreeWalker(paragraph, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      for (let k = 0; k < node.length; k += 1) {
        const range = document.createRange();
        range.setStart(node, k);
        range.setEnd(node, k + 1);
        const bottom = Math.round(range.getBoundingClientRect().bottom / 8);
        lines.set(bottom, (lines.get(bottom) ?? 0) + 1);
      }
    }
    longest = Math.max(longest, ...lines.values());
  }
  return longest;
}"""


@pytest.mark.parametrize("path", ["/", "/rules", "/lot/6 South bottom"])
def test_type_limits(open_page, path):
    """The shipped face is in use, 18 pixels and more, in lines of about 70 letters at most."""
    page = open_page(path, 1440)
    assert page.evaluate("document.fonts.check('18px \"Atkinson Hyperlegible Next\"')")
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 18
    assert page.evaluate(LONGEST_LINE) <= 72


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("path", WITH_CHARTS)
def test_charts_limits_drawn(open_page, path, width):
    """Every chart is drawn within the page, named by its sentence, its strokes not read out."""
    page = open_page(path, width)
    figures = page.locator("figure.chart")
    assert figures.count() >= 3
    for number in range(figures.count()):
        picture = figures.nth(number).locator(".picture")
        box = picture.locator("svg").bounding_box()
        assert box["height"] > 150
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        assert picture.get_attribute("aria-label").endswith(".")
        assert picture.locator("svg").get_attribute("aria-hidden") == "true"
        assert picture.locator("svg path").count() > 5


@pytest.mark.parametrize("path", WITH_CHARTS)
def test_charts_limits_without_scripts(open_page, path):
    """Without scripts the sentences and tables still stand, and nothing asks to be moved."""
    page = open_page(path, scripts=False)
    tables = page.locator("figure.chart details table")
    assert tables.count() >= 3
    page.locator("figure.chart summary").first.click()
    assert tables.first.is_visible()
    assert page.locator(".chooser:visible").count() == 0


def test_charts_limits_dark(open_page):
    """The same drawing takes the dark scheme's ink."""
    inks = {
        scheme: open_page("/season", scheme=scheme).evaluate(
            "getComputedStyle(document.querySelector('.picture text')).fill"
        )
        for scheme in ("light", "dark")
    }
    assert inks["light"] != inks["dark"]


def test_strip_limits_links(open_page):
    """Walking through the list of cuts leads a line from the cut to its place, and out again."""
    page = open_page("/season")
    shown = """() => [...document.querySelectorAll("#strip .mark-rule line")].filter((one) =>
      getComputedStyle(one).stroke !== "none" && one.getAttribute("opacity") === "1").length"""
    before = page.evaluate(shown)
    page.locator("#cuts a").first.focus()
    page.wait_for_timeout(200)
    assert page.evaluate(shown) == before + 1
    page.locator("h1").click()
    page.evaluate("document.activeElement.blur()")
    page.wait_for_timeout(200)
    assert page.evaluate(shown) == before


def test_slider_limits(open_page, office):
    """One slider says its day and moves the rule in every picture of the lot."""
    page = open_page("/lot/6 South bottom")
    choices = office.view("lot", "6 South bottom", "us").choices
    slider, said = page.locator("#sample-day"), page.locator(".chooser output")
    chosen = office.view("lot", "6 South bottom", "us").chosen
    assert said.inner_text() == choices[chosen].says
    before = page.locator("#passing svg").inner_html()
    slider.press("ArrowRight")
    page.wait_for_timeout(200)
    assert said.inner_text() == choices[chosen + 1].says
    assert slider.get_attribute("aria-valuetext") == choices[chosen + 1].says
    assert page.locator("#passing svg").inner_html() != before


def test_print_limits(open_page):
    """On paper This week is a cut list with boxes to tick, on one or two sheets, without links."""
    page = open_page("/", 820, "print")
    assert page.locator(".tick").first.is_visible()
    assert page.locator("nav a:visible, .ways a:visible, .index a:visible").count() == 0
    sheets = page.pdf(prefer_css_page_size=True, format="Letter")
    assert len(re.findall(rb"/Type\s*/Page\b", sheets)) in (1, 2)


@pytest.mark.parametrize("path", ["/lot/6 South bottom", "/place/Frame"])
def test_print_limits_pictures(open_page, path):
    """A lot and a place print to two sheets, pictures whole."""
    page = open_page(path, 820, "print")
    sheets = page.pdf(prefer_css_page_size=True, format="Letter")
    assert len(re.findall(rb"/Type\s*/Page\b", sheets)) <= 2
