"""An office of its own for each test, and its pages: ``pytest_plugins = ["books_pages"]``."""

import httpx
import pytest

from books_office import quick_office
from page_server import served


@pytest.fixture
def office(tmp_path):
    with quick_office(tmp_path) as office:
        yield office


@pytest.fixture
def client(office):
    with served(office) as address, httpx.Client(base_url=address) as client:
        client.get("/enter")
        yield client
