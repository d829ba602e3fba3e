"""Certificates over HTTP: any column names, told once; contradictions refused; none taken twice."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from books_office import form_of, written
from tierpole.errors import InputError
from tierpole.farm import Test
from tierpole.office.certificates import MOST, guessed, read_sheet
from tierpole.records import Wanted, nouns

pytest_plugins = ["books_pages"]

FILE = """Sample Name,Collected,Report Date,Total THC %,THCA %,D9 THC %,Total CBD %,Water %
2 Bank,9/1/2026,9/4/2026,0.24,0.22,0.05,6.10,9.8
"""
ALWAYS = {"always-kind": "pre-test", "always-plants": "20", "always-unit": "%",
          "always-basis": "dry"}  # fmt: skip


def hand_in(client, text=FILE, laboratory="Hill Lab"):
    hidden = form_of(client, "/certificates") | {"laboratory": laboratory}
    data = text if isinstance(text, bytes) else text.encode()
    return client.post("/certificates", data=hidden, files={"file": ("coa.csv", data)})


def tell(client, page, **otherwise):
    """Send the page of columns as it was shown, with what stands in none."""
    told = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page))
    told["csv"] = re.search(r'<textarea name="csv" hidden>(.*?)</textarea>', page, re.DOTALL)[1]
    for key, options in re.findall(r'name="(column-\w+)">(.*?)</select>', page):
        chosen = re.search(r"<option selected>([^<]+)<", options)
        told[key] = chosen[1] if chosen else ""
    return client.post("/certificates/map", data=told | ALWAYS | otherwise)


def certified(office):
    return [one.noun for one in nouns(office.store, Wanted("test"))]


def test_columns_are_asked_once(office, client):
    """Guessed from their names, kept for the laboratory; the next file is read at once."""
    before = len(certified(office))
    page = hand_in(client).text
    assert "Which column is which in files of Hill Lab?" in page
    taken = tell(client, page)
    assert "1 new certificate of Hill Lab." in taken.text
    test = certified(office)[-1]
    assert (str(test.sampled_on), str(test.reported_on)) == ("2026-09-01", "2026-09-04")
    assert (test.total_thc, test.total_cbd) == pytest.approx((0.0024, 0.061))
    assert (test.plants, test.laboratory, str(test.kind)) == (20, "Hill Lab", "pre-test")
    office.wait()
    again = hand_in(client)
    assert "It is in the books already." in again.text
    assert "0 new certificates" in again.text
    later = hand_in(client, FILE.replace("9/1/2026", "2026-09-07").replace("9/4", "9/9"))
    assert "1 new certificate" in later.text
    assert len(certified(office)) == before + 2
    assert [one.noun.name for one in nouns(office.store, Wanted("attachment"))] == ["coa.csv"] * 2


@pytest.mark.parametrize(
    ("edit", "reason"),
    [
        (("0.24,0.22,0.05", "0.27,0.22,0.05"), "without the factor 0.877"),
        (("0.24,0.22,0.05", "44,,"), "at most 40 % of dry weight"),
        (("0.24,", "much,"), "a number of 0 or more"),
        (("9/1/2026", "9/5/2026"), "on or after the sampling day"),
        (("9/1/2026", "31/31/2026"), "a date such as 2026-09-14"),
        (("2 Bank", "Elsewhere"), "There is no lot &#34;Elsewhere&#34; in the books."),
    ],
)
def test_contradictions_are_refused_with_the_reason(office, client, edit, reason):
    """The sound rows of the same file are taken all the same."""
    assert edit[0] in FILE
    wrong = FILE.splitlines()[1].replace(*edit)
    sound = "1 River,9/2/2026,9/4/2026,0.10,,,2.1,9.0"
    page = hand_in(client, "\n".join([FILE.splitlines()[0], wrong, sound])).text
    taken = tell(client, page).text.replace("\u00a0", " ")
    assert "1 new certificate of Hill Lab, 1 refused." in taken
    assert reason in taken
    assert certified(office)[-1].lot == "1 River"


def test_another_reading_of_the_same_sample_is_refused(office, client):
    """Two certificates of one sample that differ are not averaged in silence."""
    tell(client, hand_in(client).text)
    before = written(office)
    other = hand_in(client, FILE.replace("0.24,0.22,0.05", "0.25,0.22,0.06")).text
    other = other.replace("\u00a0", " ")
    assert "Another certificate of the same sample reads 0.24 %" in other
    assert written(office) == before


def test_what_is_still_missing_is_said(client):
    """A mapping that cannot be read by is asked again, with what was filled in."""
    page = hand_in(client).text
    asked = tell(client, page, **{"column-lot": "", "always-plants": ""})
    assert asked.status_code == 422
    assert "Still missing:</strong> Lot; Plants in the sample." in asked.text
    assert "1 new certificate" in tell(client, asked.text, **{"column-lot": "Sample Name"}).text


def test_non_detects_units_and_moisture_are_reckoned(office, client):
    """mg/g as received with ND: on dry weight, as the certificate's own checks do it."""
    head = "Lot;Sampled;Reported;THCA;Delta-9 THC;Moisture;LOQ"
    row = "2 Bank;2026-09-01;2026-09-04;1.8;ND;10.0;0.5"
    page = hand_in(client, f"{head}\n{row}\n").text
    taken = tell(client, page, **{"always-unit": "mg/g", "always-basis": "as received"})
    assert "1 new certificate" in taken.text
    found = certified(office)[-1]
    assert isinstance(found, Test)
    assert found.total_thc == pytest.approx((0.5 + 0.877 * 1.8) / 1000 / 0.9, rel=0.35)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "choose its file"),
        (b"one line", "a line of names"),
        (b"a,a\n1,2\n", "each of its own name"),
        (b'a,b\n"1,2\n', "rows of separated values"),
        (b"a,b\n\0,2\n", "a CSV file"),
        (b"a,b\n" + b"1,2\n" * 60_000, "200,000 bytes at most"),
    ],
)
def test_files_that_are_no_table_are_refused(client, data, said):
    answer = hand_in(client, data)
    assert answer.status_code == 422
    assert said in answer.text


def test_guesses_take_the_closest_name():
    """A column of the very name first, then one that holds it; none twice."""
    found = guessed(["CBD Total CBD", "Total CBD", "CBDA", "CBD", "THCA", "Delta-9 THC"])
    assert found["total_cbd"] == "Total CBD"
    assert found["cbd"] == "CBD"
    assert found["thca"] == "THCA"
    assert found["delta9_thc"] == "Delta-9 THC"
    assert len(set(found.values())) == len(found)


@given(st.binary(max_size=300))
def test_sheets_simulated(data):
    """Any bytes are a table or refused."""
    try:
        sheet = read_sheet(data)
    except InputError:
        return
    assert len(sheet.header) >= 2
    assert len(sheet.text) <= MOST
