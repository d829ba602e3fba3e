"""Commands on a farm's books: into them, out of them, kept safe, checked."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tierpole.cli.command import Command
from tierpole.cli.options import BOOKS, UNITS

if TYPE_CHECKING:
    from tierpole.records import Seal

WHO = click.option(
    "--who", default="owner", show_default=True, help="Who enters it, as the books will say."
)


def _as_seals(_: click.Context, __: click.Parameter, values: tuple[str, ...]) -> list[Seal]:
    from tierpole.records import Seal

    found = [re.fullmatch(r"(\d+):([0-9a-f]{64})", value) for value in values]
    if None in found:
        raise click.BadParameter("a seal is a number, a colon and 64 hex digits")
    return [Seal(int(one[1]), one[2]) for one in found if one]


@click.command("import", cls=Command)
@click.argument("source", type=click.Path(dir_okay=False))
@BOOKS
@WHO
@click.option("--keep-day", is_flag=True, help="Look at the season from its own day for ever.")
def import_(source: str, books: str, who: str, keep_day: bool) -> None:
    """Put SOURCE into BOOKS: a scenario (.toml), an open package (.zip), or the word demo.

    A scenario makes new books, or begins a season in books that are there. A package makes the
    books again that it was made from, in a new file or an empty database.
    """
    if Path(source).suffix == ".zip":
        from tierpole.records import import_package

        verdict = import_package(Path(source), books)
        click.echo(f"{verdict.entries:,} entries, every link of the chain holds. {_at(books)}")
    else:
        from tierpole.office.sources import keep_scenario

        receipts = keep_scenario(source, books, who, keep_day=keep_day)
        click.echo(f"{len(receipts):,} entries written. {_at(books)}")


@click.command(cls=Command)
@BOOKS
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--season", "year", type=int, help="A season's year; the latest unless said.")
@UNITS
def export(books: str, target: Path, year: int | None, units: Any) -> None:
    """Write BOOKS out to TARGET: a season as a scenario (.toml), or all as an open package (.zip).

    The package is CSV and JSON Schema, and becomes the same books again. The scenario, read again,
    is the same season.
    """
    from tierpole.errors import StoreError
    from tierpole.records import export_package, export_scenario, open_store

    if target.exists():
        raise StoreError(f"{target}: is there already. Name another file.")
    with open_store(books) as store:
        if target.suffix == ".zip":
            export_package(store, target)
            click.echo(f"The books are in {target}.")
        else:
            exported = export_scenario(store, year, units)
            exported.write(target)
            beside = f", with {', '.join(exported.files)} beside it" if exported.files else ""
            click.echo(f"The season is in {target}{beside}.")


@click.command(cls=Command)
@BOOKS
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
def backup(books: str, target: Path) -> None:
    """Copy BOOKS, as they are at this moment, into the new file TARGET; others may go on writing.

    The copy is itself a farm's books.
    """
    from tierpole.records import backup as copy
    from tierpole.records import open_store

    with open_store(books) as store:
        copy(store, target)
    click.echo(f"A copy is in {target}.")


@click.command(cls=Command)
@click.argument("source", type=click.Path(dir_okay=False, path_type=Path))
@BOOKS
@click.option("--replace", is_flag=True, help="Replace books that are there; they are kept beside.")
def restore(source: Path, books: str, replace: bool) -> None:
    """Make BOOKS again from the backup SOURCE, once its chain has been checked."""
    from tierpole.records import restore as make_again

    verdict = make_again(source, books, replace=replace)
    click.echo(f"{verdict.entries:,} entries, every link of the chain holds. {_at(books)}")


@click.command(cls=Command)
@BOOKS
@click.option(
    "--seal", "seals", multiple=True, callback=_as_seals, metavar="NUMBER:HASH",
    help="A seal noted earlier, which must still be in the chain; may be given several times.",
)  # fmt: skip
def verify(books: str, seals: list[Seal]) -> None:
    """Check every link of the chain of BOOKS, and name the first that is broken (exit status 3)."""
    from tierpole.errors import RuleError
    from tierpole.records import open_store
    from tierpole.records import verify as check

    with open_store(books) as store:
        verdict = check(store, seals)
    if not verdict.is_sound:
        raise RuleError(f"{books}: {verdict.broken}. {verdict.entries:,} entries before it hold.")
    click.echo(f"{verdict.entries:,} entries, every link holds.")
    click.echo(f"Seal: {verdict.seal.seq}:{verdict.seal.hash}")


@click.command(cls=Command)
@BOOKS
def passphrase(books: str) -> None:
    """Set the owner's passphrase of BOOKS, which `serve --lan` asks for."""
    from tierpole.office.people import people_of
    from tierpole.records import open_store

    with open_store(books) as store:
        people = people_of(store)
    people.set_passphrase(click.prompt("Passphrase", hide_input=True, confirmation_prompt=True))
    click.echo("Set. Whoever was signed in by an older one must sign in again.")


@click.command("api-token", cls=Command)
@BOOKS
@click.argument("name")
@click.option("--write", is_flag=True, help="It may also enter; else only read.")
def api_token(books: str, name: str, write: bool) -> None:
    """Make a token for a program called NAME, and print it: it is shown only now.

    The program sends it with each call (Authorization: Bearer TOKEN) to /api/v1, which describes
    itself at /api/v1/openapi.json. It is taken back on the page People.
    """
    from tierpole.errors import Fault, InputError
    from tierpole.farm.measure import Label
    from tierpole.office.people import people_of
    from tierpole.records import open_store

    if not Label().is_sound(name):
        raise InputError("api-token", [Fault("api-token", "name", name, Label().allowed)])
    with open_store(books) as store:
        people = people_of(store)
    click.echo(people.new_api_token(name, "write" if write else "read"))


def _at(books: str) -> str:
    """Where the books are now, and what to do next; an address without its password."""
    shown = re.sub(r"//([^:@/]*):[^@/]*@", r"//\1@", books)
    return f"Look at them with: tierpole serve {shown}"
