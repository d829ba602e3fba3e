"""The books as they were, copies of them to take away, and papers that are no pictures."""

from __future__ import annotations

import csv
import io
import re
import tempfile
import threading
from datetime import date
from pathlib import Path

import httpx
import openpyxl
import pytest

from books_office import quick_office
from page_server import served
from records_books import farm_of
from tierpole.farm import Test
from tierpole.farm.books import Memo, Panel
from tierpole.office import book_sheets
from tierpole.office.ledger import Ledger
from tierpole.office.looking_back import as_of, look_back
from tierpole.records import (
    KINDS,
    Change,
    Wanted,
    content_key,
    entries,
    export_package,
    import_package,
    nouns,
    open_store,
    seal,
    verify,
    write,
    write_with,
)
from tierpole.web import copies

pytest_plugins = ["records_server"]


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("back")) as office:
        yield office


@pytest.fixture(scope="module")
def client(office):
    with served(office) as address, httpx.Client(base_url=address, timeout=60) as client:
        yield client


def memo(text, day, **more):
    return Change(
        Memo(written_on="2026-08-01", text=text), known_on=date.fromisoformat(day), **more
    )


@pytest.fixture(scope="module")
def told(office):
    """Said on 2 August, corrected on the 9th, withdrawn on the 20th; another on the 15th."""
    first = write(office.store, [memo("barley beside it", "2026-08-02")], "Ann")[0]
    corrected = memo("oats beside it", "2026-08-09", of=first.noun, corrects=(first.entry,))
    second = write(office.store, [corrected], "Ann")[0]
    write(office.store, [memo("a late swarm", "2026-08-15")], "Ann")
    gone = Change(None, first.noun, (second.entry,), "seen wrongly", date(2026, 8, 20))
    write(office.store, [gone], "Ann")
    return first


# --- looking back ---------------------------------------------------------------------------------


def memos(client, **query):
    """The memos of the journal as a page shows them: text by whether it still stood."""
    view = client.get("/books", params={"kind": "memo", "format": "json", **query}).json()
    return {one["what"].rpartition("Text ")[2]: not one["is_replaced"] for one in view["lines"]}


@pytest.mark.parametrize(
    ("on", "found"),
    [
        ("2026-08-01", {}),
        ("2026-08-02", {"barley beside it": True}),
        ("2026-08-09", {"barley beside it": False, "oats beside it": True}),
        (
            "2026-08-15",
            {"barley beside it": False, "oats beside it": True, "a late swarm": True},
        ),
        (
            "2026-08-20",
            {"barley beside it": False, "oats beside it": False, "a late swarm": True,
             "withdrawn": True},
        ),
    ],
)  # fmt: skip
def test_what_was_known_on_a_day(client, told, on, found):
    """What became known later is not shown, and a later correction takes nothing away."""
    assert memos(client, on=on) == found
    stood = dict(client.get("/books", params={"on": on, "format": "json"}).json()["back"]["stood"])
    standing = sum(stands for text, stands in found.items() if text != "withdrawn")
    assert stood.get("memo", 0) == standing


def test_what_stood_under_a_seal(office, client, told):
    """By the first entries alone, whatever day they speak of; with its hash a seal is checked."""
    found = next(one for one in entries(office.store, limit=1_000) if one.id == told.entry)
    assert memos(client, seal=f"{found.seq}") == {"barley beside it": True}
    assert memos(client, seal=f"{found.seq}:{found.hash}") == {"barley beside it": True}
    assert memos(client, seal=f"{found.seq}", on="2026-08-01") == {}
    other = client.get("/books", params={"seal": f"{found.seq}:{'0' * 64}"})
    assert other.status_code == 422
    assert "a seal of these books" in other.text


def test_counts_agree_with_the_nouns_that_stand(office, told):
    """Looked back to from the last entry of all, the books are as they are now."""
    back = look_back(office.store, as_of(office.store, "", f"{seal(office.store).seq}"))
    for kind, count in back.stood:
        assert len(nouns(office.store, Wanted(kind))) == count, kind
    assert dict(back.stood)["lot"] == 2


