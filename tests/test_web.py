"""The pages over HTTP: whole, linked, honest about their state, with nothing from elsewhere."""

from __future__ import annotations

import json
import re
import socket
from contextlib import contextmanager, suppress
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import altair as alt
import httpx
import pytest
import vl_convert
from pydantic_core import to_jsonable_python

import synthetic
from fake_office import FakeOffice, Status
from page_server import served
from tierpole.errors import StoreError
from tierpole.web.files import STATIC, file_address
from tierpole.web.render import age
from tierpole.web.serving import HOST, TRIES, free_listener

PAGES = {
    "/": ("week", "us"),
    "/season": ("season", "us"),
    "/lot/6 South bottom": ("lot", "6 South bottom", "us"),
    "/place/Home barn": ("place", "Home barn", "us"),
    "/rules": ("rules",),
    "/papers": ("papers",),
    "/why/plan/p_pass/6 South bottom": ("why_plan", "p_pass", "6 South bottom"),
    "/why/outlook/p_pass/6 South bottom": ("why_outlook", "p_pass", "6 South bottom"),
    "/why/formula/compliance.chance:p_pass": ("why_formula", "compliance.chance:p_pass"),
    "/why/value/compliance.chance:trimming": ("why_value", "compliance.chance:trimming"),
}
VOID = {"meta", "link", "input", "br"}


class _Page(HTMLParser):
    """What a test asks of a page; raises when an element is closed that was not opened."""

    def __init__(self, text: str):
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: dict[str, str] = {}
        self.feed(text.replace("\u00a0", " ").replace("\u2060", ""))
        self.close()
        assert self.open == [], f"left open: {self.open}"

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, f"{tag} closes nothing"
        assert self.open[-1] == tag, f"{tag} closes {self.open[-1]}"
        self.open.pop()

    def handle_data(self, data):
        for tag in self.open:
            self.words[tag] = self.words.get(tag, "") + data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


@pytest.fixture(scope="module")
def office():
    return FakeOffice()


@pytest.fixture(scope="module")
def client(office):
    with _pages_of(office) as client:
        yield client


@contextmanager
def _pages_of(office):
    with served(office) as address, httpx.Client(base_url=address) as client:
        yield client


def _client(**changes):
    return _pages_of(FakeOffice(**changes))


@pytest.mark.parametrize("path", PAGES)
def test_page_limits_html(client, path):
    """Elements close in order; one h1, a title, unique ids, links that lead somewhere."""
    answer = client.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    page = _Page(answer.text)
    assert page.all("html") == [{"lang": "en"}]
    assert len(page.all("h1")) == len(page.all("main")) == 1
    assert page.words["title"].endswith("· Sample Fork")
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    labels = [a["aria-labelledby"] for _, a in page.tags if "aria-labelledby" in a]
    assert set(labels) <= set(ids)
    assert all(link["href"] for link in page.all("a"))
    assert all(cell.get("scope") in ("col", "row") for cell in page.all("th"))


@pytest.mark.parametrize(("path", "view"), PAGES.items())
def test_page_limits_first_sentence(client, office, path, view):
    """The head of the page itself is the view's sentence, or its title over the sentence."""
    model = office.view(*view)
    page = _Page(client.get(path).text)
    if path.startswith("/why"):
        assert page.words["h1"].strip() == model.title
        assert model.sentence in page.words["main"]
    else:
        assert page.words["h1"].strip() == model.sentence


@pytest.mark.parametrize(("path", "view"), PAGES.items())
def test_page_limits_json(client, office, path, view):
    """The same address with format=json gives the same view model, nothing less."""
    answer = client.get(path, params={"format": "json"})
    assert answer.headers["content-type"] == "application/json"
    assert answer.json() == json.loads(json.dumps(to_jsonable_python(asdict(office.view(*view)))))


def _links(text: str) -> set[str]:
    return {link["href"] for link in _Page(text).all("a") if not link["href"].startswith("#")}


