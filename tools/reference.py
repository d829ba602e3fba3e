"""Make the reference pages from the code: `python tools/reference.py`, or `--check` to compare.

docs/scenario.md lists every table and field of a scenario file; docs/commands.md holds the help of
every command between its own marks, the rest of it is written by hand; docs/*.schema.json are the
schemas of what `--format json` prints.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from inspect import getdoc
from pathlib import Path
from typing import Any

import click

from measure import ROOT
from tierpole import units
from tierpole.cli import tierpole
from tierpole.cli.documents import CheckDocument, ErrorDocument, RoomDocument, schema_text
from tierpole.office import PlanDocument
from tierpole.office.dry_document import DryDocument
from tierpole.office.forecast_document import ForecastDocument
from tierpole.scenario.reference import Entry, TableEntry, kinds, tables
from tierpole.season.checks import CHECKS
from tierpole.season.remarks import REMARKS

DOCS = ROOT / "docs"
REFRESH = ".venv/bin/python tools/reference.py"
HEAD = f"""# The scenario file

A farm and its season are one text file in [TOML](https://toml.io), for example
`src/tierpole/data/scenarios/demo.toml`. `tierpole check FILE` lists every problem in it at once,
each with its table, row, line, field, value and what is allowed; then what looks odd, and what it
leaves open and is therefore assumed.

Made from the code by `{REFRESH}`; not written by hand.

## How it is written

- A quantity is text with its unit, in quotes: `area = "2 1/2 acre"`, `night_offset = "-2 F"`.
  A bare number is refused, for it hides a mistake until harvest. US and metric units may be mixed.
- A date is bare: `set_on = 2026-06-01`. Dates are those of the farm's own clock.
- `[farm]` heads a table that stands once, `[[lots]]` one row of a list.
- What follows a `#` is a remark.
- A name is written the same wherever it stands: a lot names its field and variety, a cut its lot.
"""


def main() -> None:
    """Write the pages, or with `--check` exit 1 when one is out of date."""
    stale = [path.name for path, text in pages() if not path.exists() or path.read_text() != text]
    if sys.argv[1:] == ["--check"]:
        if stale:
            sys.exit(f"docs out of date: {', '.join(stale)}; refresh them: {REFRESH}")
        return
    for path, text in pages():
        path.write_text(text, encoding="utf-8")


def pages() -> Iterator[tuple[Path, str]]:
    """Every page with the text it should have."""
    yield DOCS / "scenario.md", scenario_page()
    yield DOCS / "commands.md", with_help((DOCS / "commands.md").read_text(encoding="utf-8"))
    documents = {
        "plan": PlanDocument, "forecast": ForecastDocument, "check": CheckDocument,
        "error": ErrorDocument, "dry": DryDocument, "room": RoomDocument,
    }  # fmt: skip
    for name, document in documents.items():
        yield DOCS / f"{name}.schema.json", schema_text(document)


# --- scenario.md ----------------------------------------------------------------------------------


def scenario_page() -> str:
    """Every table and field, the units, and what may not contradict what."""
    parts = [HEAD, *(_table(table) for table in tables()), _units(), _checks()]
    return "\n".join(parts)


def _table(table: TableEntry) -> str:
    name = "The top of the file" if not table.heading else table.heading
    needed = "" if table.is_required else " It may be left out."
    title = f"## {name}" if not table.heading.startswith("`") else f"### {name}"
    return "\n".join([
        title, "", f"{table.means}{needed}", "",
        "| field | what it is | allowed | when left out |", "|---|---|---|---|",
        *map(_row, table.entries), "",
    ])  # fmt: skip


def _row(entry: Entry) -> str:
    left_out = (
        "**must be written**" if entry.is_required else entry.left_out or entry.default or "nothing"
    )
    cells = (f"`{entry.field}`", entry.means, entry.allowed, left_out)
    return f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |"


def _units() -> str:
    rows = (
        f"| {kind.name} | {', '.join(f'`{unit.names[0]}`' for unit in kind.units)} |"
        for kind in units.KINDS.values()
        if kind.name in kinds()
    )
    return "\n".join(["## Units", "", "| quantity | units |", "|---|---|", *rows, ""])


def _checks() -> str:
    return "\n".join([
        "## What may not contradict what", "", "Each of these is a problem and must be put right:",
        "", *map(_rule, CHECKS), "",
        "Each of these is only remarked, for it may be meant:", "", *map(_rule, REMARKS), "",
    ])  # fmt: skip


def _rule(check: Callable[..., Any]) -> str:
    return f"- {(getdoc(check) or '').partition(chr(10))[0]}"


# --- commands.md ----------------------------------------------------------------------------------


def with_help(text: str) -> str:
    """The page of commands with the help of each command as it is now."""
    return re.sub(
        r"(<!-- help: ([\w-]+) -->\n).*?(<!-- end -->)",
        lambda found: f"{found[1]}\n```text\n{help_of(found[2])}\n```\n\n{found[3]}",
        text,
        flags=re.DOTALL,
    )


def help_of(name: str) -> str:
    """What `tierpole NAME --help` prints, 80 columns wide; "all" is the help of the whole."""
    command = tierpole if name == "all" else tierpole.commands[name]
    info = "tierpole" if name == "all" else f"tierpole {name}"
    context = click.Context(
        command, info_name=info, terminal_width=80, help_option_names=["-h", "--help"]
    )
    return command.get_help(context)


if __name__ == "__main__":
    main()
