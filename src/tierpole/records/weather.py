"""A season's weather, and what was learnt before it, out of files kept in the books."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial
from pathlib import Path, PurePath
from typing import Any

from sqlalchemy.engine import Connection

from tierpole.errors import Fault, InputError, StoreError
from tierpole.farm.books import LearntFile, WeatherSource
from tierpole.potency.learn import Learnt
from tierpole.records.contents import get, put
from tierpole.records.store import Store
from tierpole.sources import read_forecast, read_learnt, read_station
from tierpole.sources.stations import BESIDE
from tierpole.weather import DailyRecord, Forecast


@dataclass(frozen=True)
class WeatherFiles:
    """The files of a season's weather: their paths, and what a scenario calls them."""

    station: Path
    called: str
    forecast: Path | None = None
    forecast_called: str | None = None
    stand_in_year: int | None = None


def keep_weather(connection: Connection, files: WeatherFiles) -> WeatherSource:
    """Put the files of a season's weather into the books."""
    paths = {
        "station_content": files.station,
        "listed": files.station.with_name(BESIDE),
        "forecast_content": files.forecast,
    }
    there = {key: path for key, path in paths.items() if path is not None}
    contents = {key: _bytes(path) for key, path in there.items() if path.exists()}
    hashes = dict(zip(contents, put(connection, contents.values()), strict=True))
    said = {"forecast": files.forecast_called, "stand_in_year": files.stand_in_year, **hashes}
    known: dict[str, Any] = {key: value for key, value in said.items() if value is not None}
    return WeatherSource(station=files.called, file=files.station.name, **known)


def weather_of(connection: Connection, source: WeatherSource, year: int) -> dict[str, Any]:
    """What a season knows of its weather: other years, its own days, the forecast."""
    record, forecast = _read(source, partial(get, connection))
    taken = source.stand_in_year or year
    own = record.only_year(taken)
    return {
        "past_weather": record.without_year(taken),
        "this_weather": own.redated(year) if source.stand_in_year else own,
        "forecast": forecast,
        "stand_in_year": source.stand_in_year,
    }


def check_weather(store: Store, source: WeatherSource, fresh: Mapping[str, bytes]) -> None:
    """Read the files a season's weather names; raises `InputError` with what is wrong in them.

    `fresh` are contents that are not in the books yet, by their hash.
    """
    with store.reading() as connection:
        try:
            _read(source, lambda key: fresh.get(key) or get(connection, key))
        except StoreError as error:
            fault = Fault("the file", "", str(error), "text, plain or gzipped")
            raise InputError(source.file, [fault]) from None


def _read(
    source: WeatherSource, content: Callable[[str], bytes]
) -> tuple[DailyRecord, Forecast | None]:
    """A station's record, and a forecast if one is named."""
    listed = content(source.listed) if source.listed else None
    record = read_kept_station(source.file, content(source.station_content), listed)
    if not (source.forecast and source.forecast_content):
        return record, None
    name = PurePath(source.forecast).name
    return record, _forecast(name, content(source.forecast_content))


def keep_learnt(connection: Connection, paths: Iterable[Path], on: date) -> list[LearntFile]:
    """Put the files of what earlier seasons taught into the books, as known on a day."""
    given = [(path.name, _bytes(path)) for path in paths]
    keys = put(connection, [data for _, data in given])
    return [
        LearntFile(added_on=on, name=name, content=key)
        for (name, _), key in zip(given, keys, strict=True)
    ]


def learnt_of(connection: Connection, file: LearntFile) -> Learnt:
    """What a kept file teaches."""
    return _learnt(file.name, get(connection, file.content))


@lru_cache(maxsize=16)
def _learnt(name: str, content: bytes) -> Learnt:
    with tempfile.TemporaryDirectory(prefix="tierpole-") as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        return read_learnt(path)


@lru_cache(maxsize=4)
def read_kept_station(name: str, content: bytes, listed: bytes | None = None) -> DailyRecord:
    """A station's record out of the bytes of its file, and of the list of stations beside it."""
    with tempfile.TemporaryDirectory(prefix="tierpole-") as folder:
        if listed is not None:
            (Path(folder) / BESIDE).write_bytes(listed)
        path = Path(folder) / name
        path.write_bytes(content)
        return read_station(path)


@lru_cache(maxsize=4)
def _forecast(name: str, content: bytes) -> Forecast:
    with tempfile.TemporaryDirectory(prefix="tierpole-") as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        return read_forecast(path)


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror}).") from None
