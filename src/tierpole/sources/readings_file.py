"""Readings of a place out of a file: what a logger saved, or a form filled in at the barn.

CSV of a logger, a row a reading::

    time,temperature_f,humidity_pct
    2026-09-01T06:00,58.3,91

CSV of weights::

    time,lot,hung_on,sticks,mass_lb
    2026-09-01T09:00,1 River,2026-08-26,2,31.5

JSON: ``{"air": [{"time": ..., "temperature_f": ..., "humidity_pct": ...}], "weights": [...]}``
with the same names, either list alone too. Each quantity is written in one unit: ``_f`` or ``_c``,
``_lb`` or ``_kg``, and ``_pct``. ``tier`` (1 the lowest) may stand beside air. Times are local. A
row of a logger whose values are all empty is a gap, not a fault.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from tierpole.farm import AirReading, StickWeight
from tierpole.sources.files import Faults, read_text, rows
from tierpole.units import POUND

AIR, WEIGHTS = "air", "weights"
_FIRST_YEAR, _LAST_YEAR = 1990, 2100

# unit of a column: lowest, highest, factor and offset to °C, kg or a share
_UNITS: dict[str, tuple[float, float, float, float]] = {
    "f": (-60.0, 200.0, 1 / 1.8, -32 / 1.8),
    "c": (-50.0, 90.0, 1.0, 0.0),
    "lb": (0.1, 20_000.0, POUND, 0.0),
    "kg": (0.05, 9_000.0, 1.0, 0.0),
    "pct": (1.0, 100.0, 0.01, 0.0),  # a share written for a percentage falls below it
}
_CHOICES = {"temperature": ("f", "c"), "humidity": ("pct",), "mass": ("lb", "kg")}
_COLUMNS = {AIR: ("temperature", "humidity"), WEIGHTS: ("mass",)}
_OTHERS = {AIR: {"time", "tier"}, WEIGHTS: {"time", "lot", "hung_on", "sticks"}}
_BLANK = ("", "-", "--", "nan", "null", "none")


@dataclass(frozen=True)
class BarnReadings:
    """What a file holds of one place."""

    air: tuple[AirReading, ...] = ()
    weights: tuple[StickWeight, ...] = ()


@dataclass(frozen=True)
class _Row:
    """A row with its place in the file; `number` and its kin add a fault where they find one."""

    at: str
    cells: Mapping[str, str]
    faults: Faults

    def quantity(self, column: str) -> float:
        """A column's value in SI; NaN, and a fault, when it is none."""
        low, high, factor, offset = _UNITS[column.rpartition("_")[2]]
        return self.faults.number(self.at, column, self.cells[column], low, high) * factor + offset

    def time(self) -> datetime | None:
        """When it was read."""
        text = self.cells.get("time", "")
        try:
            when = datetime.fromisoformat(text).replace(tzinfo=None)
        except ValueError:
            when = None
        if when is None or not _FIRST_YEAR <= when.year <= _LAST_YEAR:
            self.faults.add(self.at, "time", text or None, "a local time such as 2026-09-01T06:00")
            return None
        return when

    def day(self, field: str) -> date | None:
        """A date."""
        text = self.cells.get(field, "")
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.faults.add(self.at, field, text or None, "a date such as 2026-08-26")
            return None

    def whole(self, field: str, most: int) -> int | None:
        """A whole number from 1 on."""
        text = self.cells.get(field, "")
        if text.isdecimal() and 1 <= int(text) <= most:
            return int(text)
        self.faults.add(self.at, field, text or None, f"a whole number from 1 to {most:,}")
        return None

    def name(self, field: str) -> str | None:
        """A name."""
        text = self.cells.get(field, "")
        if not 0 < len(text) <= 60:
            self.faults.add(self.at, field, text or None, "a name of 1 to 60 characters")
            return None
        return text


def read_readings(path: str | Path, place: str) -> BarnReadings:
    """The readings in a CSV or JSON file of a place (forms: see the module); all faults at once."""
    path = Path(path)
    faults = Faults(path.name)
    text = read_text(path)
    tables = (
        _from_json(text, faults) if text.lstrip()[:1] in ("{", "[") else _from_csv(text, faults)
    )
    faults.raise_any()
    found = {form: list(_readings(form, table, place)) for form, table in tables.items()}
    faults.raise_any()
    return BarnReadings(tuple(found.get(AIR, ())), tuple(found.get(WEIGHTS, ())))


# --- the two forms --------------------------------------------------------------------------------


