"""A small farm that writes every field of a scenario, to be spoilt and to be planned.

Its station is the last twelve years of the record that comes with the package.
"""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import weather_data
from tierpole.potency import PotencyPrior
from tierpole.potency.learn import Learnt
from tierpole.sources import learnt_text

TEXT = (Path(__file__).parent / "data" / "scenario" / "full.toml").read_text(encoding="utf-8")
FIRST_YEAR = "1992"
FORECAST = """issued,date,t_min_f,t_max_f,rain_in
2026-09-09T18:00,2026-09-10,55,78,0.0
2026-09-09T18:00,2026-09-11,57,80,0.1
"""
COA = """lot,laboratory,kind,sampled_on,reported_on,plants,unit,basis,moisture,total_cbd,total_thc
2 Bank,Own,pre-test,2026-09-03,2026-09-07,5,mg/g,as received,10,18.9,<0.45
"""


LOGGER = """time,temperature_f,humidity_pct
2026-09-01T07:00,59.1,90
2026-09-01T08:00,,
2026-09-01T09:00,63.0,82
"""


def write_farm(folder: Path, text: str = TEXT) -> Path:
    """The farm's file, station and forecast in a folder."""
    lines = gzip.decompress(weather_data.DEMO.read_bytes()).decode().splitlines(keepends=True)
    recent = [line for line in lines if line.split(",")[1] >= FIRST_YEAR]
    (folder / "station.csv").write_text("".join(recent), encoding="utf-8")
    beside = weather_data.DEMO.with_name("stations.csv").read_text(encoding="utf-8")
    (folder / "stations.csv").write_text(beside, encoding="utf-8")
    (folder / "coa.csv").write_text(COA, encoding="utf-8")
    prior = PotencyPrior(cbd_plateau=0.098, cbd_to_thc=25.5)
    learnt = learnt_text(Learnt("Late", prior, (2025,), tests=6))
    (folder / "late.toml").write_text(learnt, encoding="utf-8")
    (folder / "forecast.csv").write_text(FORECAST, encoding="utf-8")
    (folder / "logger.csv").write_text(LOGGER, encoding="utf-8")
    return write_scenario(folder, text)


def write_scenario(folder: Path, text: str) -> Path:
    """Only the scenario file."""
    path = folder / "farm.toml"
    path.write_text(text, encoding="utf-8")
    return path


def edited(*edits: tuple[str, str], text: str = TEXT) -> str:
    """The farm's text with pieces replaced, each of which must be there; first one only."""
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


class Raw(str):
    """A value to be written as it stands, TOML or not."""


def toml(tables: dict[str, Any]) -> str:
    """Tables as TOML text."""
    top = {key: value for key, value in tables.items() if not _is_table(value)}
    return "\n".join([*_pairs(top), *_headed(tables)]) + "\n"


def _is_table(value: Any) -> bool:
    rows = value if isinstance(value, list) else [value]
    return bool(rows) and all(isinstance(row, dict) for row in rows)


def _headed(tables: dict[str, Any]) -> Iterator[str]:
    for name, value in tables.items():
        if not _is_table(value):
            continue
        heading = f"[[{name}]]" if isinstance(value, list) else f"[{name}]"
        for row in value if isinstance(value, list) else [value]:
            yield heading
            yield from _pairs(row)


def _pairs(table: dict[str, Any]) -> Iterator[str]:
    yield from (f"{key} = {_value(value)}" for key, value in table.items())


def _value(value: Any) -> str:
    if isinstance(value, Raw | bool):
        return str(value).lower() if isinstance(value, bool) else str(value)
    if isinstance(value, str):
        return '"' + re.sub(r'["\\\n]', lambda sign: f"\\u{ord(sign[0]):04x}", value) + '"'
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(_pairs(value))}}}"
    return repr(value)
