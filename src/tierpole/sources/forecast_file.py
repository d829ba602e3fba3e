"""A forecast out of a file: CSV or JSON, by the day or by the hour.

CSV, by the day::

    issued,date,t_min_f,t_max_f,rain_in,dew_point_f
    2026-09-14T06:00,2026-09-14,52,74,0.0,50

by the hour::

    issued,time,t_f,rain_in,dew_point_f
    2026-09-14T06:00,2026-09-14T07:00,55,0.0,50

JSON: ``{"issued": "2026-09-14T06:00", "daily": [{"date": ..., "t_min_f": ...}, ...]}`` or
``"hourly"`` with ``"time"``. Each quantity is written in one unit: ``_f`` or ``_c`` for
temperatures, ``_in`` or ``_mm`` for rain; ``dew_point`` may be left out. Hours are local time and
become days; a day with fewer than 18 of its hours is left out.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from tierpole.sources.files import Faults, read_text, rows
from tierpole.weather.forecast import Forecast
from tierpole.weather.record import Floats

LEAST_HOURS = 18
MOST_DAYS = 16

# unit of a column: lowest, highest, factor and offset to °C or mm
_UNITS: dict[str, tuple[float, float, float, float]] = {
    "f": (-76.0, 131.0, 1 / 1.8, -32 / 1.8),
    "c": (-60.0, 55.0, 1.0, 0.0),
    "in": (0.0, 24.0, 25.4, 0.0),
    "mm": (0.0, 600.0, 1.0, 0.0),
}
_CHOICES = {"rain": ("in", "mm")}  # all else is a temperature
_DAILY, _HOURLY = ("t_min", "t_max", "rain"), ("t", "rain")
_OF_HOURS: dict[str, tuple[str, Callable[[Floats], float]]] = {
    "t_min": ("t", lambda hours: hours.min()),
    "t_max": ("t", lambda hours: hours.max()),
    "rain": ("rain", lambda hours: hours.sum()),
    "dew_point": ("dew_point", lambda hours: hours.mean()),
}
_NEVER = datetime.fromisoformat("0001-01-01")


@dataclass(frozen=True)
class _Table:
    """The rows of a file, each with its place in it, before anything in them is understood."""

    issued: str
    rows: Sequence[tuple[str, Mapping[str, str]]]

    @property
    def stamp(self) -> str:
        """The column that says when: ``time`` by the hour, ``date`` by the day."""
        return "time" if "time" in self.rows[0][1] else "date"


def read_forecast(path: str | Path) -> Forecast:
    """The forecast in a CSV or JSON file (forms: see the module)."""
    path = Path(path)
    faults = Faults(path.name)
    text = read_text(path)
    table = (_from_json if text.lstrip()[:1] in ("{", "[") else _from_csv)(text, faults)
    if not table.rows:
        faults.add("the file", "rows", 0, "at least one day, or its hours")
    faults.raise_any()
    columns = _columns(table, faults)
    issued = _time(faults, "the file", "issued", table.issued)
    times = [_time(faults, at, table.stamp, row.get(table.stamp, "")) for at, row in table.rows]
    faults.raise_any()
    days, columns = (_by_day if table.stamp == "time" else _as_days)(times, columns)
    _check(days, columns, issued.date(), faults)
    faults.raise_any()
    dates = np.array(days, "datetime64[D]")
    return Forecast(issued_at=issued, dates=dates, source=path.name, **columns)


# --- the two forms --------------------------------------------------------------------------------


def _from_csv(text: str, faults: Faults) -> _Table:
    lines = [(n, row) for n, row in enumerate(rows(text, faults), start=1) if any(row)]
    header = [cell.lower() for cell in lines[0][1]] if lines else []
    table = [(f"row {n}", dict(zip(header, row, strict=False))) for n, row in lines[1:]]
    issued = {row.get("issued", "") for _, row in table} or {""}
    if len(issued) > 1:
        faults.add("the file", "issued", ", ".join(sorted(issued)[:3]), "the same in every row")
    return _Table(min(issued), table)


def _from_json(text: str, faults: Faults) -> _Table:
    try:
        written = json.loads(text)
    except (ValueError, RecursionError) as error:
        faults.add("the file", "", str(error), "valid JSON")
        return _Table("", [])
    key = "hourly" if isinstance(written, dict) and "hourly" in written else "daily"
    listed: Any = written.get(key) if isinstance(written, dict) else None
    if not isinstance(listed, list) or not all(isinstance(row, dict) for row in listed):
        faults.add("the file", key, type(listed).__name__, "a list of tables with named values")
        return _Table("", [])
    table = [
        (f"{key}[{n}]", {str(name).lower(): str(value) for name, value in row.items()})
        for n, row in enumerate(listed, start=1)
    ]
    return _Table(str(written.get("issued", "")), table)


# --- values ---------------------------------------------------------------------------------------


def _columns(table: _Table, faults: Faults) -> dict[str, Floats]:
    """Values by quantity, in °C and mm."""
    wanted = _HOURLY if table.stamp == "time" else _DAILY
    present = table.rows[0][1]
    columns: dict[str, Floats] = {}
    for quantity in (*wanted, "dew_point"):
        choices = _CHOICES.get(quantity, ("f", "c"))
        units = [unit for unit in choices if f"{quantity}_{unit}" in present]
        if len(units) == 1:
            columns[quantity] = _column(table, f"{quantity}_{units[0]}", units[0], faults)
        elif units or quantity in wanted:
            allowed = " or ".join(f"{quantity}_{unit}" for unit in choices)
            faults.add("the columns", quantity, ", ".join(units) or None, f"either {allowed}")
    return columns


def _column(table: _Table, name: str, unit: str, faults: Faults) -> Floats:
    low, high, factor, offset = _UNITS[unit]
    values = [faults.number(at, name, row.get(name), low, high) for at, row in table.rows]
    return np.array(values) * factor + offset


def _time(faults: Faults, place: str, field: str, text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        faults.add(place, field, text or None, "a local time such as 2026-09-14T06:00")
        return _NEVER  # nobody sees it: the fault is raised first


def _as_days(
    times: list[datetime], columns: dict[str, Floats]
) -> tuple[list[date], dict[str, Floats]]:
    return [time.date() for time in times], columns


def _by_day(
    times: list[datetime], columns: dict[str, Floats]
) -> tuple[list[date], dict[str, Floats]]:
    """Hours gathered into the days that have enough of them."""
    dates = np.array([time.date() for time in times], "datetime64[D]")
    hours = {day: np.flatnonzero(dates == day) for day in np.unique(dates)}
    whole = {day: index for day, index in hours.items() if len(index) >= LEAST_HOURS}
    daily = {
        name: np.array([rule(columns[source][index]) for index in whole.values()], float)
        for name, (source, rule) in _OF_HOURS.items()
        if source in columns
    }
    return [day.item() for day in whole], daily


def _check(days: list[date], columns: dict[str, Floats], issued: date, faults: Faults) -> None:
    """Days follow one another from the issue on, and no maximum lies below its minimum."""
    if not 1 <= len(days) <= MOST_DAYS:
        faults.add("the file", "days", len(days), f"1 to {MOST_DAYS} days with their values")
    if days and days[0] < issued:
        faults.add("the file", "first day", str(days[0]), f"on or after the issue ({issued})")
    for before, after in pairwise(days):
        if after != before + timedelta(days=1):
            faults.add("the file", "date", str(after), f"the day after {before}")
    for day, low, high in zip(days, columns["t_min"], columns["t_max"], strict=True):
        if high < low:
            faults.add(f"{day}", "t_max", round(float(high), 1), f"at least t_min ({low:.1f} °C)")
