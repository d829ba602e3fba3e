"""Every kind of noun is entered and corrected by a form; tables row by row, without a script."""

from __future__ import annotations

import gzip
import html
import re
from hashlib import sha256

import httpx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from books_office import form_of, quick_office, written
from page_server import served
from tierpole.farm import CertificateColumns, CrewHours
from tierpole.farm.books import Attachment
from tierpole.office.entry.desk import by_hand, matters
from tierpole.office.entry.forms import NOT_BY_HAND, form_named
from tierpole.records import (
    KINDS,
    Change,
    Wanted,
    nouns,
    read_content,
    read_season,
    standing,
    verify,
    write,
)

PNG = b"\x89PNG\r\n\x1a\n"
PDF = b"%PDF-1.7\n" + b"0" * 64


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("tables")) as office:
        yield office


@pytest.fixture(scope="module")
def client(office):
    with served(office) as address, httpx.Client(base_url=address) as client:
        client.get("/enter")
        yield client


def answers_on(page):
    """What a page's form would send as it stands."""
    told = dict(re.findall(r'<input type="(?:text|date|time|hidden)"[^>]* name="(\w+)"'
                           r'[^>]* value="([^"]*)"', page))  # fmt: skip
    told |= dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page))
    told |= dict(re.findall(r'<textarea id="(\w+)"[^>]*>([^<]*)<', page))
    for key, inside in re.findall(r'<select id="(\w+)".*?>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        told[key] = chosen[1] if chosen else ""
    return {key: html.unescape(value) for key, value in told.items()}


def single(office, kind):
    return nouns(office.store, Wanted(kind, season=2026))[-1]


def faults(page):
    return [html.unescape(re.sub("<[^>]+>", "", one)) for one in re.findall("<li>(.*?)</li>", page)]


def test_every_kind_has_a_form():
    """All but what the program itself makes; no field is left out but what a file
    shows itself."""
    assert set(NOT_BY_HAND) == {"season", "learnt", "plan", "certificate_labels"}
    assert {kind.name for kind in KINDS} - set(by_hand()) == set(NOT_BY_HAND)
    for kind in KINDS:
        if form := form_named(f"any-{kind.name}"):
            missing = set(kind.noun.model_fields) - {ask.key for ask in form.asks}
            assert missing <= {"media_type", "size", "station", "file", "forecast"}, kind.name


def test_everything_in_the_books_is_corrected_by_its_form(office, client):
    """Sent as it is shown it says what it said, to the last digit, whatever it is."""
    seen = set()
    for kind in by_hand():
        for stored in nouns(office.store, Wanted(kind))[:2]:
            where = f"/books/noun/{stored.entry.of}"
            page = client.get(f"{where}/correct").text
            sent = client.post(f"{where}/correct", data=answers_on(page) | {"why": "looked at"})
            assert sent.status_code == 303, (kind, faults(sent.text))
            assert standing(office.store, stored.entry.of).noun == stored.noun
            seen.add(kind)
    assert {"crew", "lot", "place", "market", "test"} <= seen


def test_crew_hours_limits(office, client):
    """A row is added, another changed, one emptied; the others stay to the last digit."""
    crew = single(office, "crew")
    where = f"/books/noun/{crew.entry.of}/correct"
    told = answers_on(client.get(where).text) | {"why": "harvest help"}
    rows = int(told["hours_rows"])
    assert rows == len(crew.noun.hours) + 1
    before = written(office)
    more = client.post(where, data=told | {"more": "hours"})
    assert more.status_code == 200
    assert written(office) == before
    again = answers_on(more.text)
    assert int(again["hours_rows"]) == rows + 1
    assert again["why"] == "harvest help"
    new = {f"hours_{rows}_starting": "2026-10-01", f"hours_{rows}_hours": "24"}
    sent = client.post(where, data=again | new)
    assert sent.status_code == 303, faults(sent.text)
    now = standing(office.store, crew.entry.of).noun
    assert now.hours[:-1] == crew.noun.hours
    assert str(now.hours[-1].starting) == "2026-10-01"
    assert now.hours[-1].hours == pytest.approx(CrewHours.model_validate(
        {"starting": "2026-10-01", "hours": "24 h/day"}).hours)  # fmt: skip
    assert now.model_copy(update={"hours": crew.noun.hours}) == crew.noun
    last = answers_on(client.get(where).text)
    emptied = dict.fromkeys(new, "") | {
        key: "" for key in last if key.startswith(f"hours_{rows - 1}_")
    }
    client.post(where, data=last | emptied | {"why": "they left"})
    assert standing(office.store, crew.entry.of).noun == crew.noun
    shown = client.get(f"/books/noun/{crew.entry.of}").text
    assert "2026-10-01, 24 h/day" in shown


@pytest.mark.parametrize(
    ("told", "fault"),
    [
        ({"hours_1_starting": "", "hours_1_hours": "8"},
         "Row 2: Starting must be answered."),
        ({"hours_1_starting": "2026-09-01", "hours_1_hours": "a lot"},
         "Row 2: Hours must be hours a day from 0 h/day to 2000 h/day, written in h/day."),
        ({"hours_0_starting": "", "hours_0_hours": ""},
         "Crew hours a day, from a day on until the next must be answered."),
        ({f"hours_{n}_hours": "8" for n in range(50)},
         "Crew hours a day, from a day on until the next must be 40 rows at most."),
    ],
)  # fmt: skip
def test_slips_in_a_row_are_named(office, client, told, fault):
    """By the row and the question; what was typed stays, and nothing is written."""
    crew = single(office, "crew")
    where = f"/books/noun/{crew.entry.of}/correct"
    shown = answers_on(client.get(where).text)
    rest = {key: value for key, value in shown.items() if not key.startswith("hours_")}
    first = {key: shown[key] for key in ("hours_0_starting", "hours_0_hours")}
    before = written(office)
    sent = client.post(where, data=rest | first | told | {"why": "a slip"})
    assert sent.status_code == 422
    assert fault in faults(sent.text)
    assert written(office) == before
    for key in told if len(told) < 9 else ():
        assert answers_on(sent.text)[key] == told[key]


def test_columns_of_a_laboratory_limits(office, client):
    """Entered as rows: what, heading, or always the same."""
    told = form_of(client, "/enter/any-certificate_columns") | {
        "name": "Valley", "fields_0_field": "lot", "fields_0_column": "Sample",
        "fields_3_field": "unit", "fields_3_always": "%",
    }  # fmt: skip
    sent = client.post("/enter/any-certificate_columns", data=told)
    assert sent.status_code == 303, faults(sent.text)
    noun = nouns(office.store, Wanted("certificate_columns"))[-1].noun
    assert noun == CertificateColumns.model_validate({"name": "Valley", "fields": [
        {"field": "lot", "column": "Sample"}, {"field": "unit", "always": "%"}]})  # fmt: skip
    assert "Sample" in client.get(sent.headers["location"]).text


def test_a_paper_is_kept_with_its_name_and_lot(office, client):
    """Its kind and size are seen, not asked; correcting its name keeps the paper."""
    where = "/enter/any-attachment"
    told = form_of(client, where) | {
        "name": "Delivery note", "lot": "2 Bank", "added_on": "2026-06-01",
    }  # fmt: skip
    assert client.post(where, data=told).status_code == 422
    sent = client.post(where, data=told, files={"content": ("a.pdf", PDF, "text/html")})
    assert sent.status_code == 303, faults(sent.text)
    stored = nouns(office.store, Wanted("attachment"))[-1]
    assert (stored.noun.media_type, stored.noun.size) == ("application/pdf", len(PDF))
    page = f"/books/noun/{stored.entry.of}/correct"
    new = answers_on(client.get(page).text) | {"name": "Nursery's note", "why": "better"}
    assert client.post(page, data=new).status_code == 303
    now = standing(office.store, stored.entry.of).noun
    assert now == Attachment.model_validate(stored.noun.model_dump() | {"name": "Nursery's note"})
    png = b"\x89PNG\r\n\x1a\n" + b"1" * 64
    new = answers_on(client.get(page).text) | {"why": "a photo instead"}
    assert client.post(page, data=new, files={"content": ("b", png, "x/y")}).status_code == 303
    now = standing(office.store, stored.entry.of).noun
    assert (now.media_type, now.size) == ("image/png", len(png))
    assert client.get(f"/content/{now.content}").content == png
    assert verify(office.store).is_sound


def test_a_hash_typed_for_a_photo_is_none(office, client):
    """Only what was handed in is a photo: a text in its place names nothing."""
    told = form_of(client, "/enter/scouting") | {
        "lot": "2 Bank", "what": "mites", "seen_on": "2026-09-10", "photo": "0" * 64,
    }  # fmt: skip
    assert client.post("/enter/scouting", data=told).status_code == 303
    assert nouns(office.store, Wanted("scouting"))[-1].noun.photo is None


def test_rows_someone_else_changed_are_both_kept(office, client):
    """A correction of a table names what it saw, as any other."""
    crew = single(office, "crew")
    where = f"/books/noun/{crew.entry.of}/correct"
    told = answers_on(client.get(where).text)
    other = crew.noun.model_copy(update={"cut_day_cost": 33.0})
    write(office.store, [Change(other, crew.entry.of, (crew.entry.id,), "paid", season=2026)],
          "Ann")  # fmt: skip
    sent = client.post(where, data=told | {"why": "late", "cut_day_cost": "44"})
    assert sent.status_code == 303
    assert "1 thing waits" in client.get("/books").text


def stored_weather(office):
    """The weather of the season, and its station's file."""
    stored = single(office, "weather")
    return stored, read_content(office.store, stored.noun.station_content)


def test_weather_file_limits(office, client):
    """A newer file of the station is read whole, kept by its hash, and starts a new plan."""
    stored, data = stored_weather(office)
    before = read_season(office.store).past_weather.t_max
    text = (gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data).decode()
    page = client.get("/enter/any-weather", follow_redirects=True)
    told = answers_on(page.text) | {"why": "a week more"}
    newer = (text.rstrip("\n") + "\n").encode()
    newer = gzip.compress(newer + b"\n", mtime=0)
    files = {"station_content": ("../../my station.csv.gz", newer, "x/y")}
    sent = client.post(page.url.path, data=told, files=files)
    assert sent.status_code == 303, faults(sent.text)
    now = standing(office.store, stored.entry.of).noun
    assert now.station_content == sha256(newer).hexdigest()
    assert (now.file, now.station) == ("my_station.csv.gz", "my_station.csv.gz")
    kept = {"forecast", "forecast_content", "listed", "stand_in_year"}
    assert now.model_dump(include=kept) == stored.noun.model_dump(include=kept)
    after = read_season(office.store).past_weather.t_max
    assert np.array_equal(after, before, equal_nan=True)
    assert matters(now)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"ID,DATE,ELEMENT,VALUE\nX,2026-13-40,TMAX,1\n", "row 2"),
        (b"ID,DATE,ELEMENT,VALUE\nX,20260401,TMAX,warm\n", "VALUE"),
        (b"\0\1\2", "row 1"),
        (b"\x1f\x8bnone", "the file"),
        (gzip.compress(b"0" * 60_000_000), "more than 50 MB"),
    ],
)
def test_bad_weather_files_are_refused(office, client, data, said):
    """By row, field and value; a file that unpacks without end is not unpacked; nothing is kept."""
    stored, _ = stored_weather(office)
    page = client.get(f"/books/noun/{stored.entry.of}/correct")
    before = written(office)
    sent = client.post(page.url.path, data=answers_on(page.text) | {"why": "new"},
                       files={"station_content": ("a.csv", data, "text/csv")})  # fmt: skip
    assert sent.status_code == 422
    assert said in " ".join(faults(sent.text))
    assert written(office) == before


