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
    progress,
    together,
)
from tierpole.cli.planning import exit_status, office_of, planned
from tierpole.cli.quiet import only_the_answer
from tierpole.errors import Stopped

PATH = click.Path(exists=True, dir_okay=False, path_type=Path)

if TYPE_CHECKING:
    from tierpole.office import Office
    from tierpole.office.start import Beginning
    from tierpole.season import Season


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
@click.argument("file", type=click.Path(dir_okay=False), default="farm.db")
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
    Where there are no books yet, the pages begin a farm in FILE.
    """
    if (cert is None) != (key is None):
        raise click.UsageError("--cert and --key go together")
    from tierpole.office.sources import is_books, read_source
    from tierpole.office.start import is_to_begin

    if is_to_begin(file):
        begun = _beginning(file, on, seed, draws, units, seconds)
        _serve_pages(begun, port, lan, cert, key)
        return
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
@together(ON, SEED, DRAWS, UNITS, FORMAT)
@click.option("--place", required=True, metavar="NAME", help="The place, by its name in FILE.")
def dry(
    file: str, on: date | None, seed: int, draws: int, units: Any, form: str, place: str
) -> None:
    """What hangs in a place of FILE: its air, moisture and mould, and how to air it tonight.

    Readings of air, weights and moisture correct the forecast; what of them is hard to believe is
    told.
    """
    from tierpole.office.tables import DiskTables
    from tierpole.outlook import make_outlook

    season = _season_with(place, file, on)
    with progress() as tick, only_the_answer():
        outlook = make_outlook(season, draws, seed, tables=DiskTables(), tick=tick)
    if form == "json":
        from tierpole.office.dry_document import dry_document

        click.echo(dry_document(season, outlook, place, units).model_dump_json(indent=2))
    else:
        from tierpole.cli.dry_text import dry_text
        from tierpole.cli.layout import width_now

        click.echo(dry_text(season, outlook, place, units, width_now()))


@click.command(cls=Command)
@FILE
@together(ON, SEED, DRAWS, SECONDS, FORMAT)
@click.option("--place", required=True, metavar="NAME", help="The place, by its name in FILE.")
@click.option("--shed", default="24 ft", show_default=True, help="New shed of its own section.")
@click.option("--shed-price", help='Price of a foot of run, such as "7.50 USD"; a guess if left.')
@click.option(
    "--rent",
    type=click.IntRange(1, 100_000),
    default=200,
    show_default=True,
    help="Sticks of room like it to rent.",
)
@click.option("--rent-cost", default="0 USD", show_default=True, help="Rent for the season.")
@click.option("--faster", default="20 %", show_default=True, help="Share of drying time saved.")
@click.option("--faster-cost", default="0 USD", show_default=True, help="What that costs.")
def room(
    file: str, on: date | None, seed: int, draws: int, seconds: int, form: str, place: str,
    **wish: Any,
) -> None:  # fmt: skip
    """Weigh more room in a place of FILE: new shed, rented room, or drying faster."""
    from tierpole.office.tables import DiskTables
    from tierpole.outlook import make_outlook
    from tierpole.plan.options import Wish, what_if
    from tierpole.plan.risk import Risk
    from tierpole.plan.solve import Stop
    from tierpole.units import FOOT

    price = wish["shed_price"] and _quantity("--shed-price", wish["shed_price"], "money") / FOOT
    wanted = Wish(
        shed=_quantity("--shed", wish["shed"], "a length"),
        shed_price=price or None,
        rent=wish["rent"],
        rent_cost=_quantity("--rent-cost", wish["rent_cost"], "money"),
        faster=min(max(_quantity("--faster", wish["faster"], "a share"), 0.0), 0.9),
        faster_cost=_quantity("--faster-cost", wish["faster_cost"], "money"),
    )
    season = _season_with(place, file, on)
    with progress() as tick, only_the_answer():
        outlook = make_outlook(season, draws, seed, tables=DiskTables(), tick=tick)
        weighed = what_if(season, outlook, place, wanted, Stop(seconds=seconds), Risk())
    if form == "json":
        from tierpole.cli.documents import room_document

        click.echo(room_document(season, place, weighed).model_dump_json(indent=2))
    else:
        from tierpole.cli.layout import width_now
        from tierpole.cli.room_text import room_text

        click.echo(room_text(place, weighed, width_now()))


def _quantity(option: str, text: str, kind: str) -> float:
    """A quantity written on the command line."""
    from tierpole.units import read_quantity

    try:
        return read_quantity(text, kind)
    except ValueError as error:
        raise click.BadParameter(f"{text!r}: {error}.", param_hint=option) from None


def _season_with(place: str, file: str, on: date | None) -> Season:
    """The season of a file that has a place of that name."""
    from tierpole.errors import Fault, InputError
    from tierpole.office.sources import read_source

    season = read_source(file, on)
    names = [one.name for one in season.places]
    if place not in names:
        raise InputError("asked for", [Fault("place", "", place, f"one of {', '.join(names)}")])
    return season


@click.command(cls=Command)
@FILE
@UNITS
@click.option("--update", is_flag=True, help="Fetch the station's latest records first.")
@click.option("--normals", type=PATH, help="NOAA's seasonal normals (CSV) to hold beside it.")
@click.option("--typical", type=PATH, help="A typical year by the hour (TMY3, EPW), likewise.")
def weather(
    file: str, units: Any, update: bool, normals: Path | None, typical: Path | None
) -> None:
    """Check the station FILE: gaps, doubtful values, seasons on file, freeze dates."""
    from tierpole.cli.layout import width_now
    from tierpole.cli.weather_text import weather_text

    if update:
        from tierpole.sources import update_station

        click.echo(str(update_station(Path(file))))
    click.echo(weather_text(Path(file), units, width_now(), normals, typical))


def _farm_office(
    books: str, on: date | None, seed: int, draws: int, units: Any, seconds: int
) -> Office:
    from tierpole.office import FarmOffice, Settings
    from tierpole.records import open_store

    return FarmOffice(open_store(books), Settings(draws, seed, seconds, units), on)


def _beginning(
    where: str, on: date | None, seed: int, draws: int, units: Any, seconds: int
) -> Beginning:
    from tierpole.office import Settings
    from tierpole.office.start import Beginning

    return Beginning(where, Settings(draws, seed, seconds, units), on)


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
    office: Office | Beginning,
    port: int,
    lan: bool = False,
    cert: Path | None = None,
    key: Path | None = None,
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
