"""A station's daily record out of a GHCN-Daily file."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tierpole.sources.files import Faults, read_text, rows
from tierpole.sources.observations import Observation, Observations, parse
from tierpole.weather.record import Bools, DailyRecord, Days, Floats, Station

BESIDE = "stations.csv"
COLUMNS = ("station", "name", "latitude", "longitude", "elevation_m", "observed_in_morning")
_SAID = {"yes": True, "no": False, "": None}
NAMES = {"TMIN": "t_min", "TMAX": "t_max", "PRCP": "rain", "ADPT": "dew_point"}


def read_station(path: str | Path) -> DailyRecord:
    """The daily record in a GHCN-Daily file, quality-flagged values left out and counted.

    Where the station lies, and when its observer reads, is taken from the file, else from the
    row of that station in ``stations.csv`` beside it.
    """
    path = Path(path)
    faults = Faults(path.name)
    observations = parse(read_text(path), faults)
    faults.raise_any()
    _one_station(observations, faults)
    faults.raise_any()
    code = observations.rows[0].station
    listed = _listed(path, code)
    station = _station(path.name, code, observations.place or listed)
    said = listed.get("OBSERVED_IN_MORNING", "").lower()
    return _record(path.name, station, observations.rows, _SAID[said])


def _one_station(observations: Observations, faults: Faults) -> None:
    """The file holds temperatures and rain of one station, each once a day."""
    codes = sorted({row.station for row in observations.rows})
    if len(codes) > 1:
        faults.add("the file", "ID", ", ".join(codes[:5]), f"one station ({codes[0]})")
    present = {row.element for row in observations.rows}
    for element in ("TMAX", "TMIN", "PRCP"):
        if element not in present:
            faults.add("the file", element, None, "among the elements of a usable station")
    seen: dict[tuple[date, str], int] = {}
    for row in observations.rows:
        if seen.setdefault((row.day, row.element), row.value) != row.value:
            allowed = "the same value where a day is written twice"
            faults.add(f"{row.day}", row.element, row.value, allowed)


def _listed(path: Path, code: str) -> dict[str, str]:
    """The row of a station in the list beside its file, empty when there is none."""
    beside = path.with_name(BESIDE)
    if not beside.exists():
        return {}
    faults = Faults(BESIDE)
    table = list(rows(read_text(beside), faults))
    faults.raise_any()
    header = [cell.upper().removesuffix("_M") for cell in table[0]] if table else []
    found = (dict(zip(header, row, strict=False)) for row in table[1:])
    listed = next((row for row in found if row.get("STATION") == code), {})
    observed = listed.get("OBSERVED_IN_MORNING", "")
    if observed.lower() not in _SAID:
        allowed = "yes, no, or blank when nobody knows"
        faults.add(f'station "{code}"', "observed_in_morning", observed, allowed)
    faults.raise_any()
    return listed


def _station(file: str, code: str, place: dict[str, str]) -> Station:
    faults = Faults(file if not place else BESIDE if "STATION" in place else file)
    where = f'station "{code}"'
    if not place:
        allowed = f"in {BESIDE} beside the file, with the columns {','.join(COLUMNS)}"
        faults.add(where, "a row", None, allowed)
        faults.raise_any()
    station = Station(
        code=code,
        name=place.get("NAME") or code,
        latitude=faults.number(where, "latitude", place.get("LATITUDE"), -66, 66),
        longitude=faults.number(where, "longitude", place.get("LONGITUDE"), -180, 180),
        elevation=faults.number(where, "elevation_m", place.get("ELEVATION"), -430, 6000),
    )
    faults.raise_any()
    return station


def _record(
    file: str, station: Station, found: list[Observation], said: bool | None
) -> DailyRecord:
    wanted = [row for row in found if row.element in NAMES]
    good = [row for row in wanted if not row.q_flag]
    day = np.array([row.day for row in wanted], "datetime64[D]")
    dates = np.arange(day.min(), day.max() + 1)
    arrays = {name: _array(good, element, dates) for element, name in NAMES.items()}
    dew_point = arrays.pop("dew_point")
    flagged = len(wanted) - len(good)
    return DailyRecord(
        station=station,
        dates=dates,
        filled=np.zeros(len(dates), bool),
        dew_point=None if np.isnan(dew_point).all() else dew_point,
        observed_in_morning=_observed_in_morning(good, dates, said),
        flagged=flagged,
        provenance=f"{file}: GHCN-Daily rows of {station.code}",
        **arrays,
    )


def _array(good: list[Observation], element: str, dates: Days) -> Floats:
    of_element = [row for row in good if row.element == element]
    values = np.full(len(dates), np.nan)
    values[_index(of_element, dates)] = np.array([row.value for row in of_element]) / 10
    return values


def _index(found: list[Observation], dates: Days) -> NDArray[np.int64]:
    days = np.array([row.day for row in found], "datetime64[D]")
    return (days - dates[0]).astype(np.int64)


def _observed_in_morning(good: list[Observation], dates: Days, said: bool | None) -> Bools | None:
    """What the list says, else the hours at which the maximum was read, else None."""
    if said is not None:
        return np.full(len(dates), said)
    timed = [row for row in good if row.element == "TMAX" and row.time]
    if not timed:
        return None
    # 2400 is midnight; an hour not written is taken as the station's usual one
    is_morning = ["01" <= row.time.zfill(4)[:2] < "12" for row in timed]
    observed = np.full(len(dates), Counter(is_morning).most_common(1)[0][0])
    observed[_index(timed, dates)] = is_morning
    return observed
