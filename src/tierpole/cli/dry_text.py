"""A place under watch as plain text: the sentences and tables of its page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from tierpole.charts import Chart
from tierpole.cli.layout import USUAL, columns, wrap
from tierpole.office.views.barn import barn_now, elevation_of, room_notes
from tierpole.office.views.parts import plain
from tierpole.rulebook import cautions
from tierpole.units import System

if TYPE_CHECKING:
    import xarray as xr

    from tierpole.office.views.barn import BarnNow
    from tierpole.season import Season


def dry_text(
    season: Season, outlook: xr.Dataset, name: str, system: System = "us", width: int = USUAL
) -> str:
    """What hangs in a place, how it dries, what to do tonight, and what to take care of."""
    found, side = elevation_of(season, name)
    now = barn_now(season, outlook, name, system)
    notes = tuple(room_notes(season, outlook, found, system))
    blocks = [
        [wrap(side.sentence, width)],
        list(_now(now, width)) if now else [],
        ["ROOM", *(wrap(note, width, "  ", "  ") for note in notes)],
        ["TAKE CARE", *(wrap(one.says, width, "  ", "  ") for one in cautions("barn"))],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _now(now: BarnNow, width: int) -> Iterator[str]:
    if now.alarm:
        yield from (wrap(now.alarm, width), "")
    yield "UNTIL IT IS DRY"
    for line in (*(plain(phrase) for phrase in now.advice), *now.windows):
        yield wrap(line, width, "  ", "  ")
    if now.findings:
        yield from ("", "READINGS TO LOOK AT")
        yield from (wrap(line, width, "  ", "  ") for line in now.findings)
    parts = (("MOISTURE OF THE FLOWER", now.moisture), ("AIR", now.air), ("MOULD", now.mould))
    for heading, chart in parts:
        yield from ("", heading, wrap(chart.sentence, width, "  ", "  "))
        yield from _table(chart, width)


def _table(chart: Chart, width: int) -> Iterator[str]:
    """The chart's table, every other row when there are many."""
    rows = chart.table.rows
    yield from columns(chart.table.header, rows[:: 1 + len(rows) // 24], width)
