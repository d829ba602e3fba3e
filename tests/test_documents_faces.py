"""Papers, tables and the calendar where people ask for them: pages and command line."""

from __future__ import annotations

import io
from datetime import timedelta

import httpx
import icalendar
import openpyxl
import pypdfium2
import pytest
from click.testing import CliRunner

import synthetic
from fake_office import FakeOffice
from page_server import served
from tierpole.cli import papers as commands
from tierpole.cli import tierpole
from tierpole.cli.papers import KINDS
from tierpole.compliance import Due
from tierpole.documents import PAPERS, deadlines, scan_path
from tierpole.farm.books import Report, ReportKind
from tierpole.office.sources import keep_scenario
from tierpole.office.views import VIEWS
from tierpole.office.views.duties import DATES_AHEAD, PLANNED
from tierpole.records import Change, open_store, write
from tierpole.scenario import demo_path
from tierpole.web.address import is_own_computer

SEASON, OUTLOOK, PLAN = synthetic.season(), synthetic.outlook(), synthetic.plan()


@pytest.fixture(scope="module")
def client():
    with served(FakeOffice()) as address, httpx.Client(base_url=address) as client:
        yield client


def _text(pdf):
    pages = pypdfium2.PdfDocument(pdf)
    told = " ".join(pages[n].get_textpage().get_text_range() for n in range(len(pages)))
    return " ".join(told.replace("\xa0", " ").split())


# --- pages --------------------------------------------------------------------------------------


def test_week_limits_dates():
    """What the rules set within six weeks stands on This week; the plan's own work stands above."""
    rows = VIEWS["week"](SEASON, OUTLOOK, PLAN, "us").dates
    last = SEASON.on + timedelta(days=DATES_AHEAD)
    near = [d for d in deadlines(SEASON, PLAN) if d.due not in PLANNED and d.day <= last]
    assert [row.what for row in rows] == [one.what for one in near]
    assert Due.WINDOW in {one.due for one in near}
    assert all("7 CFR" in row.why for row in rows)


@pytest.mark.parametrize("kind", PAPERS)
def test_paper_page_limits(client, kind):
    """Each paper comes as PDF under a name of its own."""
    answer = client.get(f"/paper/{kind}.pdf")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert ".pdf" in answer.headers["content-disposition"]


def test_paper_page_limits_order(client):
    """Lot, day, language and units of the address are those of the paper."""
    lot = client.get("/paper/packet.pdf", params={"of": "7 Hollow", "units": "metric"})
    assert "Lot packet: 7 Hollow" in _text(lot.content)
    day = max(cut.day for cut in PLAN.cuts)
    sheet = client.get("/paper/crew.pdf", params={"day": day.isoformat(), "language": "es"})
    assert "de octubre" in _text(sheet.content)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/paper/nothing.pdf", 404),
        ("/paper/map.pdf?of=Nowhere", 404),
        ("/paper/crew.pdf?day=tomorrow", 422),
        ("/paper/crew.pdf?language=fr", 422),
        ("/paper/lot-labels.pdf?address=javascript:alert(1)", 422),
        ("/paper/bag-labels.pdf?count=501", 422),
        ("/table/Nothing.csv", 404),
        ("/scan/barns/x", 404),
    ],
)
def test_paper_page_limits_refused(client, path, status):
    """What is not there or not sensible is refused, not guessed."""
    assert client.get(path).status_code == status


@pytest.mark.parametrize("path", ["/paper/season.pdf", "/tables.xlsx", "/table/Cuts.csv",
                                  "/calendar.ics", "/papers"])  # fmt: skip
def test_paper_page_limits_without_a_plan(path):
    """While the first plan is made, a paper says so and when to ask again."""
    with served(FakeOffice(plan=None)) as address:
        answer = httpx.get(f"{address}{path}")
    assert answer.status_code == 503


def test_calendar_page_against_icalendar(client):
    """The feed holds every day to keep, as an independent parser reads it."""
    answer = client.get("/calendar.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    events = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    assert [event["dtstart"].dt for event in events] == [d.day for d in deadlines(SEASON, PLAN)]


def test_table_page_limits(client):
    """Tables come as a workbook and as CSV that spreadsheets know for UTF-8."""
    book = openpyxl.load_workbook(io.BytesIO(client.get("/tables.xlsx").content))
    for name in book.sheetnames:
        answer = client.get(f"/table/{name}.csv")
        assert answer.content.startswith(b"\xef\xbb\xbf")
        assert answer.headers["content-disposition"].startswith("attachment")


def test_scan_page_limits(client):
    """A label leads to its form in the books, filled as far as it knows; else to its lot's page."""
    for path in (scan_path("lots", "7 Hollow"), scan_path("bags", "7 Hollow", "3"),
                 scan_path("sticks", "7 Hollow", "2026-10-14", "Frame")):  # fmt: skip
        answer = client.get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, "/lot/7%20Hollow")
        assert client.get(path, follow_redirects=True).status_code == 200
    with served(FakeOffice(desk=object())) as address:
        forms = [
            httpx.get(f"{address}{path}").headers["location"]
            for path in (scan_path("lots", "7 Hollow"), scan_path("bags", "7 Hollow", "3"),
                         scan_path("sticks", "7 Hollow", "2026-10-14", "Home barn"))
        ]  # fmt: skip
    assert forms == [
        "/enter/cut?lot=7%20Hollow",
        "/enter/bag?lot=7%20Hollow&name=7%20Hollow%20%233",
        "/enter/hung?lot=7%20Hollow&place=Home%20barn",
    ]


