"""How every command fails: in plain words or JSON, with a stated exit status, never a traceback."""

from __future__ import annotations

import difflib
from typing import Any

import click

from tierpole.errors import Stopped, TierpoleError


class Command(click.Command):
    """A command that tells the project's own errors and leaves with their exit status."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run it; Ctrl-C where nothing can be saved is a stop like any other."""
        try:
            return super().invoke(ctx)
        except TierpoleError as error:
            _tell(error, ctx.params.get("form", "text"))
            ctx.exit(error.exit_status)
        except KeyboardInterrupt:
            stopped = Stopped("Stopped.")
            _tell(stopped, ctx.params.get("form", "text"))
            ctx.exit(stopped.exit_status)


def _tell(error: TierpoleError, form: str) -> None:
    if form == "json":
        from tierpole.cli.documents import error_document

        click.echo(error_document(error).model_dump_json(indent=2))
    else:
        click.echo(str(error), err=True)


class Group(click.Group):
    """A group that knows what a misspelt command was meant to be."""

    command_class = Command

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """A command by its name."""
        found = super().get_command(ctx, cmd_name)
        near = difflib.get_close_matches(cmd_name, self.commands, n=1)
        if found is None and near:
            ctx.fail(f"No such command '{cmd_name}'. Did you mean '{near[0]}'?")
        return found
