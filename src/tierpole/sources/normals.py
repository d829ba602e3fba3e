"""Freeze dates out of NOAA's annual and seasonal climate normals.

One row of CSV with columns such as ``ANN-TMIN-PRBFST-T32FP10``: the date by which the first fall
minimum at or below 32 °F has come in 10 % of years. ``PRBLST-T32FP10`` is the date after which
the last one of spring comes in 10 % of years, so its 10 % date is the late one. The files of
1981-2010 and 1991-2020 are both read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tierpole.sources.files import Faults, read_text, rows
from tierpole.weather.freeze import Half

_COLUMN = re.compile(r"ANN-TMIN-PRB(FST|LST)-T(\d\d)FP(\d\d)")
_HALVES: dict[str, Half] = {"FST": "fall", "LST": "spring"}


@dataclass(frozen=True)
class FreezeNormals:
    """Published freeze dates of one station.

    `dates` gives month and day by half year, threshold [°F] and share of years; None where the
    publisher says there is no such date.
    """

    station: str
    name: str
    dates: dict[tuple[Half, int, float], tuple[int, int] | None]


def read_freeze_normals(path: str | Path) -> FreezeNormals:
    """The freeze dates in a file of annual and seasonal normals."""
    path = Path(path)
    faults = Faults(path.name)
    table = [row for row in rows(read_text(path), faults) if any(row)]
    if len(table) < 2 or "STATION" not in table[0]:
        faults.add("the file", "STATION", None, "a header with one row of normals below it")
        faults.raise_any()
    cells = dict(zip(table[0], table[1], strict=False))
    dates: dict[tuple[Half, int, float], tuple[int, int] | None] = {
        (_HALVES[match[1]], int(match[2]), int(match[3]) / 100): _month_day(faults, name, text)
        for name, text in cells.items()
        if (match := _COLUMN.fullmatch(name))
    }
    if not dates:
        faults.add("the header", "ANN-TMIN-PRBFST-T32FP50", None, "among the columns")
    faults.raise_any()
    return FreezeNormals(cells["STATION"], cells.get("NAME", ""), dates)


def _month_day(faults: Faults, name: str, text: str) -> tuple[int, int] | None:
    """Month and day of "09/23"; the publisher's codes for no date, such as -4444, give None."""
    if re.fullmatch(r"-\d{4}(\.0)?|", text):
        return None
    try:
        day = date.fromisoformat(f"2001-{text.replace('/', '-')}")
    except ValueError:
        faults.add("row 2", name, text, "a date such as 09/23")
        return None
    return day.month, day.day
