"""Commands about potency: the forecast, and what a closed season taught."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tierpole.cli.command import Command
from tierpole.cli.options import DRAWS, FILE, FORMAT, ON, SECONDS, SEED, progress, together
from tierpole.cli.quiet import only_the_answer
from tierpole.cli.stopping import stop_on_interrupt
from tierpole.errors import Fault, InputError

if TYPE_CHECKING:
    from tierpole.outlook.report import LotForecast
    from tierpole.season import Season

OUT = click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), help="Write to this file instead."
)


@click.command(cls=Command)
@FILE
@click.option("--lot", help="Only this lot, week by week.")
@click.option("--worth", is_flag=True, help="Plan the season too, for what a test is worth.")
@together(ON, SEED, DRAWS, SECONDS, FORMAT)
def forecast(
    file: str, lot: str | None, worth: bool, on: date | None, seed: int, draws: int, seconds: int,
    form: str,
) -> None:  # fmt: skip
    """Forecast what every lot in FILE may hold, when it passes, and how far to trust it."""
    from tierpole.office.forecast_document import forecast_document
    from tierpole.office.sources import read_source

    season = read_source(file, on)
    if lot is not None and lot not in [one.name for one in season.lots]:
        names = ", ".join(one.name for one in season.lots)
        raise InputError(file, [Fault("asked for", "--lot", lot, f"one of {names}")])
    plan, known = _planned(season, seed, draws, seconds) if worth else (None, ())
    known = known or _forecast(season, seed, draws)
    shown = [one for one in known if lot in (None, one.lot)]
    if form == "json":
        click.echo(forecast_document(season, shown, plan).model_dump_json(indent=2))
        return
    from tierpole.cli.forecast_text import forecast_text
    from tierpole.cli.layout import width_now

    click.echo(forecast_text(season, shown, plan, width_now(), is_one=lot is not None))


@click.command(cls=Command)
@FILE
@click.argument("variety")
@OUT
@together(SEED, DRAWS)
def learn(file: str, variety: str, out: Path | None, seed: int, draws: int) -> None:
    """Say what the closed season in FILE taught of VARIETY, as a file for the next season.

    Name the file under [files] learnt in the next scenario. It holds no test of the farm.
    """
    from tierpole.office.sources import read_source
    from tierpole.outlook.learning import learnt_of
    from tierpole.sources import learnt_text

    season = read_source(file, None)
    names = [one.name for one in season.varieties]
    if variety not in names:
        allowed = f"one of {', '.join(names)}"
        raise InputError(file, [Fault("asked for", "VARIETY", variety, allowed)])
    _write(learnt_text(learnt_of(season, variety, draws, seed)), out)


@click.command(cls=Command)
@click.argument("files", nargs=-1, required=True, type=click.Path(dir_okay=False, path_type=Path))
@OUT
def pool(files: Sequence[Path], out: Path | None) -> None:
    """Join what several farms learnt of one variety (FILES), for a farm that has not grown it."""
    from tierpole.potency import PotencyPrior
    from tierpole.potency.learn import pool as join
    from tierpole.sources import learnt_text, read_learnt

    learnt = [read_learnt(file) for file in files]
    names = sorted({one.variety for one in learnt})
    if len(names) > 1:
        raise InputError("the files", [Fault("files", "variety", ", ".join(names), "one variety")])
    _write(learnt_text(join(PotencyPrior(), learnt)), out)


def _write(text: str, out: Path | None) -> None:
    if out is None:
        click.echo(text, nl=False)
    else:
        out.write_text(text, encoding="utf-8")
        click.echo(f"Written: {out}")


def _forecast(season: Season, seed: int, draws: int) -> tuple[LotForecast, ...]:
    from tierpole.outlook import make_forecast
    from tierpole.outlook.calendar import calendar
    from tierpole.outlook.report import report

    found = make_forecast(season, draws, seed)
    return report(found, calendar(season, found.flower_day).sample_days)


def _planned(season: Season, seed: int, draws: int, seconds: int) -> Any:
    """The season planned, and the forecast its plan carries."""
    from tierpole.office import Office, Settings

    office = Office(season, Settings(draws, seed, seconds))
    with progress() as tick, stop_on_interrupt(office.stop), only_the_answer():
        plan = office.work(tick)
    return plan, tuple(lot.forecast for lot in plan.lots if lot.forecast)
