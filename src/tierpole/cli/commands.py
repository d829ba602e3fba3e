"""The commands. Each parses, calls one thing, prints."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tierpole.cli.command import Command
from tierpole.cli.options import (
    DRAWS,
    FILE,
    FORMAT,
    ON,
    PORT,
    SECONDS,
    SEED,
    UNITS,
    together,
)
from tierpole.cli.planning import exit_status, office_of, planned
from tierpole.errors import Stopped

PATH = click.Path(exists=True, dir_okay=False, path_type=Path)

if TYPE_CHECKING:
    from tierpole.office import Office


@click.command(cls=Command)
@FILE
@together(ON, SEED, DRAWS, SECONDS, UNITS, FORMAT)
def plan(
    file: str, on: date | None, seed: int, draws: int, seconds: int, units: Any, form: str
) -> None:
    """Plan the season in FILE: samples, cuts, places, take-downs, and what they earn.

    Ctrl-C once stops with the best plan so far (exit status 4).
    """
    from tierpole.office.sources import read_source

    office = office_of(read_source(file, on), seed, draws, units, seconds)
    sys.exit(_print_plan(office, form))


@click.command(cls=Command)
@together(ON, SEED, DRAWS, SECONDS, UNITS, FORMAT, PORT)
@click.option("--no-pages", is_flag=True, help="Print the plan and end; serve no pages.")
def demo(
    on: date | None, seed: int, draws: int, seconds: int, units: Any, form: str, port: int,
    no_pages: bool,
) -> None:  # fmt: skip
    """Plan the invented demo farm, print the plan, and serve its pages until Ctrl-C."""
    from tierpole.scenario import demo_path, read_scenario

    office = office_of(read_scenario(demo_path(), on), seed, draws, units, seconds)
    status = _print_plan(office, form)
    if not no_pages and status != Stopped.exit_status:
        _serve_pages(office, port)
    sys.exit(status)


@click.command(cls=Command)
@FILE
@together(ON, SEED, DRAWS, SECONDS, UNITS, PORT)
@click.option("--lan", is_flag=True, help="Let phones on the farm's network in, once paired.")
@click.option("--cert", type=PATH, help="Certificate (PEM), so that the network is encrypted.")
@click.option("--key", type=PATH, help="The key of the certificate (PEM).")
def serve(  # noqa: PLR0913, PLR0917 - one for each option
    file: str, on: date | None, seed: int, draws: int, seconds: int, units: Any, port: int,
    lan: bool, cert: Path | None, key: Path | None,
) -> None:  # fmt: skip
    """Serve the pages of the season in FILE until Ctrl-C, to this computer unless --lan.

    From a farm's books they also take entries, and plan again when what matters has changed.
    """
    if (cert is None) != (key is None):
        raise click.UsageError("--cert and --key go together")
    from tierpole.office.sources import is_books, read_source

    if is_books(file):
        office = _farm_office(file, on, seed, draws, units, seconds)
    else:
        office = office_of(read_source(file, on), seed, draws, units, seconds)
    office.start()
    _serve_pages(office, port, lan, cert, key)


@click.command(cls=Command)
@FILE
@together(ON, UNITS, FORMAT)
def check(file: str, on: date | None, units: Any, form: str) -> None:
    """Check the season in FILE: every problem at once, what looks odd, what is assumed."""
    from tierpole.office.sources import check_source
    from tierpole.scenario import assumed

    checked = check_source(file, on)
    taken = list(assumed(checked.season, units))
    if form == "json":
        from tierpole.cli.documents import check_document

        click.echo(check_document(checked, taken).model_dump_json(indent=2))
    else:
        from tierpole.cli.layout import width_now
        from tierpole.cli.season_text import checked_text

        click.echo(checked_text(checked, taken, units, width_now()))


@click.command(cls=Command)
@FILE
@UNITS
@click.option("--update", is_flag=True, help="Fetch the station's latest records first.")
def weather(file: str, units: Any, update: bool) -> None:
    """Check the station FILE: gaps, doubtful values, seasons on file, freeze dates."""
    from tierpole.cli.layout import width_now
    from tierpole.cli.weather_text import weather_text

    if update:
        from tierpole.sources import update_station

        click.echo(str(update_station(Path(file))))
    click.echo(weather_text(Path(file), units, width_now()))


def _farm_office(
    books: str, on: date | None, seed: int, draws: int, units: Any, seconds: int
) -> Office:
    from tierpole.office import FarmOffice, Settings
    from tierpole.records import open_store

    return FarmOffice(open_store(books), Settings(draws, seed, seconds, units), on)


def _print_plan(office: Office, form: str) -> int:
    """Work, print, and say with which status to leave."""
    from tierpole.office import plan_document

    found = planned(office)
    if form == "json":
        click.echo(plan_document(office.season, found).model_dump_json(indent=2))
    else:
        from tierpole.cli.layout import width_now
        from tierpole.cli.show import plan_text

        this_week = office.view("week", office.system)
        click.echo(plan_text(office.season, found, this_week, width_now()))
    return exit_status(found)


def _serve_pages(
    office: Office, port: int, lan: bool = False, cert: Path | None = None, key: Path | None = None
) -> None:
    """Serve until Ctrl-C, which is how pages end and no failure; work still going on ends too."""
    from asyncio import CancelledError

    from tierpole.web import Door
    from tierpole.web import serve as serve_pages

    try:
        serve_pages(
            office, port, lambda address: click.echo(f"Pages at {address} (Ctrl-C ends)"),
            Door(lan, cert, key),
        )  # fmt: skip
    except (KeyboardInterrupt, CancelledError):  # the second while the server is just starting
        click.echo("Pages closed.", err=True)
    finally:
        office.stop()
