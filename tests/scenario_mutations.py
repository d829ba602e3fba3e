"""Every way to spoil one field of a scenario that the kind of the field refuses."""

from __future__ import annotations

import copy
import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

import full_farm
from full_farm import Raw
from tierpole import units
from tierpole.farm.measure import Count, Day, Label, Measure, Ratio
from tierpole.scenario.faults import models_in
from tierpole.scenario.model import Scenario

Path = tuple[str | int, ...]
FARM = tomllib.loads(full_farm.TEXT)
MISSING = object()
ROW = 1  # the second row is spoilt where there is one
FAR = {Count: 10**30, Ratio: 1e30}


@dataclass(frozen=True)
class Spoilt:
    """One field spoilt: where, with what, and how the fault names it."""

    path: Path
    what: str
    value: Any
    place: str
    field: str

    @property
    def told(self) -> str:
        """How a message shows the value."""
        value = self.value
        if value is MISSING or (isinstance(value, Raw) and not value):
            return "it is missing"
        if isinstance(value, bool):
            return f"got {str(value).lower()}"
        if isinstance(value, date):
            return f"got {value.isoformat()}"
        if isinstance(value, list):
            return "got a list of"
        if isinstance(value, dict):
            return "got a table of"
        return f"got {value}" if isinstance(value, Raw) else f"got {value!r}"[:55]

    def __str__(self) -> str:
        return f"{'.'.join(map(str, self.path))} {self.what}"


def spoil(*slips: Spoilt) -> dict[str, Any]:
    """The farm's tables with these fields spoilt."""
    tables = copy.deepcopy(FARM)
    for slip in slips:
        *way, last = slip.path
        inner: Any = tables
        for part in way:
            inner = inner[part]
        if slip.value is MISSING:
            del inner[last]
        else:
            inner[last] = slip.value
    return tables


def every_field() -> Iterator[tuple[Path, Any, type]]:
    """The path of each field once, with its description and its noun."""
    for name, info in Scenario.model_fields.items():
        models = list(models_in(info.annotation))
        if not models:
            yield (name,), info, Scenario
        for model in models:
            way: Path = (name, *_row(FARM[name]))
            for key, inner in model.model_fields.items():
                yield (*way, key), inner, model
                for deeper in models_in(inner.annotation):
                    for last, leaf in deeper.model_fields.items():
                        yield (*way, key, ROW, last), leaf, deeper


def _row(rows: Any) -> tuple[int, ...]:
    return (min(ROW, len(rows) - 1),) if isinstance(rows, list) else ()


def slips_of(path: Path, info: Any) -> Iterator[Spoilt]:
    """Every slip of one field."""
    if info.is_required():
        yield _slip(path, "missing", MISSING)
    yield _slip(path, "nothing after =", Raw(""))
    yield _slip(path, "table", {"a": 1})
    for what, value in _wrong(info):
        yield _slip(path, what, value)


def _slip(path: Path, what: str, value: Any) -> Spoilt:
    place, *rest = _places(path)
    return Spoilt(path, what, value, place, "".join(rest))


def _places(path: Path) -> tuple[str, str]:
    """Where the fault must say it is, worked out from the farm itself."""
    if len(path) == 1:
        return "scenario", str(path[0])
    if len(path) == 2:
        return str(path[0]), str(path[1])
    if len(path) == 4:  # a row of a list inside a table
        return f"{path[0]}.{path[1]}[{int(path[2]) + 1}]", str(path[3])
    table, number, key = path
    row = FARM[table][number]
    label = row.get("name", row.get("lot"))
    is_own = key == ("name" if "name" in row else "lot")
    name = "" if label is None or is_own else f' "{label}"'
    return f"{table}[{int(number) + 1}]{name}", str(key)


