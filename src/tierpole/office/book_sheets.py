"""The books for a spreadsheet: every kind of thing as it stands, in the units a person chose."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from tierpole import units
from tierpole.documents.sheets import Sheet, Value, workbook, write_csv
from tierpole.office.entry.fields import Ask, ask_of
from tierpole.records import KINDS, Kind, Store, Stored, Wanted, nouns

AT_ONCE = 1_000
MOST = 20_000  # rows on a sheet of the workbook: readings by the minute are for a CSV file
_ABOUT = ("Season", "Known on", "Entered at", "By", "Entry")


def write_kind(store: Store, kind: Kind, system: units.System, path: Path) -> Path:
    """Write the table of one kind as CSV, however long it is."""
    with store.reading(), path.open("w", encoding="utf-8-sig", newline="") as file:
        asks = _asks(kind)
        write_csv(file, _header(asks, system), _rows(store, kind, asks, system))
    return path


def write_workbook(store: Store, system: units.System, path: Path) -> Path:
    """Write one workbook with a sheet for each kind of which there is anything."""
    today = datetime.now().astimezone().date()
    with store.reading():
        made = (_sheet(store, kind, system) for kind in KINDS)
        path.write_bytes(workbook([one for one in made if one.rows], "The farm's books", today))
    return path


def _sheet(store: Store, kind: Kind, system: units.System) -> Sheet:
    asks, name = _asks(kind), kind.name.replace("_", " ").capitalize()
    rows = tuple(islice(_rows(store, kind, asks, system), MOST + 1))
    if len(rows) > MOST:
        told = f"There are more than {MOST:,}, too many for a sheet: take them from Books as CSV."
        return Sheet(name, ("Not shown here",), ((told,),))
    return Sheet(name, _header(asks, system), rows)


def _asks(kind: Kind) -> list[Ask]:
    return [ask_of(kind.noun, key) for key in kind.noun.model_fields]


def _header(asks: list[Ask], system: units.System) -> tuple[str, ...]:
    return (*(", ".join(filter(None, (a.label, a.unit(system)))) for a in asks), *_ABOUT)


def _rows(
    store: Store, kind: Kind, asks: list[Ask], system: units.System
) -> Iterator[tuple[Value, ...]]:
    for one in _standing(store, kind):
        entry = one.entry
        said = (_cell(ask, getattr(one.noun, ask.key), system) for ask in asks)
        yield *said, entry.season, entry.known_on, entry.entered_at, entry.who, entry.seq


def _standing(store: Store, kind: Kind) -> Iterator[Stored]:
    after = 0
    while found := nouns(store, Wanted(kind.name, after=after, limit=AT_ONCE)):
        yield from found
        after = found[-1].first


def _cell(ask: Ask, value: Any, system: units.System) -> Value:
    """A value as a spreadsheet reckons with it: a number in the unit of its column's head."""
    if ask.measure and value is not None:
        return float(f"{units.to_unit(value, ask.measure, system)[0]:.10g}")
    if isinstance(value, (int, float, date)) and not isinstance(value, bool):
        return value
    return ask.show(value, system) or None