def test_the_page_says_what_it_shows(office, client, told):
    """One sentence, a plain form with its day, links that keep the day; the plan then in force."""
    text = client.get("/books?on=2026-08-09").text
    assert re.search(r"<h1>The books as known on Sunday 9.August 2026: [\d,]+ things stood; "
                     r"nothing that became known later is shown\.</h1>", text)  # fmt: skip
    assert '<input type="date" name="on" value="2026-08-09">' in text
    assert "No plan had been made by then." in text
    assert "corrected or withdrawn by then" in text
    assert re.search(r'href="/books\?kind=memo&amp;lot=&amp;on=2026-08-09&amp;seal="', text)
    made = office.kept_plans()[0]
    text = client.get(f"/books?on={made.made_on}").text
    assert f'href="/plans/{made.plan[:16]}"' in text
    now = client.get("/books").text
    assert "nothing in them is ever written over" in now
    assert "by then" not in now


def test_older_entries_of_a_day_and_a_lot(office, client, told):
    """The way to older entries keeps what was asked for, also a lot with a space in its name."""
    lines = [
        Change(Memo(written_on="2026-08-03", text=f"{number}", lot="2 Bank"),
               known_on=date(2026, 8, 3))
        for number in range(60)
    ]  # fmt: skip
    write(office.store, lines, "Ann")
    text = client.get("/books?kind=memo&lot=2%20Bank&on=2026-08-09").text
    older = re.search(r'<a href="([^"]+)">Older entries', text)[1].replace("&amp;", "&")
    assert "on=2026-08-09" in older
    text = client.get(older).text
    assert text.count('<li><a href="/books/noun/') == 10
    assert "<option selected>2 Bank</option>" in text


def test_a_plan_leads_to_what_it_was_made_from(office, client):
    """Its hash, how many entries the books held, and those books."""
    made = office.kept_plans()[-1]
    kept = office.kept(made.plan[:16])
    text = client.get(f"/plans/{made.plan[:16]}").text
    assert made.inputs in text
    assert f"held {kept.document.entries:,} entries" in text
    there = re.search(r'href="(/books\?seal=[^"]+)"', text)[1].replace("&amp;", "&")
    view = client.get(f"{there}&format=json").json()
    assert view["back"]["plan"] == "", "the plan itself came after"
    assert max(line["seq"] for line in view["lines"]) <= kept.document.entries
    assert "as known on" in view["back"]["sentence"]


@pytest.mark.parametrize(
    "query",
    ["on=tomorrow", "on=2026-02-30", "on=0001-01-01", "on=99999-01-01", "on=%00", "seal=x",
     "seal=0", "seal=999999999", "seal=9999999999999999999999", "seal=1:zz", "seal=²",
     "on=x&seal=y"],
)  # fmt: skip
def test_nonsense_is_told_in_words(client, query):
    answer = client.get(f"/books?{query}")
    assert answer.status_code == 422
    assert 'role="alert">' in answer.text
    assert "must be" in answer.text
    told = client.get(f"/books?{query}&format=json")
    assert told.status_code == 422
    assert "must be" in told.json()["error"]


@pytest.mark.parametrize("before", ["x", "0", "-1", "9" * 30])
def test_no_such_page_is_told(client, before):
    answer = client.get(f"/books?before={before}")
    assert answer.status_code == 422
    assert answer.json()["error"].startswith("before: ")


# --- copies to take away --------------------------------------------------------------------------


def plain(found):
    """The journal but for plans, which the office may keep at any moment."""
    return [one for one in found if one.kind != "plan"]


def left_behind():
    return list(Path(tempfile.gettempdir()).glob("tierpole-copy-*"))