def _wrong(info: Any) -> Iterator[tuple[str, Any]]:
    kind = _kind(info)
    if isinstance(kind, Measure):
        yield from _wrong_quantities(kind)
    elif isinstance(kind, Count | Ratio):
        yield from _wrong_numbers(kind)
    elif isinstance(kind, Day):
        yield from _wrong_days()
    elif isinstance(kind, Label):
        yield from _wrong_labels(kind)
    elif kind is bool:
        yield from [("word", "maybe"), ("number", 5), ("list", []), ("capital", Raw("True"))]
        yield from [("bare word", Raw("yes")), ("date", date(2026, 9, 1))]
    elif isinstance(kind, type) and issubclass(kind, StrEnum):
        yield from [("wrong word", "nonsense"), ("number", 5), ("truth", True), ("empty", "")]
        yield from [("capitals", next(iter(kind)).value.upper()), ("list", [])]
        yield "bare word", Raw(next(iter(kind)).value)
    else:
        yield from [("text", "mon"), ("number", 5), ("truth", True)]


def _kind(info: Any) -> Any:
    marks = [m for m in info.metadata if hasattr(m, "allowed")]
    for inner in getattr(info.annotation, "__args__", ()):
        if getattr(info.annotation, "__origin__", None) is not tuple:
            marks += [m for m in getattr(inner, "__metadata__", ()) if hasattr(m, "allowed")]
    return marks[0] if marks else info.annotation


def _wrong_quantities(kind: Measure) -> Iterator[tuple[str, Any]]:
    unit = units.KINDS[kind.kind].units[0].names[0]
    high = units.read_quantity(kind.high, kind.kind)
    yield from [("no unit", "5"), ("wrong unit", "5 furlong"), ("no number", f"some {unit}")]
    yield from [("huge", f"1e30 {unit}"), ("too long for a float", f"1e999 {unit}")]
    yield from [("far below", f"-1e9 {unit}"), ("nan text", f"nan {unit}"), ("empty", "")]
    yield from [("bare number", 5), ("bare float", 2.5), ("nan", math.nan), ("inf", math.inf)]
    yield from [("endless", 10**400), ("truth", True), ("list", []), ("date", date(2026, 9, 1))]
    yield "above", units.write_quantity(high * 1.01 + 1e-6, kind.kind)
    yield "not in quotes", Raw(kind.high)
    yield from [("comma for point", f"0,5 {unit}"), ("commas astray", f"12,34 {unit}")]
    yield "fraction over zero", f"1/0 {unit}"


def _wrong_numbers(kind: Count | Ratio) -> Iterator[tuple[str, Any]]:
    yield from [("below", kind.low - 1), ("above", kind.high + 1), ("huge", FAR[type(kind)])]
    yield from [("text", "12"), ("word", "many"), ("nan", math.nan), ("inf", -math.inf)]
    yield from [("truth", True), ("list", [1]), ("date", date(2026, 9, 1)), ("empty", "")]
    yield from [("bare word", Raw("many")), ("a fraction", Raw("1/2")), ("grouped", Raw("1,200"))]
    if isinstance(kind, Count):
        yield "part of one", 12.5


def _wrong_days() -> Iterator[tuple[str, Any]]:
    yield from [("impossible", Raw("2026-02-30")), ("impossible text", "2026-02-30")]
    yield from [("no leap day", Raw("2026-02-29")), ("month 13", Raw("2026-13-01"))]
    yield from [("in words", "14 Sep"), ("bare words", Raw("14 Sep 2026"))]
    yield from [("number", 20260914), ("with an hour", datetime(2026, 9, 14, 6, 0))]  # noqa: DTZ001
    yield from [("too early", date(1980, 1, 1)), ("too late", date(2200, 1, 1))]
    yield from [("truth", True), ("empty", ""), ("list", []), ("slashes", Raw("9/14/2026"))]


def _wrong_labels(kind: Label) -> Iterator[tuple[str, Any]]:
    yield from [("number", 5), ("truth", True), ("list", []), ("date", date(2026, 9, 1))]
    yield from [("too long", "x" * (kind.longest + 1)), ("two lines", "two\nlines")]
    yield "bare words", Raw("Home barn")
    if not kind.empty:
        yield from [("empty", ""), ("blank", "   ")]
