"""The tables behind the papers, with plain values: as CSV, and all in one workbook.

A spreadsheet takes a text that begins with `=`, `+`, `-` or `@` for a formula. In CSV such a text
is led by an apostrophe; in the workbook every text is stored as text.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import IO

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from tierpole.charts.reading import as_dates
from tierpole.charts.words import rounded
from tierpole.documents.deadlines import deadlines
from tierpole.documents.filed import NOTHING_FILED, Filed
from tierpole.farm import Test
from tierpole.outlook.summary import Summary
from tierpole.plan.result import Plan
from tierpole.season import Season

Value = str | int | float | date | None
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")  # what spreadsheets may run
_WIDEST = 60  # characters of a column


@dataclass(frozen=True)
class Sheet:
    """A table of plain values: shares between 0 and 1, dollars, dates."""

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


def sheets(season: Season, plan: Plan, filed: Filed = NOTHING_FILED) -> tuple[Sheet, ...]:
    """Every table of a season and its plan."""
    return (
        _lots(plan),
        _cuts(plan),
        _places(plan),
        _crew(plan),
        _dates(season, plan, filed),
        _money(plan),
        _tests(season),
        _cut_so_far(season),
        _hung_so_far(season),
    )


def csv_text(sheet: Sheet) -> str:
    """A table as CSV (RFC 4180): dates as ISO days, no text that a spreadsheet would run."""
    written = io.StringIO()
    write_csv(written, sheet.header, sheet.rows)
    return written.getvalue()


def write_csv(file: IO[str], header: Iterable[str], rows: Iterable[Iterable[Value]]) -> None:
    """Write a table as CSV of that kind into a file, row by row."""
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([_safe(value) for value in row] for row in rows)


def workbook(tables: Iterable[Sheet], title: str, made_on: date) -> bytes:
    """All tables as one Excel workbook."""
    written = io.BytesIO()
    book = Workbook(written, {"in_memory": True})
    made = datetime.combine(made_on, time(), UTC).replace(tzinfo=None)
    book.set_properties({"title": title, "created": made})
    bold = book.add_format({"bold": True, "bottom": 1})
    day = book.add_format({"num_format": "yyyy-mm-dd", "align": "left"})
    for sheet in tables:
        page = book.add_worksheet(sheet.name)
        for column, head in enumerate(sheet.header):
            page.write_string(0, column, head, bold)
            page.set_column(column, column, _width(sheet, column))
        for number, row in enumerate(sheet.rows, start=1):
            for column, value in enumerate(row):
                _write(page, number, column, value, day)
        page.freeze_panes(1, 1)
    book.close()
    return written.getvalue()


def _write(page: Worksheet, row: int, column: int, value: Value, day: Format) -> None:
    if isinstance(value, str):
        page.write_string(row, column, value)
    elif isinstance(value, date):
        page.write_datetime(row, column, datetime.combine(value, time()), day)
    elif value is not None:
        page.write_number(row, column, value)


def _width(sheet: Sheet, column: int) -> int:
    cells = [sheet.header[column], *(str(row[column] or "") for row in sheet.rows)]
    return min(_WIDEST, max(len(cell) for cell in cells) + 2)


def _safe(value: Value) -> Value:
    """A value for CSV that no spreadsheet takes for a formula."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA) else value


# --- the tables ---------------------------------------------------------------------------------


def _lots(plan: Plan) -> Sheet:
    header = ("Lot", "State", "Call the sampler by", "Sample", "Cut from", "Cut until",
              "Chance to pass", "Sticks standing", "Sticks to cut", "Sticks left",
              "If it fails", *_money_header())  # fmt: skip
    rows = [
        (
            lot.lot, str(lot.state), lot.request_on, lot.sample_on, *(lot.window or (None, None)),
            None if lot.p_pass is None else rounded(lot.p_pass, 3), round(lot.sticks_standing),
            sum(cut.sticks for cut in lot.cuts), lot.sticks_left, lot.fail_path,
            *_money_row(lot.money),
        )
        for lot in plan.lots
    ]  # fmt: skip
    return Sheet("Lots", header, tuple(rows))


