"""A season of the books as a scenario: one TOML text, and the weather files beside it."""

from __future__ import annotations

import json
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from importlib import resources
from pathlib import Path, PurePath
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from sqlalchemy.engine import Connection

from tierpole.errors import StoreError
from tierpole.farm import Noun
from tierpole.farm.books import WeatherSource
from tierpole.farm.measure import Measure
from tierpole.records.chain import sha256
from tierpole.records.contents import get
from tierpole.records.kinds import IN_SEASON
from tierpole.records.reading import known
from tierpole.records.season import ALWAYS, read_season, whole_season
from tierpole.records.store import Store
from tierpole.sources.stations import BESIDE
from tierpole.units import System, write_quantity

BUILT_IN = "built-in:"


@dataclass(frozen=True)
class Exported:
    """A scenario: its text, and the files it names, which belong beside it."""

    toml: str
    files: dict[str, bytes]

    def write(self, path: Path) -> None:
        """Write the scenario to a path, and its files beside it."""
        try:
            for name, data in self.files.items():
                (path.parent / name).write_bytes(data)
            path.write_text(self.toml, encoding="utf-8")
        except OSError as error:
            raise StoreError(f"{path}: could not be written ({error.strerror}).") from None


def export_scenario(store: Store, year: int | None = None, system: System = "us") -> Exported:
    """A season as a scenario that, read again, is the same season."""
    seen = read_season(store, year=year)
    with store.reading() as connection:
        whole = whole_season(connection, seen.year, seen.on)
        sources = known(connection, ["weather"], ALWAYS, None)
        source: Any = next(one.noun for one in sources if one.season == seen.year)
        files, named = _files(connection, source)
        learnt = known(connection, ["learnt"], ALWAYS, None)
        taught: list[Any] = [one.noun for one in learnt if one.season == seen.year]
        files |= {one.name: get(connection, one.content) for one in taught}
    lines = [f"season = {whole.year}", f"on = {whole.on}"]
    for kind in IN_SEASON:
        rows = getattr(whole, kind.table)
        heading = f"[{kind.table}]" if kind.is_single else f"[[{kind.table}]]"
        for noun in (rows,) if kind.is_single else rows:
            if noun.model_fields_set:
                lines += ["", heading, *_lines(noun, system)]
        if kind.name == "farm":
            lines += ["", "[weather]", *(f"{key} = {_plain(said)}" for key, said in named.items())]
            names = [one.name for one in taught]
            lines += ["", "[files]", f"learnt = {json.dumps(names)}"] * bool(names)
    return Exported("\n".join(lines) + "\n", files)


def _files(
    connection: Connection, source: WeatherSource
) -> tuple[dict[str, bytes], dict[str, Any]]:
    """The weather files that must stand beside a scenario, and its table that names them."""
    files: dict[str, bytes] = {}
    named: dict[str, Any] = {"station": source.station}
    if not _comes_with_us(source):
        named["station"] = source.file
        files[source.file] = get(connection, source.station_content)
        if source.listed:
            files[BESIDE] = get(connection, source.listed)
    if source.forecast and source.forecast_content:
        named["forecast"] = PurePath(source.forecast).name
        files[named["forecast"]] = get(connection, source.forecast_content)
    if source.stand_in_year:
        named["stand_in_year"] = source.stand_in_year
    return files, named


def _comes_with_us(source: WeatherSource) -> bool:
    """Whether the record is one of the package's, and unchanged there."""
    if not source.station.startswith(BUILT_IN):
        return False
    file = resources.files("tierpole") / "data" / "weather" / source.file
    return file.is_file() and sha256(file.read_bytes()) == source.station_content


def _lines(noun: Noun, system: System) -> Iterator[str]:
    """What a noun says, a line each; what it leaves open is left out."""
    for name, info in type(noun).model_fields.items():
        value = getattr(noun, name)
        if name in noun.model_fields_set and value is not None:
            yield f"{name} = {_written(value, measure_of(info), system)}"


def measure_of(info: FieldInfo) -> Measure | None:
    """The measure a field's numbers are of."""
    inner = [part for one in typing.get_args(info.annotation) for part in typing.get_args(one)]
    found = (part for part in (*info.metadata, *inner) if isinstance(part, Measure))
    return next(found, None)


def _written(value: Any, measure: Measure | None, system: System) -> str:
    if measure is not None:
        return _plain(write_quantity(value, measure.kind, system))
    if isinstance(value, BaseModel):
        return "{ " + ", ".join(_lines(typing.cast("Noun", value), system)) + " }"
    if isinstance(value, tuple):
        return "[" + ", ".join(_written(one, None, system) for one in value) + "]"
    return _plain(value)


def _plain(value: Any) -> str:
    """A text, date, number or truth in TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, StrEnum):
        value = value.value
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)
