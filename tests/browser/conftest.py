"""A browser for the page tests: the machine's Chromium, cut off from everything but this machine.

Without one the tests are skipped and say so; with TIERPOLE_REQUIRE_BROWSER=1 they fail instead.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from fake_office import FakeOffice
from page_server import served

ARGUMENTS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def _executable() -> str:
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if found is None:
        said = "NO BROWSER: no chromium on this machine, so no page was looked at. Install it."
        if os.environ.get("TIERPOLE_REQUIRE_BROWSER") == "1":
            pytest.fail(said)
        pytest.skip(said)
    return found


@pytest.fixture(scope="session")
def browser():
    from playwright.sync_api import sync_playwright

    executable = _executable()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=list(ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def office():
    return FakeOffice()


@pytest.fixture(scope="session")
def address(office):
    with served(office) as address:
        yield address


@pytest.fixture
def open_page(browser, address):
    """Open a path at a width and in a colour scheme; waits until its charts are drawn."""
    contexts = []

    def opened(path: str, width: int = 1440, scheme: str = "light", scripts: bool = True):
        context = browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme="dark" if scheme == "dark" else "light",
            java_script_enabled=scripts,
        )
        contexts.append(context)
        page = context.new_page()
        page.asked, page.troubles = [], []
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("pageerror", lambda error: page.troubles.append(str(error)))
        page.on("console", lambda said: _note(page, said))
        if scheme == "print":
            page.emulate_media(media="print")
        page.goto(address + path)
        if scripts:
            page.wait_for_function(DRAWN)
        return page

    yield opened
    for context in contexts:
        context.close()


DRAWN = "[...document.querySelectorAll('figure.chart')].every((one) => one.dataset.drawn)"


def _note(page, said) -> None:
    if said.type in ("error", "warning"):
        page.troubles.append(said.text)


def pytest_collection_modifyitems(items):
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