def test_page_limits_every_link(client):
    """Every link leads to a page, and all pages are reached from This week.

    Of a package's values and of the steps about a thing one stands for the rest; other units
    have their own test.
    """
    seen, kinds, waiting = set(), set(), ["/"]
    while waiting:
        path = waiting.pop()
        kind = re.sub(r"^(/why/(?:value|plan|outlook)/\w+|/table/|/paper/\w+).*", r"\1", path)
        if path in seen or "units=" in path or (kind != path and kind in kinds):
            continue
        seen.add(path)
        kinds.add(kind)
        answer = client.get(path)
        assert answer.status_code == 200, path
        if answer.headers["content-type"].startswith("text/html"):
            waiting += [urljoin(path, link) for link in _links(answer.text)]
    assert {
        "/season",
        "/rules",
        "/papers",
        "/calendar.ics",
        "/tables.xlsx",
        "/lot/6%20South%20bottom",
        "/place/Home%20barn",
    } <= seen
    for step in ("plan", "outlook", "formula", "value"):
        assert len([path for path in seen if path.startswith(f"/why/{step}/")]) > 4


def test_page_limits_charts(client, office):
    """A page carries each chart's sentence as its name, its table and its spec."""
    text = client.get("/lot/6 South bottom").text
    page = _Page(text)
    model = office.view("lot", "6 South bottom", "us")
    names = [a["aria-label"] for a in page.all("div") if a.get("role") == "img"]
    charts = (
        model.passing, model.thc, model.cbd, model.worth, model.if_read, model.worth_of_test
    )  # fmt: skip
    assert names == [chart.sentence for chart in charts]
    assert all(chart.page_json in text for chart in charts)
    assert len(page.all("details")) >= len(charts)


def test_page_limits_units(client):
    """A page asked for in metric says metric, and so does every page it leads to."""
    text = client.get("/", params={"units": "metric"}).text
    assert "°C" in text
    assert "°F" not in text.replace("28\u00a0°F", "")
    inside = {link for link in _links(text) if "units=" not in link}
    assert inside == set()
    assert {link for link in _links(text) if "units=us" in link} == {"/?units=us"}
    assert client.get("/", params={"units": "furlongs"}).status_code == 422


def test_page_limits_nothing_from_elsewhere(client):
    """No page names an address outside itself but the schema of its charts and of XML."""
    for path in PAGES:
        text = client.get(path).text
        found = set(re.findall(r"https?://[^\s\"'<>\\]+", text))
        assert {urlsplit(address).netloc for address in found} <= {"vega.github.io"}
        assert not re.search(r"(src|href)=\"(https?:)?//", text)


def test_page_limits_headers(client):
    """Pages are revalidated, framed by nobody and load from themselves alone."""
    headers = client.get("/").headers
    assert headers["cache-control"] == "no-cache"
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "http" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"


def test_page_limits_assumed(client):
    """An assumed number is marked by its style and by the word."""
    text = client.get("/").text
    marked = re.findall(r'class="why assumed"[^>]*>[^<]*</a>\s*<span class="assumed-word">', text)
    assert marked
    assert len(marked) == text.count("why assumed")


def test_page_limits_escaping():
    """Words from outside stay words."""
    with _client(changes=("<script>alert(1)</script> & more",)) as client:
        text = client.get("/").text
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; more" in text


# --- states -------------------------------------------------------------------------------------


def test_state_limits_working():
    """Without a plan every page says what is awaited, and when to look again."""
    now = Status("working", "drying table", 0.4, planned_at=None)
    with _client(plan=None, now=now) as client:
        for path in PAGES:
            answer = client.get(path)
            assert answer.status_code == 503
            assert answer.headers["retry-after"] == "3"
            assert "drying table" in answer.text
            assert 'value="0.4"' in answer.text
            _Page(answer.text)
        health = client.get("/health").json()
    assert health == {"state": "working", "step": "drying table", "share": 0.4, "message": "",
                      "planned_at": None, "has_plan": False, "kept_plan": ""}  # fmt: skip