def _cuts(plan: Plan) -> Sheet:
    header = ("Day", "Lot", "Sticks", "Hang in", "Crew hours", "Dry by, 8 of 10 seasons")
    rows = [(c.day, c.lot, c.sticks, c.place, round(c.hours, 1), c.dry_on) for c in plan.cuts]
    return Sheet("Cuts", header, tuple(rows))


def _places(plan: Plan) -> Sheet:
    header = ("Place", "Day", "Sticks hanging", "Room for", "Taken down")
    rows = [
        (place.place, day, round(float(hanging)), round(float(room)), round(float(down)))
        for place in plan.places
        for day, hanging, room, down in zip(
            as_dates(place.days), place.hanging, place.capacity, place.taken_down, strict=True
        )
    ]
    return Sheet("Places", header, tuple(rows))


def _crew(plan: Plan) -> Sheet:
    crew = plan.crew
    header = ("Day", "Hours to cut and hang", "To take down", "To strip", "Hours there are")
    columns = (crew.cut_and_hang, crew.take_down, crew.strip, crew.available)
    rows = [
        (day, *(round(float(column[number]), 2) for column in columns))
        for number, day in enumerate(as_dates(crew.days))
    ]
    return Sheet("Crew", header, tuple(rows))


def _dates(season: Season, plan: Plan, filed: Filed) -> Sheet:
    header = ("Day", "Was due", "Kind", "What", "Why", "Rule", "To be confirmed")
    rows = [
        (d.day, d.was_due, str(d.due), d.what, d.why, d.citation, "yes" if d.verify else "no")
        for d in deadlines(season, plan, filed)
    ]
    return Sheet("Days to keep", header, tuple(rows))


def _money(plan: Plan) -> Sheet:
    ways = [("This plan", plan.money), *((c.name, c.money) for c in plan.rules_of_thumb)]
    rows = [(name, *_money_row(money)) for name, money in ways]
    return Sheet("Money", ("Way of working", *_money_header()), tuple(rows))


def _money_header() -> tuple[str, ...]:
    return ("Chance of a loss", "Mean of the worst fifth, USD", "10 % are below, USD",
            "Median, USD", "Mean, USD", "10 % are above, USD")  # fmt: skip


def _money_row(money: Summary) -> Iterator[float]:
    yield rounded(money.p_loss, 3)
    for amount in (money.cvar, money.low, money.median, money.mean, money.high):
        yield rounded(amount, 3)


def _tests(season: Season) -> Sheet:
    header = ("Lot", "What", "Sampled", "Reported", "Tops", "Total CBD", "Total THC", "Uncertainty",
              "Under its limit", "Laboratory")  # fmt: skip
    rows = [
        (t.lot, str(t.kind), t.sampled_on, t.reported_on, t.plants, t.total_cbd, t.total_thc,
         t.uncertainty, _under(t), t.laboratory)
        for t in season.tests
    ]  # fmt: skip
    return Sheet("Certificates", header, tuple(rows))


def _under(test: Test) -> str:
    """What was not found above its limit of quantification, which then stands for it."""
    below = (("total CBD", test.cbd_below), ("total THC", test.thc_below))
    return ", ".join(name for name, is_below in below if is_below)


def _cut_so_far(season: Season) -> Sheet:
    rows = [(cut.cut_on, cut.lot, cut.sticks) for cut in season.cuts]
    return Sheet("Cut so far", ("Day", "Lot", "Sticks"), tuple(rows))


def _hung_so_far(season: Season) -> Sheet:
    rows = [(h.hung_on, h.lot, h.place, h.sticks, h.down_on) for h in season.hangings]
    return Sheet("Hung so far", ("Day", "Lot", "Place", "Sticks", "Taken down"), tuple(rows))
