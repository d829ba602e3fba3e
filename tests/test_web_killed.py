"""The pages killed, or out of room, while people and programs enter: nothing is lost."""

from __future__ import annotations

import os
import random
import resource
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import contextmanager
from pathlib import Path
from uuid import UUID, uuid4

import httpx
import pytest

from books_office import form_of, quick_office
from full_farm import write_farm
from page_server import served
from tierpole.errors import StoreError
from tierpole.office.people import people_of
from tierpole.office.sources import keep_scenario
from tierpole.records import entries, entries_named, open_store, seal, verify

SOURCE = Path(__file__).parent.parent / "src"
WRITERS = 6  # the first half by forms, the others by the interface for programs
READING = {"place": "Shed", "read_on": "2026-09-09", "read_at": "06:30"}
BY_FORM = READING | {"temperature": "46 F", "humidity": "82"}
BY_PROGRAM = READING | {"temperature": 8.0, "humidity": 0.82}


@contextmanager
def serving(books):
    """`tierpole serve` as a person starts it; killed at the end without a word."""
    command = [sys.executable, "-m", "tierpole", "serve", str(books), "--draws", "50",
               "--port", "18900"]  # fmt: skip
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env=os.environ | {"PYTHONPATH": str(SOURCE), "PYTHONUNBUFFERED": "1"},
    ) as program:  # fmt: skip
        try:
            yield program, program.stdout.readline().split()[2].rstrip("/")
        finally:
            program.kill()


class Writer(threading.Thread):
    """One who enters until the server is gone, and knows what it was told is kept."""

    def __init__(self, address, token, is_person):
        super().__init__()
        self.client = httpx.Client(base_url=address, timeout=20)
        self.token, self.is_person = token, is_person
        self.acknowledged, self.open = [], None

    def run(self):
        try:
            while True:
                self.open = uuid4()
                self.enter(self.open)
                self.acknowledged.append(self.open)
        except httpx.TransportError:
            self.client.close()  # the last one was sent, and nobody knows what became of it

    def enter(self, entry):
        """Send one entry under its id; whatever is answered but that it is kept, is a fault."""
        if self.is_person:
            form = form_of(self.client, "/enter/air") | BY_FORM | {"entry": str(entry)}
            answer = self.client.post("/enter/air", data=form)
        else:
            told = {"Authorization": f"Bearer {self.token}", "Idempotency-Key": str(entry)}
            answer = self.client.post("/api/v1/air", json={"value": BY_PROGRAM}, headers=told)
        assert answer.status_code in (200, 201, 303), answer.text


def writers(address, token):
    return [Writer(address, token, number < WRITERS / 2) for number in range(WRITERS)]


def test_killed_while_people_and_programs_enter(tmp_path):
    """SIGKILL twice, each time restarted and what was not acknowledged sent again under its id."""
    keep_scenario(str(write_farm(tmp_path)), str(tmp_path / "farm.db"), "Ann", keep_day=True)
    with open_store(tmp_path / "farm.db") as store:
        token = people_of(store).new_api_token("logger", "write")
    acknowledged, unsure = [], []
    for seed in range(2):
        with serving(tmp_path / "farm.db") as (program, address):
            again = writers(address, token)[0 if seed else -1]
            for entry, is_person in unsure:
                again.is_person = is_person
                again.enter(entry)
                acknowledged.append(entry)
            again.client.close()
            running = writers(address, token)
            for one in running:
                one.start()
            while sum(len(one.acknowledged) for one in running) < WRITERS:
                time.sleep(0.01)
            time.sleep(random.Random(seed).uniform(0.2, 1.0))
            program.send_signal(signal.SIGKILL)
            for one in running:
                one.join()
        acknowledged += [entry for one in running for entry in one.acknowledged]
        unsure = [(one.open, one.is_person) for one in running]
        assert_kept(tmp_path / "farm.db", acknowledged, {entry for entry, _ in unsure})


def assert_kept(books, acknowledged, unsure):
    """Each acknowledged entry once; of the others only those that were under way; the chain."""
    with open_store(books) as store:
        found = Counter(
            one.id for one in entries(store, limit=1_000_000) if one.kind == "air"
            and one.who in ("owner", "logger")
        )  # fmt: skip
        assert len(set(acknowledged)) == len(acknowledged) >= WRITERS
        assert set(acknowledged) <= found.keys() <= set(acknowledged) | unsure
        assert set(found.values()) == {1}
        whole = entries_named(store, acknowledged[:500])
        assert [one.noun.humidity for one in whole] == pytest.approx([0.82] * len(whole))
        assert verify(store).is_sound


# --- no room, no leave ----------------------------------------------------------------------------


@pytest.fixture
def office(tmp_path):
    with quick_office(tmp_path) as office:
        yield office


@pytest.fixture
def client(office):
    with served(office) as address, httpx.Client(base_url=address) as client:
        client.get("/enter")
        yield client


@contextmanager
def no_room(size):
    """No file may grow beyond a size, as on a full disk."""
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, old[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)
        signal.signal(signal.SIGXFSZ, ignored)


def test_a_full_disk_is_said_on_the_form_and_what_was_typed_is_kept(office, client):
    """503, so that a page with its queue keeps the form too and sends it when there is room."""
    before = seal(office.store)
    form = form_of(client, "/enter/air") | BY_FORM
    with no_room(1):
        answer = client.post("/enter/air", data=form)
    assert answer.status_code == 503
    assert "Nothing was written" in answer.text
    assert "What was written before is safe." in answer.text
    assert 'value="46 F"' in answer.text
    assert f'value="{form["entry"]}"' in answer.text
    assert seal(office.store) == before
    assert client.post("/enter/air", data=form).status_code == 303
    assert [one.id for one in entries_named(office.store, [UUID(form["entry"])])]
    assert verify(office.store).is_sound


def test_a_failure_of_the_books_is_told_in_words_on_every_page(office, client, monkeypatch):
    form = form_of(client, "/enter/air") | BY_FORM
    client.post("/enter/air", data=form)

    def refuses(_):
        raise StoreError("farm.db: Nothing was written, for the file may only be read.")

    monkeypatch.setattr(office.store, "write_together", refuses)
    answer = client.post(f"/entered/{form['entry']}/undo", data=form)
    assert answer.status_code == 503
    assert "Nothing was written, for the file may only be read." in answer.text
