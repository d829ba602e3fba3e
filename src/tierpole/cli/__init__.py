"""The command line: parse, call the office, print. Heavy work is imported inside the commands."""

from __future__ import annotations

import sys
from io import TextIOWrapper

import click

from tierpole._version import __version__
from tierpole.cli.books import api_token, backup, export, import_, passphrase, restore, verify
from tierpole.cli.command import Group
from tierpole.cli.commands import check, demo, dry, plan, room, serve, weather
from tierpole.cli.forecast import forecast, learn, pool
from tierpole.cli.papers import calendar, paper, tables


@click.group(
    cls=Group, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(__version__, prog_name="tierpole")
def tierpole() -> None:
    """Plan a floral-hemp season: when to call the sampler, cut, hang and take down, and why.

    FILE is a scenario (TOML), a farm's books (a file made by `tierpole import`), or the address of
    a database.

    Exit status: 0 a plan, 2 bad input, 3 recorded facts already break a rule (the plan for the
    rest is printed) or a link of the chain is broken, 4 stopped early (the best plan so far is
    printed).
    """


OF_BOOKS = (import_, export, backup, restore, verify, passphrase, api_token)
OF_PAPERS = (paper, tables, calendar)
for command in (
    demo, plan, forecast, check, dry, room, weather, serve, learn, pool, *OF_PAPERS, *OF_BOOKS,
):  # fmt: skip
    tierpole.add_command(command)


def main() -> None:
    """Run the command line; a sign the terminal does not know becomes a question mark."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    tierpole(prog_name="tierpole")