def test_own_computer_limits():
    """Labels are not led to an address that only this computer has."""
    assert is_own_computer("http://localhost:8047/")
    assert is_own_computer("http://127.0.0.1:8047/")
    assert is_own_computer("http://[::1]:8047/")
    assert not is_own_computer("http://192.168.1.7:8047/")
    assert not is_own_computer("https://barn.lan/")


# --- command line -------------------------------------------------------------------------------


class Ready(FakeOffice):
    """An office whose plan is there at once."""

    def work(self, _tick):
        return self.plan

    def stop(self):
        """Nothing to stop."""


@pytest.fixture
def ready(monkeypatch, tmp_path):
    monkeypatch.setattr(commands, "office_of", lambda *_: Ready())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def _call(*arguments):
    return CliRunner().invoke(tierpole, [str(argument) for argument in arguments])


def test_commands_limits_kinds():
    """The command line knows every paper there is."""
    assert set(KINDS) == set(PAPERS)


@pytest.mark.parametrize("kind", KINDS)
def test_paper_command_limits(ready, kind):
    """A paper is written under its own name in this folder, and the path is told."""
    result = _call("paper", kind, demo_path())
    assert result.exit_code == 0
    (written,) = ready.iterdir()
    assert result.stdout.startswith(f"{written.name}: ")
    assert written.read_bytes().startswith(b"%PDF-")


def test_paper_command_limits_order(ready):
    """Options reach the paper; a folder and a file are both taken by --out."""
    folder = ready / "out"
    folder.mkdir()
    options = ("--of", "7 Hollow", "--units", "metric", "--out", folder)
    assert _call("paper", "packet", demo_path(), *options).exit_code == 0
    (written,) = folder.iterdir()
    assert "Lot packet: 7 Hollow" in _text(written.read_bytes())
    assert _call("paper", "lender", demo_path(), "--out", ready / "bank.pdf").exit_code == 0
    assert (ready / "bank.pdf").exists()


def test_paper_command_limits_refused(ready):
    """A lot that is not there is named with those that are; a bad place to write is said."""
    unknown = _call("paper", "packet", demo_path(), "--of", "9 Nowhere")
    assert unknown.exit_code == 2
    assert "9 Nowhere" in unknown.stderr
    assert "7 Hollow" in unknown.stderr
    lost = _call("paper", "lender", demo_path(), "--out", ready / "none" / "x.pdf")
    assert lost.exit_code == 2
    assert "Choose another place with --out." in lost.stderr
    assert list(ready.iterdir()) == []


def test_tables_command_limits(ready):
    """One workbook by default, CSV files in a folder."""
    assert _call("tables", demo_path()).exit_code == 0
    (book,) = ready.glob("*.xlsx")
    names = openpyxl.load_workbook(book).sheetnames
    folder = ready / "csv"
    folder.mkdir()
    assert _call("tables", demo_path(), "--out", folder).exit_code == 0
    assert len(list(folder.glob("*.csv"))) == len(names)


def test_calendar_command_against_icalendar(ready):
    """The file is read back by an independent parser; without a plan it holds the rules' days."""
    assert _call("calendar", demo_path(), "--out", ready / "all.ics").exit_code == 0
    assert _call("calendar", demo_path(), "--out", ready / "few.ics", "--rules-only").exit_code == 0
    every, few = (
        icalendar.Calendar.from_ical((ready / name).read_bytes()).walk("VEVENT")
        for name in ("all.ics", "few.ics")
    )
    assert len(every) == len(deadlines(SEASON, PLAN))
    assert {str(event["categories"].to_ical().decode()) for event in few} <= {
        Due.REPORT.value, Due.WINDOW.value, Due.RULES.value,
    }  # fmt: skip


def test_calendar_command_of_books_leaves_out_what_was_filed(tmp_path):
    """The annual report is gone from the file once it is in the books as sent."""
    where = tmp_path / "farm.db"
    keep_scenario("demo", str(where), "Ann", keep_day=True)
    before = _days(where, tmp_path / "before.ics")
    report = Report(kind=ReportKind.ANNUAL, filed_on="2026-08-30", year=2026)
    with open_store(where) as store:
        write(store, [Change(report, known_on=report.filed_on)], "Ann")
    assert before - _days(where, tmp_path / "after.ics") == {"Send in the report of the year."}


def _days(where, out):
    assert _call("calendar", where, "--out", out, "--rules-only").exit_code == 0
    events = icalendar.Calendar.from_ical(out.read_bytes()).walk("VEVENT")
    return {str(event["summary"]) for event in events}