@given(
    form=st.sampled_from(["scouting", "any-arrival", "any-attachment", "any-weather"]),
    data=st.binary(max_size=200), name=st.text(max_size=20), start=st.sampled_from(
        [b"", b"%PDF-", PNG, b"\x1f\x8b", b"ID,DATE,ELEMENT,VALUE\n"]),
)  # fmt: skip
def test_uploads_simulated(client, form, data, name, start):
    """Whatever is handed in under whatever name, it is kept or refused."""
    page = client.get(f"/enter/{form}", follow_redirects=True)
    keys = re.findall(r'<input type="file" id="(\w+)"', page.text)
    files = dict.fromkeys(keys, (name or "a", start + data, "x/y"))
    told = answers_on(page.text) | {"why": "any", "name": "any", "what": "any", "plants": "3"}
    sent = client.post(page.url.path, data=told, files=files)
    assert sent.status_code in (303, 422)
    assert keys


def test_slips_in_rows_are_shown_without_a_script(client):
    """The questions of a row have labels of their own; a row more is a button of the form."""
    page = client.get("/enter/any-certificate_columns").text
    assert '<button name="more" value="fields" formnovalidate>' in page
    assert "data-queue" not in page
    for key in ("field", "column", "always"):
        assert f'<label for="fields_0_{key}">' in page
