"""The edges of the interface: who may not, how often, how much; what a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import json
import re
import time
import zipfile

import httpx
import jsonschema
import openpyxl
import pytest

from books_office import form_of, quick_office, written
from page_server import served
from tierpole.farm.books import Memo
from tierpole.office.interface import described
from tierpole.office.people import Limit
from tierpole.records import (
    Change,
    Wanted,
    entries,
    export_package,
    import_package,
    nouns,
    open_store,
    read_content,
    write,
)
from tierpole.web.access import MOST, Gate

MEMO = {"value": {"written_on": "2026-09-10", "text": "one"}}
HOSTILE = ("=1+1", "+1", "-1+1", "@SUM(1)", '=HYPERLINK("http://x","y")', "'=1")
CERTIFICATE = """Sample Name,=Collected,Report Date,Total THC %,Total CBD %
2 Bank,9/1/2026,9/4/2026,0.24,6.10
"""


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("edges")) as office:
        yield office


@pytest.fixture(scope="module")
def address(office):
    gate = Gate(office.people, writes=Limit(20, 60.0, time.monotonic))
    with served(office, gate) as address:
        yield address


def program(office, address, scope, name):
    token = office.people.new_api_token(name, scope)
    headers = {"authorization": f"Bearer {token}"}
    return httpx.Client(base_url=f"{address}/api/v1/", headers=headers, timeout=60)


def held_to_its_form(answer, status):
    """A problem document of that status, in words."""
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    told = answer.json()
    jsonschema.validate(told, {"$ref": "#/components/schemas/Problem", **described()})
    assert told["status"] == status
    return told["detail"]


# --- refusals -------------------------------------------------------------------------------------


def test_a_body_without_a_length_against_rfc9110(office, address):
    """Too much sent piece by piece ends with 413 as well. Source: RFC 9110, section 15.5.14."""

    def pieces(size):
        for _ in range(size // 1_000_000):
            yield b"0" * 1_000_000

    before = written(office)
    with program(office, address, "write", "pieces") as client:
        said = held_to_its_form(client.post("content", content=pieces(MOST + 2_000_000)), 413)
        assert "13 MB at most" in said
        assert "13 MB at most" in held_to_its_form(
            client.post("memo", content=pieces(15_000_000)), 413
        )
        assert "13 MB at most" in held_to_its_form(
            client.post("memo", content=b"0" * 14_000_000), 413
        )
        told = json.dumps(MEMO).encode()
        assert client.post("memo", content=iter([told[:9], told[9:]])).status_code == 201
    assert written(office) == before + 1


def test_too_many_calls_against_rfc6585(office, address):
    """The twenty-first entry of a minute waits; reading goes on. Source: RFC 6585, section 4."""
    with program(office, address, "write", "hasty") as client:
        answers = [client.post("memo", json=MEMO) for _ in range(21)]
        assert [one.status_code for one in answers[:20]] == [201] * 20
        assert "Wait a minute" in held_to_its_form(answers[20], 429)
        assert int(answers[20].headers["retry-after"]) == 60
        assert client.get("memo").status_code == 200
    with program(office, address, "write", "other") as client:
        assert client.post("memo", json=MEMO).status_code == 201


def test_a_token_of_another_scope_against_rfc9110(office, address):
    """What only reads is told so; without a token, one is asked for. Source: RFC 9110, 15.5."""
    before = written(office)
    with program(office, address, "read", "reader") as client:
        for call in (lambda: client.post("memo", json=MEMO), lambda: client.post("content"),
                     lambda: client.put(f"memo/{'0' * 32}", json=MEMO)):  # fmt: skip
            assert "only reads" in held_to_its_form(call(), 403)
        assert client.get("memo").status_code == 200
        client.headers.pop("authorization")
        answer = client.post("memo", json=MEMO)
        held_to_its_form(answer, 401)
        assert answer.headers["www-authenticate"] == "Bearer"
    assert written(office) == before


@pytest.mark.parametrize(("query", "name"), [({"lots": "2 Bank"}, "lots"), ({"Limit": 3}, "Limit")])
def test_a_slip_in_a_filter_is_told(office, address, query, name):
    """It does not answer everything, as if nothing had been asked."""
    with program(office, address, "read", "slips") as client:
        said = held_to_its_form(client.get("cut", params=query), 422)
    assert said.startswith(f"{name}: a list is narrowed by season, lot, place")


@pytest.mark.parametrize("season", [10**30, -1, 1989, 2101])
def test_a_season_of_no_year_is_refused(office, address, season):
    """Also one that no database could hold."""
    said = {"value": {"pretest_delay": "4 days"}, "season": season}
    with program(office, address, "write", f"season {season}") as client:
        assert "season" in held_to_its_form(client.post("laboratory", json=said), 422)


def test_this_week_is_the_page_as_json(office, address):
    """The same decisions and tasks as the page shows, soonest first, and as described."""
    with program(office, address, "read", "week") as client:
        told = client.get("this-week").json()
    jsonschema.validate(told, {"$ref": "#/components/schemas/ThisWeek", **described()})
    shown = httpx.get(f"{address}/", params={"format": "json"}).json()
    for part in ("decide", "todo"):
        assert [one["what"] for one in told[part]] == [one["what"] for one in shown[part]]
        assert [one["by"] for one in told[part]] == sorted(one["by"] for one in told[part])
    assert told["sentence"] == shown["sentence"]
    assert told["decide"] + told["todo"]


# --- formulas -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def hostile(office, address):
    """The books with formulas in every text that comes from outside, by forms and by files."""
    with httpx.Client(base_url=address, timeout=60) as client:
        client.get("/enter")
        for number, text in enumerate(HOSTILE):
            memo = Memo(written_on="2026-09-10", text=text)
            write(office.store, [Change(memo, why=text)], f"@{number}")
        hidden = form_of(client, "/certificates") | {"laboratory": "@Lab"}
        files = {"file": ("=cmd.csv", CERTIFICATE.encode())}
        page = client.post("/certificates", data=hidden, files=files)
        from test_web_certificates import tell

        tell(client, page.text)
        yield client


def cells(text):
    return [cell for row in csv.reader(io.StringIO(text)) for cell in row]


def is_run(cell):
    """Whether a spreadsheet would take a cell for a formula; a plain number is none."""
    try:
        float(cell)
    except ValueError:
        return cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    return False


def test_formulas_are_kept_and_not_run(office, hostile, tmp_path):
    """In no cell of the package, a CSV or a workbook; out of the package nothing is changed."""
    kept = [one.noun.text for one in nouns(office.store, Wanted("memo"))]
    assert set(HOSTILE) <= set(kept)
    assert "@Lab" in {one.noun.laboratory for one in nouns(office.store, Wanted("test"))}
    export_package(office.store, tmp_path / "farm.zip")
    with zipfile.ZipFile(tmp_path / "farm.zip") as archive:
        for name in archive.namelist():
            if name.endswith(".csv"):
                assert not [one for one in cells(archive.read(name).decode()) if is_run(one)], name
    plans = re.findall(r'href="(/table/[^"]+\.csv)"', hostile.get("/papers").text)
    assert len(plans) > 5
    for path in (*plans, *(f"/books/table/{kind}.csv" for kind in ("memo", "test", "attachment"))):
        answer = hostile.get(path)
        assert answer.status_code == 200, path
        found = cells(answer.content.decode("utf-8-sig"))
        assert not [one for one in found if is_run(one)], path
    for path in ("/books/tables.xlsx", "/tables.xlsx"):
        book = openpyxl.load_workbook(io.BytesIO(hostile.get(path).content))
        found = [cell for sheet in book for row in sheet for cell in row]
        assert not [cell.value for cell in found if cell.data_type == "f"], path
    import_package(tmp_path / "farm.zip", tmp_path / "again.db")
    with open_store(tmp_path / "again.db") as again:
        mine = [one for one in entries(office.store, limit=10_000) if one.kind != "plan"]
        assert [one for one in entries(again, limit=10_000) if one.kind != "plan"] == mine


def test_a_file_that_was_handed_in_stays_as_it_came(office, hostile):
    """The paper itself is evidence: kept and given back to the byte, never as a page."""
    (paper,) = (one.noun for one in nouns(office.store, Wanted("attachment"))
                if one.noun.name == "=cmd.csv")  # fmt: skip
    assert read_content(office.store, paper.content) == CERTIFICATE.encode()
    answer = hostile.get(f"/content/{paper.content}")
    assert answer.content == CERTIFICATE.encode()
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert not answer.headers["content-type"].startswith("text/html")