@pytest.fixture
def own_temp(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def got(client, path, target):
    answer = client.get(path)
    assert answer.status_code == 200
    day = date.today()  # noqa: DTZ011 - farm-local
    name = f'attachment; filename="farm-books-{day}{target.suffix}"'
    assert answer.headers["content-disposition"] == name
    assert answer.headers["cache-control"] == "no-store"
    target.write_bytes(answer.content)
    return target


def test_a_backup_is_the_books_while_others_write(office, client, own_temp):
    """Taken while somebody writes it opens, is sound, and is the journal up to some entry."""
    done = threading.Event()

    def writing():
        for number in range(100_000):
            if done.is_set():
                return
            write(office.store, [memo(f"meanwhile {number}", "2026-08-30")], "Ben")

    before = seal(office.store).seq
    writer = threading.Thread(target=writing)
    writer.start()
    try:
        path = got(client, "/books/backup.db", own_temp / "got.db")
    finally:
        done.set()
        writer.join()
    with open_store(path) as copy:
        assert verify(copy).is_sound
        found = entries(copy, limit=1_000_000)
        assert len(found) >= before
        assert found == entries(office.store, limit=len(found))
    assert left_behind() == []


def test_a_package_becomes_the_same_books(office, client, own_temp):
    path = got(client, "/books/farm.zip", own_temp / "got.zip")
    assert import_package(path, own_temp / "again.db").is_sound
    with open_store(own_temp / "again.db") as again:
        found = entries(again, limit=1_000_000)
        assert plain(found) == plain(entries(office.store, limit=1_000_000))
    assert left_behind() == []


def test_a_copy_goes_away_with_whoever_broke_off(client, own_temp):
    """Nothing stays on the disk when a download is not read to its end, or could not be made."""
    with client.stream("GET", "/books/backup.db") as answer:
        assert answer.status_code == 200
        next(answer.iter_raw(10))
    for _ in range(500):
        if not left_behind():
            break
        threading.Event().wait(0.01)
    assert left_behind() == []

    def failing(path):
        path.write_text("half", encoding="utf-8")
        raise OSError("full")

    with pytest.raises(OSError, match="full"):
        copies.copy_of(failing, "db", "x")
    assert left_behind() == []


def test_the_check_leads_to_each(client):
    text = client.get("/books/check").text
    for path in ("/books/backup.db", "/books/farm.zip", "/books/tables.xlsx"):
        assert f'href="{path}"' in text
    assert 'href="/books/table/air.csv"' in client.get("/books?kind=air").text
    assert "/books/table/" not in client.get("/books?kind=air&on=2026-08-01").text
    assert client.get("/books/table/nothing.csv").status_code == 404


def test_a_kind_as_csv_is_what_stands(office, client, told):
    """In the units of its heads, without what was withdrawn, and with nothing that would run."""
    bad = memo("=SUM(A1)", "2026-08-21")
    write(office.store, [bad], "Ann")
    rows = list(csv.DictReader(io.StringIO(client.get("/books/table/memo.csv").text[1:])))
    stand = nouns(office.store, Wanted("memo"))
    assert [row["Entry"] for row in rows] == [str(one.entry.seq) for one in stand]
    assert rows[-1]["Text"] == "'=SUM(A1)"
    assert "oats beside it" not in {row["Text"] for row in rows}
    (warm,) = [
        one.noun for one in nouns(office.store, Wanted("air")) if one.noun.read_at == "07:00"
    ]
    for unit, shown in (("us", warm.temperature * 1.8 + 32), ("metric", warm.temperature)):
        text = client.get("/books/table/air.csv", params={"units": unit}).text[1:]
        (row,) = [row for row in csv.DictReader(io.StringIO(text)) if row["Read at"] == "07:00"]
        head = "Temperature, " + {"us": "F", "metric": "C"}[unit]
        assert float(row[head]) == pytest.approx(shown)
        assert float(row["Humidity, %"]) == pytest.approx(100 * warm.humidity)


def test_the_workbook_has_each_kind_against_openpyxl(office, client, monkeypatch):
    """What openpyxl reads of it is what stands in the books; a sheet too long says so."""
    store = office.store
    stand = {one.name: nouns(store, Wanted(one.name)) for one in KINDS}
    book = openpyxl.load_workbook(io.BytesIO(client.get("/books/tables.xlsx").content))
    assert book.sheetnames == [
        name.replace("_", " ").capitalize() for name, found in stand.items() if found
    ]
    head, *cuts = book["Cut"].values
    found = [dict(zip(head, row, strict=True)) for row in cuts]
    assert [(row["Lot"], row["Sticks"], row["Cut on"].date()) for row in found] == [
        (one.noun.lot, one.noun.sticks, one.noun.cut_on) for one in stand["cut"]
    ]
    monkeypatch.setattr(book_sheets, "MOST", len(stand["air"]) - 1)
    book = openpyxl.load_workbook(io.BytesIO(client.get("/books/tables.xlsx").content))
    assert [row for (row,) in book["Air"].values][1].startswith("There are more than")
    assert book["Cut"].max_row == 1 + len(stand["cut"])


def test_a_backup_of_either_kind_is_a_file(store, own_temp):
    """Of books on a server too, it is one SQLite file; the package likewise holds all of them."""
    from functools import partial

    from tierpole.records import backup

    write(store, [memo("one", "2026-08-02"), memo("two", "2026-08-03")], "Ann")
    for make, ending in ((backup, "db"), (export_package, "zip")):
        answer = copies.copy_of(partial(make, store), ending, "x")
        kept = answer.path.rename(own_temp / f"kept.{ending}")
        answer.path.parent.rmdir()
        if ending == "db":
            assert kept.read_bytes().startswith(b"SQLite format 3")
        else:
            import_package(kept, own_temp / "again.db")
        with open_store(kept if ending == "db" else own_temp / "again.db") as copy:
            assert verify(copy).seal == seal(store)


# --- in words -------------------------------------------------------------------------------------


def test_papers_that_are_no_pictures_are_linked(office, client):
    """A PDF is a link that says so, a photo is shown."""
    pdf, png = b"%PDF-1.7 paper", b"\x89PNG\r\n\x1a\n photo"
    said = {"lot": "2 Bank", "sampled_on": "2026-08-20", "reported_on": "2026-08-28",
            "laboratory": "Hill"}  # fmt: skip
    for data, shown in ((pdf, "Open the PDF of this entry"), (png, 'alt="picture (PNG) of')):
        noun = Panel(**said, paper=content_key(data))
        (receipt,) = write_with(office.store, [Change(noun)], [data], "Ann")
        text = client.get(f"/books/noun/{receipt.noun}").text
        assert shown in text
        assert f'href="/content/{content_key(data)}"' in text
        assert ("<img" in text) == (data is png)


def test_a_packet_says_yes_and_no_in_words(filed):
    """What is usual and false is left out; what failed is never left out."""
    farm_of(filed)
    test = {"lot": "4 Lane", "kind": "pre-test", "sampled_on": "2026-08-20", "plants": 5,
            "reported_on": "2026-08-28", "total_cbd": "4 %", "total_thc": "0.1 %"}  # fmt: skip
    panel = {"lot": "4 Lane", "sampled_on": "2026-08-20", "reported_on": "2026-08-28",
             "laboratory": "Hill"}  # fmt: skip
    written = [
        Test(**test, cbd_below=False, thc_below=True),
        Panel(**panel, pesticides_pass=True, metals_pass=False),
    ]
    write(filed, [Change(one, season=2026) for one in written], "Ann")
    lines = Ledger(filed, None).book(None, "", "", "us").lines
    panel_said, test_said = (line.what for line in lines[:2])
    assert "CBD below" not in test_said
    assert "THC below what can be measured" in test_said
    assert "Pesticides passed, Metals failed" in panel_said
    assert not re.search(r"\b(yes|no)\b", test_said + panel_said)