def _from_csv(text: str, faults: Faults) -> dict[str, list[_Row]]:
    lines = [(n, row) for n, row in enumerate(rows(text, faults), start=1) if any(row)]
    header = [cell.lower().replace(" ", "_") for cell in lines[0][1]] if lines else []
    form = WEIGHTS if "lot" in header else AIR
    _check_header(form, header, "the header", faults)
    table = [
        _Row(
            f"row {n}",
            {**dict.fromkeys(header, ""), **dict(zip(header, row, strict=False))},
            faults,
        )
        for n, row in lines[1:]
    ]
    if not table:
        faults.add("the file", "rows", 0, "a header and at least one reading")
    return {form: table}


def _from_json(text: str, faults: Faults) -> dict[str, list[_Row]]:
    try:
        # numbers keep the digits they are written with
        written = json.loads(text, parse_float=str, parse_int=str)
    except (ValueError, RecursionError) as error:
        faults.add("the file", "", str(error), "valid JSON")
        return {}
    listed = {
        form: written[form]
        for form in (AIR, WEIGHTS)
        if isinstance(written, dict) and form in written
    }
    if not listed:
        faults.add("the file", "", type(written).__name__, f"a table with {AIR} or {WEIGHTS}")
    return {form: list(_json_rows(form, entry, faults)) for form, entry in listed.items()}


def _json_rows(form: str, listed: Any, faults: Faults) -> Iterator[_Row]:
    if not isinstance(listed, list) or not all(isinstance(row, dict) for row in listed):
        faults.add("the file", form, type(listed).__name__, "a list of tables with named values")
        return
    for number, row in enumerate(listed, start=1):
        cells = {
            str(name).lower(): "" if value is None else str(value) for name, value in row.items()
        }
        at = f"{form}[{number}]"
        _check_header(form, list(cells), at, faults)
        yield _Row(at, cells, faults)


def _check_header(form: str, header: list[str], at: str, faults: Faults) -> None:
    """Every column known, and each quantity in one unit."""
    needed = {"time"} if form == AIR else _OTHERS[form]
    written = {f"{name}_{unit}" for name in _COLUMNS[form] for unit in _CHOICES[name]}
    for name in sorted(needed - set(header)):
        faults.add(at, name, None, "a column")
    for name in header:
        if name not in written | _OTHERS[form]:
            faults.add(at, name, name, f"one of {', '.join(sorted(written | _OTHERS[form]))}")
    for name in _COLUMNS[form]:
        units = [unit for unit in _CHOICES[name] if f"{name}_{unit}" in header]
        if len(units) != 1:
            allowed = " or ".join(f"{name}_{unit}" for unit in _CHOICES[name])
            said = "either " if len(_CHOICES[name]) > 1 else ""
            faults.add(at, name, ", ".join(units) or None, f"{said}{allowed}")


# --- values ---------------------------------------------------------------------------------------


def _readings(form: str, table: list[_Row], place: str) -> Iterator[Any]:
    for row in table:
        reading = _air(row, place) if form == AIR else _weight(row, place)
        if reading is not None:
            yield reading


def _columns(row: _Row, form: str) -> dict[str, str]:
    """The column in which each quantity is written."""
    return {
        name: f"{name}_{unit}"
        for name in _COLUMNS[form]
        for unit in _CHOICES[name]
        if f"{name}_{unit}" in row.cells
    }


def _air(row: _Row, place: str) -> AirReading | None:
    columns = _columns(row, AIR)
    if all(row.cells[column].lower() in _BLANK for column in columns.values()):
        return None
    when = row.time()
    values = {name: row.quantity(column) for name, column in columns.items()}
    tier = row.whole("tier", 12) if row.cells.get("tier") else None
    if when is None or any(map(math.isnan, values.values())):
        return None
    return AirReading(
        place=place, read_on=when.date(), read_at=f"{when:%H:%M}", tier=tier, **values
    )


def _weight(row: _Row, place: str) -> StickWeight | None:
    lot, hung_on, when = row.name("lot"), row.day("hung_on"), row.time()
    sticks, mass = row.whole("sticks", 100_000), row.quantity(_columns(row, WEIGHTS)["mass"])
    if lot is None or hung_on is None or when is None or sticks is None or not mass > 0:
        return None
    return StickWeight(
        lot=lot, place=place, hung_on=hung_on, read_on=when.date(), read_at=f"{when:%H:%M}",
        sticks=sticks, mass=mass,
    )  # fmt: skip
