"""Every page of the table of routes: for ear and keyboard, on paper, at 820 pixels, and how heavy.

What other modules of this folder look at already is named here and left to them.
"""

from __future__ import annotations

import httpx
import pypdfium2
import pytest

from open_farm import LOT, open_farm
from tierpole.office.people import Role
from tierpole.records import entries
from tierpole.web.access import ACCESS

MOST = 200_000  # bytes of a page besides the charts' shared script
PAPER = 710  # pixels between the margins of a letter sheet
SHARED = "charts-bundle.js"
O, C, G, N = Role.OWNER, Role.CREW, Role.GUEST, Role.NOBODY  # noqa: E741

# route, an address of it, who looks at it, in which language
PAGES = (
    ("/crew", "/crew", C, "es"),
    ("/crew/day/{day}", "/crew/day/2026-09-03", C, "en"),
    ("/crew/day/{day}", "/crew/day/2026-10-16", C, "es"),
    ("/crew/day/{day}", "/crew/day/2026-09-08", O, "en"),
    ("/place/{name:path}", "/place/Fan shed", C, "en"),
    ("/place/{name:path}", "/place/Frame", C, "es"),
    ("/packet/{lot:path}", f"/packet/{LOT}", G, "en"),
    ("/enter/{form}", "/enter/hung", C, "es"),
    ("/entered/{entry}", "/entered/{cut}", O, "es"),
    ("/books/noun/{noun}", "/books/noun/{noun}", O, "en"),
    ("/books/noun/{noun}/correct", "/books/noun/{noun}/correct", O, "en"),
    ("/plans/{mark}", "/plans/{mark}", O, "en"),
    ("/papers", "/papers", O, "en"),
    ("/books", "/books", O, "en"),
    ("/books", "/books?on=2026-09-03", O, "en"),
    ("/books/balance", "/books/balance", O, "en"),
    ("/people", "/people", O, "en"),
    ("/sales", "/sales", O, "en"),
    ("/acres", "/acres", O, "en"),
    ("/sign-in", "/sign-in", N, "en"),
    ("/pair", "/pair", N, "en"),
    ("/guest/{token}", "/guest/none", N, "en"),  # what is not there
)  # fmt: skip
ELSEWHERE = {
    "/", "/season", "/lot/{name:path}", "/rules", "/why/plan/{key}/{subject:path}",
    "/why/outlook/{name}", "/why/outlook/{name}/{subject:path}", "/why/formula/{name}",
    "/why/value/{name}", "/enter", "/books/check", "/plans", "/certificates",
    "/certificates/paper/{key}", "/sales/{name:path}", "/start", "/start/{step}",
}  # fmt: skip
NO_PAGES = {  # files, data, and addresses that lead on
    "/static", "/fonts", "/offline.js", "/health", "/paper/{kind}.pdf", "/paper/packet/{lot:path}",
    "/crew/day/{day}.pdf", "/crew/map/{name:path}", "/tables.xlsx", "/table/{name}.csv",
    "/calendar.ics", "/calendar/{token}.ics", "/content/{key}", "/scan/{kind}/{lot}",
    "/scan/{kind}/{lot}/{rest:path}", "/certificates/paper/{key}/{page}.png",
    "/books/backup.db", "/books/farm.zip", "/books/tables.xlsx", "/books/table/{kind}.csv",
}  # fmt: skip
WEIGHED = (
    ("/", O), ("/season", O), ("/lot/6 South bottom", O), ("/place/Fan shed", O), ("/rules", O),
    ("/enter", O), ("/books", O), ("/people", O), ("/crew", C), ("/place/Fan shed", C),
    (f"/packet/{LOT}", G),
)  # fmt: skip


@pytest.fixture(scope="module")
def farm(browser, tmp_path_factory):
    with open_farm(tmp_path_factory.mktemp("pages"), browser) as farm:
        yield farm


@pytest.fixture(scope="module")
def names(farm):
    """What stands in the addresses: an entry, its noun, a plan."""
    cut = next(one for one in entries(farm.office.store, limit=500) if one.kind == "cut")
    return {"cut": cut.id, "noun": cut.of, "mark": farm.office.kept_plans()[0].plan[:16]}


@pytest.fixture(scope="module")
def look(farm, names):
    """Open one of the pages, or find it open, at a width, in a scheme, for a medium."""
    pages = {}

    def opened(path, role, language, width, scheme="light", media="screen"):
        key = path, role, language
        if key not in pages:
            pages[key] = farm.page(role, language)
            pages[key].goto(farm.address + path.format(**names))
        page = pages[key]
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(media=media, color_scheme=scheme)
        return page

    return opened


