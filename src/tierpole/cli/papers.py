"""The commands that make papers, tables and a calendar."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import click

from tierpole.cli.command import Command
from tierpole.cli.options import DRAWS, FILE, ON, SECONDS, SEED, UNITS, as_date, together
from tierpole.cli.planning import exit_status, office_of, planned

KINDS = ("season", "crew", "map", "packet", "buyer", "lender",
         "lot-labels", "stick-labels", "bag-labels")  # fmt: skip
OUT = click.option(
    "--out", type=click.Path(path_type=Path), metavar="PATH",
    help="The file to write, or a folder. Default: this folder.",
)  # fmt: skip


@click.command(cls=Command)
@click.argument("kind", type=click.Choice(KINDS))
@FILE
@click.option("--of", default="", metavar="NAME", help="The lot, or for a map the place.")
@click.option(
    "--day", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", callback=as_date,
    help="The day of a cut sheet, a map or stick labels. Default: the next of its kind.",
)  # fmt: skip
@click.option("--language", type=click.Choice(["en", "es"]), default="en", show_default=True,
              help="Of the cut sheet and the map.")  # fmt: skip
@click.option("--address", default="", metavar="URL",
              help="Where phones find the farm's pages; labels then lead there.")  # fmt: skip
@click.option("--count", type=click.IntRange(1, 500), default=10, show_default=True,
              help="How many bag labels.")  # fmt: skip
@OUT
@together(ON, SEED, DRAWS, SECONDS, UNITS)
def paper(
    kind: str, file: str, out: Path | None, on: date | None, seed: int, draws: int, seconds: int,
    units: Any, **wanted: Any,
) -> None:  # fmt: skip
    """Write a paper of the season in FILE as PDF.

    KIND is the season plan, a crew's cut sheet, a place's hanging map, a lot's packet for an
    inspection, a lot sheet for a buyer, a summary for a lender, or labels with a QR code.
    """
    from tierpole.documents import Order
    from tierpole.office.sources import read_source

    order = Order(system=units, **wanted)
    office = office_of(read_source(file, on), seed, draws, units, seconds)
    plan = planned(office)
    made = office.paper(kind, order)
    _write(out, f"{made.name}.pdf", made.pdf)
    sys.exit(exit_status(plan))


@click.command(cls=Command)
@FILE
@OUT
@together(ON, SEED, DRAWS, SECONDS)
def tables(
    file: str, out: Path | None, on: date | None, seed: int, draws: int, seconds: int
) -> None:
    """Write the tables of the season in FILE: one workbook, or CSV files where PATH is a folder."""
    from tierpole.documents import csv_text, file_name, workbook
    from tierpole.office.sources import read_source

    season = read_source(file, on)
    office = office_of(season, seed, draws, "us", seconds)
    plan = planned(office)
    if out is not None and out.is_dir():
        for sheet in office.tables():
            _write(out, f"{file_name(sheet.name)}.csv", csv_text(sheet).encode("utf-8-sig"))
    else:
        book = workbook(office.tables(), season.farm.name, season.on)
        _write(out, f"{file_name('tables', str(season.year), season.on.isoformat())}.xlsx", book)
    sys.exit(exit_status(plan))


@click.command(cls=Command)
@FILE
@OUT
@click.option("--rules-only", is_flag=True, help="Make no plan: only what rules and records set.")
@together(ON, SEED, DRAWS, SECONDS)
def calendar(
    file: str, out: Path | None, rules_only: bool, on: date | None, seed: int, draws: int,
    seconds: int,
) -> None:  # fmt: skip
    """Write the days to keep as an iCalendar file: calls, samples, windows, cuts, reports."""
    from tierpole.documents import calendar as calendar_text
    from tierpole.documents import deadlines, file_name
    from tierpole.office.filed import dated_of
    from tierpole.office.sources import read_source

    season = read_source(file, on)
    plan = None if rules_only else planned(office_of(season, seed, draws, "us", seconds))
    kept = deadlines(season, plan, dated_of(file, season))
    text = calendar_text(season.farm.name, season.on, kept)
    _write(out, f"{file_name('days-to-keep', str(season.year))}.ics", text.encode())
    sys.exit(0 if plan is None else exit_status(plan))


def _write(out: Path | None, name: str, content: bytes) -> None:
    """Write a file whole and say where; `StoreError` when it cannot be."""
    from tierpole.errors import StoreError

    path = Path(name) if out is None else out / name if out.is_dir() else out
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise StoreError(f"{path}: {error.strerror}. Choose another place with --out.") from error
    click.echo(f"{path}: {max(1, len(content) // 1000):,} kB")
