"""The weather of a farm that begins: a station that comes with the package, or one handed in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

import numpy as np

from tierpole.errors import InputError, StoreError
from tierpole.farm.books import WeatherSource
from tierpole.office.entry.uploads import Upload
from tierpole.office.start.known import NEAREST, Known, nearest, stations
from tierpole.records import content_key, read_kept_station
from tierpole.scenario import located
from tierpole.weather import DailyRecord

BESIDE = "stations.csv"
PLACED = "with latitude, longitude and elevation in its rows, as GHCN-Daily's access files have"


@dataclass(frozen=True)
class HandedIn:
    """A station's weather as the books keep it: what it is called, its contents, its record."""

    source: WeatherSource
    contents: tuple[bytes, ...]
    record: DailyRecord


def kept_with(name: str) -> HandedIn:
    """A station that comes with the package, by its name; the first without one."""
    name = name if name in stations() else next(iter(stations()))
    path = located(name, Path())
    data, listed = path.read_bytes(), path.with_name(BESIDE).read_bytes()
    source = WeatherSource(
        station=name, file=path.name, station_content=content_key(data), listed=content_key(listed)
    )
    return HandedIn(source, (data, listed), stations()[name])


def handed_in(
    upload: Upload | None, values: Mapping[str, Any], known: Known
) -> tuple[HandedIn | None, str]:
    """The weather a form gives: a file, what the books have, or a station; else what is wrong."""
    if upload is not None:
        return _file(upload)
    name = nearest(values) if values["station"] == NEAREST else values["station"]
    if name in stations():
        return kept_with(name), ""
    for source in known.nouns("weather"):
        if source.station == name:
            return HandedIn(source, (), known.record), ""
    return None, "Choose a weather station out of the list."


def _file(upload: Upload) -> tuple[HandedIn | None, str]:
    name = re.sub(r"[^\w.-]+", "-", PurePath(upload.name.replace("\\", "/")).name)[-100:] or "file"
    try:
        record = read_kept_station(name, upload.data)
    except (InputError, StoreError) as error:
        faults = error.faults if isinstance(error, InputError) else (error,)
        if any("stations.csv" in str(fault) for fault in faults):
            return None, f"{name} must be a station's record {PLACED}."
        return None, f"{name} is no station's record that can be used: {faults[0]}"
    if not any(record.has_year(int(year)) for year in np.unique(record.year)):
        return None, f"{name} must hold whole seasons, April to December."
    source = WeatherSource(station=name, file=name, station_content=content_key(upload.data))
    return HandedIn(source, (upload.data,), record), ""