def test_the_table_is_complete():
    """Every address that is read stands in one of the lists, and none that is not there."""
    there = {path for method, path in ACCESS if method == "GET" and not path.startswith("/api")}
    assert {route for route, *_ in PAGES} | ELSEWHERE | NO_PAGES == there


@pytest.mark.parametrize(("route", "path", "role", "language"), PAGES)
def test_page_against_axe(look, route, path, role, language):
    """axe-core finds no serious or critical fault; at 820 pixels nothing scrolls sideways and what
    is touched is 48 pixels high; the page is in its reader's language."""
    from axe_playwright_python.sync_playwright import Axe

    page = look(path, role, language, 820)
    found = Axe().run(page).response["violations"]
    bad = [f"{one['id']}: {[node['target'] for node in one['nodes']][:3]}" for one in found
           if one["impact"] in ("serious", "critical")]  # fmt: skip
    assert bad == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), route
    small = page.evaluate(
        "[...document.querySelectorAll('nav a, .tiles a, .index a, .more a, button, select, "
        "summary, .question input, textarea')].filter((one) => one.checkVisibility() && "
        "one.getBoundingClientRect().height < 48).map((one) => one.outerHTML)"
    )
    assert small == []
    assert page.troubles == []


def test_shown_once_against_axe(farm):
    """The same of what People shows once: a code, a link, an address, each with its picture."""
    from axe_playwright_python.sync_playwright import Axe

    for field, button in (("phone", "code"), ("guest", "link"), ("calendar", "address")):
        page = farm.page(O)
        page.goto(f"{farm.address}/people")
        page.fill(f"#{field}-name", "Dee")
        page.get_by_role("button", name=button).click()
        page.locator(".qr svg").wait_for()
        assert [one["id"] for one in Axe().run(page).response["violations"]
                if one["impact"] in ("serious", "critical")] == []  # fmt: skip
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


CLIPPED = """() => [...document.querySelectorAll("main *")].filter((one) =>
  one.checkVisibility() && getComputedStyle(one).overflowX !== "visible"
  && one.scrollWidth > one.clientWidth + 1).map((one) => one.outerHTML.slice(0, 120))"""
COLOURS = """() => {
  const page = getComputedStyle(document.body);
  return [page.color, page.backgroundColor];
}"""
CELLS = """() => [...document.querySelector("main").querySelectorAll("h1, h2, p, td, th, li")]
  .filter((one) => one.checkVisibility() && !one.querySelector("td, li, form, p"))
  .map((one) => one.innerText)"""


@pytest.mark.parametrize(
    ("route", "path", "role", "language"), [row for row in PAGES if row[2] is not N]
)
def test_print(look, route, path, role, language):
    """On paper: black on white in the dark as well, no navigation and no form, nothing cut off, and
    each cell and line of the page stands in what is printed, as another reader finds it."""
    page = look(path, role, language, PAPER, "dark", "print")
    assert page.evaluate(COLOURS) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"], route
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate(CLIPPED) == []
    for gone in ("nav", "form", ".skip"):
        assert not any(one.is_visible() for one in page.locator(gone).all()), gone
    cells = page.evaluate(CELLS)
    told = pypdfium2.PdfDocument(page.pdf(format="Letter"))
    text = "".join(one.get_textpage().get_text_range() for one in told)
    text = "".join(text.replace("\ufffe", "-").split())
    assert cells
    words = ("".join(cell.replace("\u2060", "").split()) for cell in cells)  # it only ties signs
    missing = [word for word in words if word not in text]
    assert missing == []


@pytest.mark.parametrize(("path", "role"), WEIGHED)
def test_weight(farm, path, role):
    """A first visit transfers under 200 kB, with the forms kept for later, besides the charts'
    shared script."""
    page, asked = farm.page(role), set()
    page.on("request", lambda request: asked.add(request.url))
    page.goto(farm.address + path, wait_until="networkidle")
    held = {one["name"]: one["value"] for one in page.context.cookies()}
    own = {}
    with httpx.Client(cookies=held, headers={"accept": "text/html"}) as client:
        for url in asked:
            if url.startswith(farm.address) and SHARED not in url:
                answer = client.get(url)
                assert answer.status_code == 200, url
                own[url] = answer.num_bytes_downloaded + len(str(answer.headers))
    assert any("pages.css" in url for url in own)
    assert any(".ttf" in url for url in own)
    assert sum(own.values()) < MOST, own