def test_state_limits_failed():
    """A failed planning names what is wrong and what to do; nothing asks to wait."""
    now = Status("failed", message="lots[2]: area must be more, got 0.", planned_at=None)
    with _client(plan=None, now=now) as client:
        answer = client.get("/")
        as_json = client.get("/", params={"format": "json"})
    assert answer.status_code == as_json.status_code == 503
    assert "retry-after" not in answer.headers
    assert "lots[2]: area must be more, got 0." in answer.text
    assert "tierpole check" in answer.text
    assert as_json.json() == {"state": "failed", "message": "lots[2]: area must be more, got 0."}


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("stale", "Facts have changed since this plan was made."),
        ("working", "A new plan is being made"),
        ("failed", "The last planning failed,"),
    ],
)
def test_state_limits_over_a_plan(state, said):
    """With a plan at hand the page shows it, and says how it stands."""
    with _client(now=Status(state, "round 2", 0.5, "A test came in.")) as client:
        answer = client.get("/")
    assert answer.status_code == 200
    assert said in answer.text


def test_state_limits_changes(client):
    """What changed since the last look is counted and named."""
    text = client.get("/").text
    assert "1 thing changed since you last looked" in text
    assert "passes in 1 more season of 20" in text


@pytest.mark.parametrize("path", ["/nothing", "/lot/9 Nowhere", "/place/Nowhere", "/why/value/x"])
def test_state_limits_not_found(client, path):
    """A page that is not there says so and leads on."""
    answer = client.get(path)
    assert answer.status_code == 404
    assert "There is no such page." in answer.text
    assert "/lot/6%20South%20bottom" in _links(answer.text)
    assert client.get(path, params={"format": "json"}).json() == {"error": "not found"}


def test_state_limits_broken_page():
    """A page that cannot be made says so without its insides."""
    office = FakeOffice()
    office.outlook = None
    with _pages_of(office) as client:
        answer = client.get("/")
    assert answer.status_code == 500
    assert "This page could not be made." in answer.text
    assert "Traceback" not in answer.text
    assert "NoneType" not in answer.text


def test_age_limits():
    """A plan of today gives its hour, an older one its day."""
    now = datetime.now(UTC)
    assert age(None) == ""
    assert age(now) == f"plan of {now:%H:%M}"
    old = now - timedelta(days=3)
    assert age(old).startswith(f"plan of {old.day} ")


# --- files and serving --------------------------------------------------------------------------


def test_files_limits(client):
    """Files with their mark are kept for a year, others are asked for again; the face is served."""
    kept = client.get(file_address("pages.css")).headers["cache-control"]
    assert kept == "public, max-age=31536000, immutable"
    assert client.get("/static/pages.css").headers["cache-control"] == "no-cache"
    for font in re.findall(r'url\("([^"]+)"\)', client.get("/static/pages.css").text):
        assert client.get(font).status_code == 200
    assert client.get("/static/nothing.js").status_code == 404


def test_bundle_against_altair():
    """The chart script is made for the version of Vega-Lite that Altair writes."""
    made_of = json.loads((STATIC / "charts-bundle.json").read_text())
    assert alt.SCHEMA_VERSION.removeprefix("v").startswith(made_of["vega-lite"])
    assert made_of["vega"] == vl_convert.get_vega_version()
    assert made_of["vega-embed"] == vl_convert.get_vega_embed_version()
    licences = (STATIC / "LICENSE-charts-bundle.txt").read_text()
    assert all(name in licences for name in (*made_of, "d3-array", "fast-json-patch"))


def test_serving_limits_taken_port():
    """A taken port gives way to the next free one; twenty taken ones are an error in words."""
    first = free_listener(18_470)
    second = free_listener(first.getsockname()[1])
    assert second.getsockname()[1] > first.getsockname()[1]
    taken = []
    try:
        for number in range(first.getsockname()[1], first.getsockname()[1] + TRIES):
            one = socket.socket()
            taken.append(one)
            with suppress(OSError):
                one.bind((HOST, number))
                one.listen()
        with pytest.raises(StoreError, match="are all taken"):
            free_listener(first.getsockname()[1])
    finally:
        for one in (first, second, *taken):
            one.close()


def test_synthetic_season_limits():
    """The season the pages are tested with is one the project itself would take."""
    from tierpole.season import faults

    assert faults(synthetic.season()) == []
