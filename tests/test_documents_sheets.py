"""Tables as CSV and workbook: read back whole by other readers, and never run as a formula."""

from __future__ import annotations

import csv
import io
from collections import Counter
from dataclasses import replace
from datetime import date, datetime, time

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

import synthetic
from tierpole.documents import Sheet, csv_text, deadlines, sheets, workbook
from tierpole.documents.sheets import FORMULA

SEASON, PLAN = synthetic.season(), synthetic.plan()
TABLES = sheets(SEASON, PLAN)
HOSTILE = ('=HYPERLINK("x")', "+1", "-1+1", "@SUM(1)", "\t=1", "|cmd", "%0A")


def _named(name):
    return next(sheet for sheet in TABLES if sheet.name == name)


def _plain(value):
    """A cell as openpyxl hands it back."""
    if isinstance(value, date):
        return datetime.combine(value, time())
    return value


def test_sheets_limits_sums():
    """The tables hold the plan's sticks, days and money."""
    cuts = Counter()
    for _, lot, sticks, place, _, _ in _named("Cuts").rows:
        cuts[lot, place] += sticks
    planned = Counter()
    for cut in PLAN.cuts:
        planned[cut.lot, cut.place] += cut.sticks
    assert cuts == planned
    lots = _named("Lots")
    at = lots.header.index("Sticks to cut")
    assert sum(row[at] for row in lots.rows) == sum(planned.values())
    assert len(_named("Days to keep").rows) == len(deadlines(SEASON, PLAN))
    first = _named("Money").rows[0]
    assert first[1] == pytest.approx(PLAN.money.p_loss, abs=1e-3)
    assert first[2] <= first[3] <= first[4] <= first[6]
    assert sum(row[2] for row in _named("Cut so far").rows) == 380


@pytest.mark.parametrize("sheet", TABLES, ids=lambda sheet: sheet.name)
def test_workbook_against_openpyxl(sheet):
    """Another reader finds every cell in the workbook as it was, dates as dates."""
    book = openpyxl.load_workbook(io.BytesIO(workbook(TABLES, "Farm", SEASON.on)))
    assert book.sheetnames == [each.name for each in TABLES]
    header, *rows = book[sheet.name].iter_rows(values_only=True)
    assert header == sheet.header
    assert [list(row) for row in rows] == [[_plain(v) for v in row] for row in sheet.rows]


@pytest.mark.parametrize("sheet", TABLES, ids=lambda sheet: sheet.name)
def test_csv_against_the_standard_reader(sheet):
    """The standard library reads back the header and every row, numbers to the last digit."""
    header, *rows = csv.reader(io.StringIO(csv_text(sheet), newline=""))
    assert tuple(header) == sheet.header
    assert rows == [["" if value is None else str(value) for value in row] for row in sheet.rows]


@pytest.mark.parametrize("text", HOSTILE)
def test_formula_limits(text):
    """A name that a spreadsheet would run is text in both forms; a negative number stays one."""
    lot = replace(PLAN.lots[0], fail_path=text)
    tables = sheets(SEASON, replace(PLAN, lots=(lot, *PLAN.lots[1:])))
    row = list(csv.reader(io.StringIO(csv_text(tables[0]))))[1]
    assert f"'{text}" in row
    book = openpyxl.load_workbook(io.BytesIO(workbook(tables, "Farm", SEASON.on)))
    cells = [cell for cell in book["Lots"][2] if cell.value == text]
    assert [cell.data_type for cell in cells] == ["s"]
    loss = Sheet("x", ("Money",), ((-4.5,),))
    assert csv_text(loss) == "Money\r\n-4.5\r\n"


@given(st.lists(st.text(max_size=30), min_size=1, max_size=4))
def test_csv_limits_any_text(texts):
    """No cell of any text begins with a sign that starts a formula."""
    sheet = Sheet("x", tuple("abcd"[: len(texts)]), (tuple(texts),))
    read = csv.reader(io.StringIO(csv_text(sheet), newline=""))
    next(read)
    assert not any(cell.startswith(FORMULA) for row in read for cell in row)
