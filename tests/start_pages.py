"""A start that has not begun, its pages as a browser sees them, and a farm typed into them."""

from __future__ import annotations

import re
from contextlib import contextmanager

import httpx

from books_office import Quick
from page_server import served
from tierpole.office.start import Beginning

LEAST = {  # what somebody types who types the least: a dozen answers and two
    "place": {"name": "Sandy Fork", "jurisdiction": "ohio", "station": "nearest"},
    "varieties": {"name": "Early one", "kind": "early"},
    "fields": {"name": "Home", "area": "2 1/2", "variety": "Early one"},
    "lots": None,
    "places": {"name": "Barn", "kind": "air-cured barn", "long": "64 ft", "wide": "40",
               "high": "22 ft", "tiers": "5"},
    "crew": {"people": "4", "hours": "9"},
    "prices": None,
}  # fmt: skip


def quick(store, settings=None, on=None):
    """An office that plans at once."""
    return Quick(store)


@contextmanager
def begun_pages(where, make=quick):
    """The start of new books in a folder or at an address, and a browser in front of it."""
    beginning = Beginning(where if isinstance(where, str) else str(where / "new.db"), make=make)
    with served(None, beginning=beginning) as address, httpx.Client(base_url=address) as client:
        client.beginning = beginning
        yield client
    beginning.stop()


def hidden(client, path):
    """The hidden fields of a page's form."""
    text = client.get(path).text
    return dict(re.findall(r'<input type="hidden" name="([\w-]+)" value="([^"]*)"', text))


def begin(client):
    """Begin a farm."""
    return client.post("/start", data=hidden(client, "/start") | {"do": "begin"})


def send(client, step, *rows, do="save", files=None, **more):
    """Send a step with the answers of its rows."""
    path = f"/start/{step}"
    answers = {f"{key}-{n}": text for n, row in enumerate(rows) for key, text in row.items()}
    told = hidden(client, path) or hidden(
        client, "/start/place"
    )  # a step may ask for another first
    told |= answers | {"do": do} | more
    return client.post(path, data=told, files=files)


def type_the_least(client):
    """The start with as few answers as make a farm one's own; skips the rest."""
    begin(client)
    for step, row in LEAST.items():
        answer = send(client, step, do="skip") if row is None else send(client, step, row)
        assert answer.status_code == 303, (step, re.findall(r"<li>.*?</li>", answer.text))
    return send(client, "plan")
