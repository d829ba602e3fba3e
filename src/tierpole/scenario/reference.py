"""Every table and field of a scenario in words: what it means, what it may be, what it is else.

Meanings stand in ``fields.toml``, limits and defaults in the models. The documents list them all;
`assumed` finds those that a farmer did not write.
"""

from __future__ import annotations

import tomllib
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from tierpole.farm.measure import Measure
from tierpole.rulebook import jurisdictions
from tierpole.scenario.faults import allowed_at, models_in
from tierpole.scenario.model import Scenario
from tierpole.season import Season
from tierpole.units import System, write_quantity

TOP = "scenario"


@dataclass(frozen=True)
class Entry:
    """A field of a table; `left_out` is what stands in for it when it is not written."""

    table: str
    field: str
    means: str
    allowed: str
    is_required: bool
    default: str
    left_out: str


@dataclass(frozen=True)
class TableEntry:
    """A table with its fields; `heading` is how it stands in a file."""

    name: str
    heading: str
    means: str
    is_required: bool
    entries: tuple[Entry, ...]


@dataclass(frozen=True)
class Assumed:
    """Something a file leaves out, and what is taken; `rows` are empty when all of them do."""

    table: str
    rows: tuple[str, ...]
    field: str
    taken: str


def tables(system: System = "us") -> Iterator[TableEntry]:
    """Every table of a scenario in the order of the models, lists inside one after it."""
    top = {name: info for name, info in Scenario.model_fields.items() if not _models(info)}
    entries = tuple(_entry((name,), TOP, info, system) for name, info in top.items())
    yield TableEntry(TOP, "", _said(TOP, ""), True, entries)
    for name, info in Scenario.model_fields.items():
        for model in _models(info):
            heading = f"[[{name}]]" if typing.get_origin(info.annotation) is tuple else f"[{name}]"
            yield _table((name,), name, heading, info, model, system)
            for key, inner in model.model_fields.items():
                for row in _models(inner):
                    where = f"{name}.{key}"
                    yield _table((name, key), where, f"`{key}` in [{name}]", inner, row, system)


def assumed(season: Season, system: System = "us") -> Iterator[Assumed]:
    """What a season's file does not say and the model therefore takes, field by field."""
    for table in tables(system):
        found = getattr(season, table.name, None)
        rows = list(found) if isinstance(found, tuple) else [found]
        nouns = [row for row in rows if isinstance(row, BaseModel)]
        for entry in table.entries:
            silent = [noun for noun in nouns if _is_silent(noun, table.name, entry.field)]
            if silent and entry.left_out:
                some = silent if len(silent) < len(nouns) else []
                names = tuple(_name(noun) for noun in some)
                yield Assumed(table.name, names, entry.field, entry.left_out)


def _is_silent(noun: BaseModel, table: str, field: str) -> bool:
    """Whether a row does not say what it might."""
    only_if = _texts()["only_if"].get(table, {}).get(field, {})
    applies = all(getattr(noun, key) == value for key, value in only_if.items())
    return applies and field not in noun.model_fields_set


def _name(noun: Any) -> str:
    return str(getattr(noun, "name", getattr(noun, "lot", "")))


def _models(info: FieldInfo) -> list[type[BaseModel]]:
    return list(models_in(info.annotation))


def _table(
    path: tuple[str, ...],
    name: str,
    heading: str,
    info: FieldInfo,
    model: type[BaseModel],
    system: System,
) -> TableEntry:
    entries = (
        _entry((*path, key), name, inner, system) for key, inner in model.model_fields.items()
    )
    return TableEntry(name, heading, _said(name, ""), info.is_required(), tuple(entries))


def _entry(path: tuple[str, ...], table: str, info: FieldInfo, system: System) -> Entry:
    field, required = path[-1], info.is_required()
    default = "" if required or info.default is None else _written(info, system)
    left_out = _texts()["left_out"].get(table, {}).get(field, default)
    means, allowed = _said(table, field), allowed_at(path, Scenario)
    if path == ("farm", "jurisdiction"):
        allowed = f"one of {', '.join(jurisdictions())}"
    return Entry(table, field, means, allowed, required, default, left_out)


def _written(info: FieldInfo, system: System) -> str:
    """A default as it would be written; nothing for one that says nothing."""
    default = info.default
    measure = next((part for part in _parts(info) if isinstance(part, Measure)), None)
    if measure is not None:
        return write_quantity(default, measure.kind, system)
    if isinstance(default, bool):
        return "true" if default else "false"
    if isinstance(default, tuple):
        return ", ".join(str(item) for item in default)
    return f"{default:g}" if isinstance(default, float) else str(default)


def kinds() -> set[str]:
    """The kinds of quantity that a scenario holds."""
    fields = (field for info in Scenario.model_fields.values() for field in _inside(info))
    return {part.kind for field in fields for part in _parts(field) if isinstance(part, Measure)}


def _inside(info: FieldInfo) -> Iterator[FieldInfo]:
    yield info
    for model in _models(info):
        for inner in model.model_fields.values():
            yield from _inside(inner)


def _parts(info: FieldInfo) -> Iterator[Any]:
    yield from info.metadata
    for inner in typing.get_args(info.annotation):
        yield from getattr(inner, "__metadata__", ())


def _said(table: str, field: str) -> str:
    return _texts()[table][field]


@cache
def _texts() -> dict[str, dict[str, Any]]:
    text = (resources.files("tierpole.scenario") / "fields.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
