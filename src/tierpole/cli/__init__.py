"""The command line: parse, call the office, print. Heavy work is imported inside the commands."""

from __future__ import annotations

import sys

import click

from tierpole._version import __version__
from tierpole.cli.commands import check, demo, plan, serve, weather
from tierpole.errors import TierpoleError


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="tierpole")
def tierpole() -> None:
    """Plan a floral-hemp season: when to call the sampler, cut, hang and take down, and why.

    Exit status: 0 a plan, 2 bad input, 3 recorded facts already break a rule (the plan for the
    rest is printed), 4 stopped early (the best plan so far is printed).
    """


for command in (demo, plan, check, weather, serve):
    tierpole.add_command(command)


def main() -> None:
    """Run the command line; the project's own errors become plain text and an exit status."""
    try:
        tierpole(standalone_mode=False)
    except click.exceptions.Exit as leaving:
        sys.exit(leaving.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped.", err=True)
        sys.exit(4)
    except TierpoleError as error:
        click.echo(str(error), err=True)
        sys.exit(error.exit_status)
