"""The commands. Each parses, calls one thing, prints."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tierpole.cli.options import (
    DRAWS,
    FILE,
    FORMAT,
    ON,
    PORT,
    SEED,
    UNITS,
    progress,
    together,
)
from tierpole.errors import Stopped

if TYPE_CHECKING:
    from tierpole.office import Office
    from tierpole.season import Season


@click.command()
@FILE
@together(ON, SEED, DRAWS, UNITS, FORMAT)
@click.option("--seconds", default=8.0, show_default=True, help="Time for each round of solving.")
def plan(
    file: str, on: date | None, seed: int, draws: int, units: Any, form: str, seconds: float
) -> None:
    """Plan the season in FILE: samples, cuts, places, take-downs, and what they earn."""
    from tierpole.scenario import read_scenario

    office = _office(read_scenario(file, on), seed, draws, units, seconds)
    sys.exit(_print_plan(office, form))


@click.command()
@together(ON, SEED, DRAWS, UNITS, FORMAT, PORT)
@click.option("--no-pages", is_flag=True, help="Print the plan and end; serve no pages.")
def demo(
    on: date | None, seed: int, draws: int, units: Any, form: str, port: int, no_pages: bool
) -> None:
    """Plan the invented demo farm, print the plan, and serve its pages until Ctrl-C."""
    from tierpole.scenario import demo_path, read_scenario

    office = _office(read_scenario(demo_path(), on), seed, draws, units, 8.0)
    status = _print_plan(office, form)
    if not no_pages:
        _serve_pages(office, port)
    sys.exit(status)


@click.command()
@FILE
@together(ON, SEED, DRAWS, UNITS, PORT)
def serve(file: str, on: date | None, seed: int, draws: int, units: Any, port: int) -> None:
    """Serve the pages of the season in FILE on this computer until Ctrl-C."""
    from tierpole.scenario import read_scenario

    office = _office(read_scenario(file, on), seed, draws, units, 8.0)
    office.start()
    _serve_pages(office, port)


@click.command()
@FILE
def check(file: str) -> None:
    """Check the scenario in FILE and list every problem at once."""
    from tierpole.cli.show import season_text
    from tierpole.scenario import read_scenario

    season = read_scenario(file)
    click.echo(season_text(season))
    click.echo("No problem found.")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@together(UNITS)
@click.option("--update", is_flag=True, help="Fetch the station's latest records first.")
def weather(file: str, units: Any, update: bool) -> None:
    """Check the station FILE: gaps, doubtful values, seasons on file, freeze dates."""
    from tierpole.cli.show import weather_text

    if update:
        from tierpole.sources import update_station

        click.echo(str(update_station(Path(file))))
    click.echo(weather_text(Path(file), units))


def _office(season: Season, seed: int, draws: int, units: Any, seconds: float) -> Office:
    from tierpole.office import Office, Settings

    return Office(season, Settings(draws, seed, seconds, units))


def _print_plan(office: Office, form: str) -> int:
    """Work, print, and say with which status to leave."""
    from tierpole.cli.show import plan_text
    from tierpole.office import plan_document

    stopped = False
    try:
        with progress() as tick:
            found = office.work(tick)
    except Stopped as stop:
        if stop.best is None:
            raise
        found, stopped = office.adopt(stop.best), True
    if form == "json":
        click.echo(plan_document(office.season, found).model_dump_json(indent=2))
    else:
        click.echo(plan_text(office.season, found, office.system))
    return 4 if stopped or found.stopped_early else 3 if found.broken_rules else 0


def _serve_pages(office: Office, port: int) -> None:
    from tierpole.web import serve as serve_pages

    serve_pages(
        office, port, announce=lambda address: click.echo(f"Pages at {address} (Ctrl-C ends)")
    )
