"""GHCN-Daily rows: one station, one day, one element, with NOAA's flags.

Three forms are read, plain or gzipped:

long
    ``ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBSTIME``, one row a day and element, DATE as
    YYYYMMDD, with or without that header (NOAA's "by station" files have none).
wide
    one row a day with the columns STATION, DATE, LATITUDE, LONGITUDE, ELEVATION, NAME, and for
    each element its value and ``<ELEMENT>_ATTRIBUTES`` = "MFLAG,QFLAG,SFLAG,OBSTIME" (NOAA's
    "daily summaries" access files).

Values are whole numbers: tenths of a degree Celsius, tenths of a millimetre.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from datetime import date
from itertools import chain
from typing import NamedTuple

from tierpole.sources.files import Faults, rows

LONG = ("ID", "DATE", "ELEMENT", "VALUE", "MFLAG", "QFLAG", "SFLAG", "OBSTIME")
PLACE = ("LATITUDE", "LONGITUDE", "ELEVATION", "NAME")
_OTHER_NAMES = {"DATA_VALUE": "VALUE", "M_FLAG": "MFLAG", "Q_FLAG": "QFLAG"} | {
    "S_FLAG": "SFLAG",
    "OBS_TIME": "OBSTIME",
    "OBS-TIME": "OBSTIME",
}
_MISSING = ("", "-9999")


class Observation(NamedTuple):
    """One value as published; `value` in tenths, None where the source says missing."""

    station: str
    day: date
    element: str
    value: int
    m_flag: str = ""
    q_flag: str = ""
    s_flag: str = ""
    time: str = ""


class Observations(NamedTuple):
    """All rows of a file; `place` holds the station's coordinates when the file gives them."""

    rows: list[Observation]
    place: dict[str, str]
    is_wide: bool


def parse(text: str, faults: Faults) -> Observations:
    """The rows of a GHCN-Daily text; what is wrong in it goes to `faults`."""
    lines = enumerate(rows(text, faults), start=1)
    number, first = next(lines, (1, []))
    header = [_OTHER_NAMES.get(cell.upper(), cell.upper()) for cell in first]
    if "STATION" in header and "DATE" in header:
        return _wide(header, lines, faults)
    if "ELEMENT" in header:
        missing = [name for name in LONG[:4] if name not in header]
        for name in missing:
            faults.add("the header", name, None, f"a column; the header is {','.join(LONG)}")
        return Observations([] if missing else list(_long(header, lines, faults)), {}, False)
    if len(first) < 4 or not first[1][:4].isdigit():
        allowed = f"{','.join(LONG)}, or STATION,DATE and a pair of columns an element, or data"
        faults.add("row 1", "the header", ",".join(first), allowed)
        return Observations([], {}, False)
    headerless = chain([(number, first)], lines)
    return Observations(list(_long(list(LONG), headerless, faults)), {}, False)


def write(observations: Iterable[Observation]) -> str:
    """Rows as text in the long form, with its header."""
    out = io.StringIO()
    out.write(",".join(LONG) + "\n")
    for row in observations:
        cells = (row.station, f"{row.day:%Y%m%d}", row.element, str(row.value), *row[4:])
        out.write(",".join(cells) + "\n")
    return out.getvalue()


Lines = Iterable[tuple[int, list[str]]]


def _long(header: list[str], lines: Lines, faults: Faults) -> Iterator[Observation]:
    at = [header.index(name) if name in header else None for name in LONG]
    days = _DayReader(faults)
    for number, row in lines:
        if not any(row):
            continue
        cells = [row[i] if i is not None and i < len(row) else "" for i in at]
        place = f"row {number}"
        day = days.read(place, cells[1])
        value = _tenths(faults, place, "VALUE", cells[3])
        if not cells[0] or not cells[2]:
            name, cell = ("ID", cells[0]) if not cells[0] else ("ELEMENT", cells[2])
            faults.add(place, name, cell or None, f"a code; rows are {','.join(LONG)}")
        elif day is not None and value is not None:
            yield Observation(cells[0], day, cells[2].upper(), value, *cells[4:])


def _wide(header: list[str], lines: Lines, faults: Faults) -> Observations:
    elements = [name for name in header if f"{name}_ATTRIBUTES" in header]
    if not elements:
        faults.add("the header", "TMAX_ATTRIBUTES", None, "a column beside TMAX, as NOAA writes it")
    found: list[Observation] = []
    place: dict[str, str] = {}
    days = _DayReader(faults)
    for number, row in lines:
        if not any(row):
            continue
        cells = dict(zip(header, row, strict=False))
        place = place or {name: cells.get(name, "") for name in PLACE}
        day = days.read(f"row {number}", cells.get("DATE", ""))
        if day is not None:
            found.extend(_of_day(cells, day, elements, f"row {number}", faults))
    return Observations(found, place, True)


def _of_day(
    cells: dict[str, str], day: date, elements: list[str], place: str, faults: Faults
) -> Iterator[Observation]:
    for element in elements:
        value = _tenths(faults, place, element, cells.get(element, ""))
        if value is not None:
            flags = [f.strip() for f in cells.get(f"{element}_ATTRIBUTES", "").split(",")]
            yield Observation(cells["STATION"], day, element, value, *(flags + [""] * 4)[:4])


def _tenths(faults: Faults, place: str, field: str, text: str) -> int | None:
    if text in _MISSING:
        return None
    try:
        return int(text)
    except ValueError:
        allowed = "a whole number: tenths of a degree Celsius or of a millimetre"
        faults.add(place, field, text, allowed)
        return None


class _DayReader:
    """Dates of rows; a date comes once for each element, so the last one is remembered."""

    def __init__(self, faults: Faults) -> None:
        self._faults = faults
        self._text, self._day = "", None

    def read(self, place: str, text: str) -> date | None:
        """The day a cell names, or None and a fault."""
        if text != self._text:
            self._text, self._day = text, self._parse(place, text)
        elif self._day is None:
            self._blame(place, text)
        return self._day

    def _parse(self, place: str, text: str) -> date | None:
        try:
            return date.fromisoformat(text)
        except ValueError:
            self._blame(place, text)
            return None

    def _blame(self, place: str, text: str) -> None:
        self._faults.add(place, "DATE", text or None, "a date such as 20260914 or 2026-09-14")
