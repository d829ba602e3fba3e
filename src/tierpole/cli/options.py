"""Options that several commands share, and progress on the terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Generator
from contextlib import contextmanager
from datetime import date, datetime
from typing import Any

import click

from tierpole.progress import Tick, silent


def as_date(_: click.Context, __: click.Parameter, value: datetime | None) -> date | None:
    """A day without its hour."""
    return value.date() if value else None


SEED = click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True,
    help="Same seed, same answer.",
)  # fmt: skip
DRAWS = click.option(
    "--draws",
    type=click.IntRange(50, 20_000),
    default=500,
    show_default=True,
    help="How many possible seasons to look at.",
)
SECONDS = click.option(
    "--seconds", type=click.IntRange(1, 3600), default=5, show_default=True,
    help="Time to solve in each round of planning and drying; at most five rounds.",
)  # fmt: skip
UNITS = click.option(
    "--units", type=click.Choice(["us", "metric"]), default="us", show_default=True,
    help="Units to read in; a file may use either.",
)  # fmt: skip
FORMAT = click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True,
    help="Text to read, or JSON by a published schema.",
)  # fmt: skip
ON = click.option(
    "--on",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    callback=as_date,
    help="As seen on this day; nothing known later is used. Default: the scenario's date.",
)
PORT = click.option(
    "--port", type=click.IntRange(1024, 65_535), default=8047, show_default=True,
    help="Where the pages are served; if it is taken, the next free one.",
)  # fmt: skip
FILE = click.argument("file", type=click.Path(dir_okay=False))
BOOKS = click.argument("books", type=click.Path(dir_okay=False))


def together(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Several options as one decorator, first one shown first."""

    def decorate(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


@contextmanager
def progress() -> Generator[Tick]:
    """A tick(step, share) that shows one moving line on a terminal and nothing elsewhere."""
    if not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=1.0)
        yield lambda step, share: bar.update(task, description=step, completed=share)
