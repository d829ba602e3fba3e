"""Typical years by the hour: TMY3 (CSV of two header lines) and EPW (eight).

Both are read into the same arrays. Hours run 1 to 24 in local standard time and a value belongs
to the hour that ends then, so index 0 is the hour from midnight to 01:00.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tierpole.sources.files import Faults, read_text, rows
from tierpole.weather.record import Floats, Station

HOURS = 8760

# name: column title of TMY3, column number of EPW (from 0), lowest, highest, factor to ours
_COLUMNS: dict[str, tuple[str, int, float, float, float]] = {
    "temperature": ("Dry-bulb (C)", 6, -70.0, 60.0, 1.0),
    "dew_point": ("Dew-point (C)", 7, -80.0, 40.0, 1.0),
    "humidity": ("RHum (%)", 8, 0.0, 110.0, 0.01),
    "wind": ("Wspd (m/s)", 21, 0.0, 80.0, 1.0),
    "sun": ("GHI (W/m^2)", 13, 0.0, 1500.0, 1.0),
}
_TMY3_PRESSURE = ("Pressure (mbar)", 500.0, 1100.0, 100.0)
_EPW_PRESSURE = (9, 50_000.0, 110_000.0, 1.0)


@dataclass(frozen=True, eq=False)
class TypicalYear:
    """One composite year [hour]: °C, share, m/s, W/m2, Pa; `time_zone` is hours from UTC."""

    station: Station
    time_zone: float
    temperature: Floats
    dew_point: Floats
    humidity: Floats
    wind: Floats
    sun: Floats
    pressure: Floats


def read_typical_year(path: str | Path) -> TypicalYear:
    """The typical year in a TMY3 or EPW file, plain or gzipped, told apart by its first line."""
    path = Path(path)
    faults = Faults(path.name)
    table = [row for row in rows(read_text(path), faults) if any(row)]
    is_epw = bool(table) and table[0][0].upper() == "LOCATION"
    header, body = (table[:8], table[8:]) if is_epw else (table[:2], table[2:])
    if len(body) != HOURS or len(header[0]) < 7:
        faults.add("the file", "hourly rows", len(body), f"{HOURS} below a TMY3 or EPW header")
        faults.raise_any()
    station, zone = _epw_station(header[0], faults) if is_epw else _tmy3_station(header[0], faults)
    columns = _epw_columns() if is_epw else _tmy3_columns(header[1], faults)
    faults.raise_any()
    first_row = len(header) + 1
    arrays = {
        name: _column(body, column, first_row, name, faults) for name, column in columns.items()
    }
    faults.raise_any()
    return TypicalYear(station, zone, **arrays)


Column = tuple[int, float, float, float]


def _epw_columns() -> dict[str, Column]:
    columns: dict[str, Column] = {name: row[1:] for name, row in _COLUMNS.items()}
    return columns | {"pressure": _EPW_PRESSURE}


def _tmy3_columns(titles: list[str], faults: Faults) -> dict[str, Column]:
    wanted = {name: (row[0], *row[2:]) for name, row in _COLUMNS.items()}
    wanted["pressure"] = _TMY3_PRESSURE
    for title, *_ in wanted.values():
        if title not in titles:
            faults.add("row 2", title, None, "among the column titles")
    return {
        name: (titles.index(title), low, high, factor)
        for name, (title, low, high, factor) in wanted.items()
        if title in titles
    }


def _column(body: list[list[str]], column: Column, first: int, name: str, faults: Faults) -> Floats:
    at, low, high, factor = column
    cells = [row[at] if at < len(row) else "" for row in body]
    try:
        values = np.array(cells, float)
    except ValueError:
        values = np.full(len(cells), np.nan)
    # Only a column with something wrong in it is gone through cell by cell.
    if not ((values >= low) & (values <= high)).all():
        for number, cell in enumerate(cells, start=first):
            faults.number(f"row {number}", name, cell, low, high)
    return values * factor


def _tmy3_station(head: list[str], faults: Faults) -> tuple[Station, float]:
    code, name, state, zone, latitude, longitude, elevation = head[:7]
    return _station(code, f"{name}, {state}", (latitude, longitude, elevation, zone), faults)


def _epw_station(head: list[str], faults: Faults) -> tuple[Station, float]:
    _, name, state, _, _, code, *place = [*head, "", "", "", ""][:10]
    latitude, longitude, zone, elevation = place
    return _station(code, f"{name}, {state}", (latitude, longitude, elevation, zone), faults)


def _station(
    code: str, name: str, place: tuple[str, str, str, str], faults: Faults
) -> tuple[Station, float]:
    limits = {"latitude": 66, "longitude": 180, "elevation": 6000, "time zone": 14}
    numbers = [
        faults.number("row 1", field, text, -most, most)
        for (field, most), text in zip(limits.items(), place, strict=True)
    ]
    latitude, longitude, elevation, zone = numbers
    return Station(code, name, latitude, longitude, elevation), zone
