"""What of a faulty file can still be used, so that every problem in it is told at once."""

from __future__ import annotations

import typing
from collections.abc import Collection, Iterable
from functools import cache
from typing import Annotated, Any

from pydantic import BaseModel, TypeAdapter

from tierpole.scenario.faults import Path, models_in
from tierpole.scenario.model import Scenario
from tierpole.season.draft import WHOLE

Unsound = frozenset[tuple[str, int]]


def unsound_in(paths: Iterable[Path]) -> Unsound:
    """The tables and rows that faults at these paths spoil."""
    return frozenset(_spoilt(path) for path in paths)


def _spoilt(path: Path) -> tuple[str, int]:
    table, row = str(path[0]), next(iter(path[1:]), None)
    return table, row if isinstance(row, int) and _is_list(table) else WHOLE


def _is_list(table: str) -> bool:
    info = Scenario.model_fields.get(table)
    return info is not None and typing.get_origin(info.annotation) is tuple


def salvage(written: dict[str, Any], paths: Collection[Path]) -> Scenario:
    """A scenario with every table and row that is sound, and as little as can be for the others."""
    unsound = unsound_in(paths)
    tables: dict[str, Any] = {}
    for table in Scenario.model_fields:
        is_sound = (table, WHOLE) not in unsound
        if _is_list(table):
            rows = written.get(table, ()) if is_sound else ()
            tables[table] = tuple(_row(table, n, row, paths) for n, row in enumerate(rows))
        else:
            tables[table] = _table(table, written if is_sound else {})
    return Scenario.model_construct(**tables)


def _table(table: str, written: dict[str, Any]) -> Any:
    info = Scenario.model_fields[table]
    if table not in written:
        return None if info.is_required() else info.default
    return _adapter(table).validate_python(written[table], context={"written": True})


@cache
def _adapter(table: str) -> TypeAdapter[Any]:
    info = Scenario.model_fields[table]
    kind: Any = Annotated[info.annotation, *info.metadata] if info.metadata else info.annotation
    return TypeAdapter(kind)


def _row(table: str, number: int, row: Any, paths: Collection[Path]) -> BaseModel:
    """A row, or what names stand in it when it is not sound."""
    model = next(models_in(Scenario.model_fields[table].annotation))
    wrong = {path[2:3] for path in paths if path[:2] == (table, number)}
    if not wrong:
        return model.model_validate(row, context={"written": True})
    texts = row.items() if isinstance(row, dict) else ()
    named: dict[str, Any] = {
        key: text.strip() for key, text in texts if isinstance(text, str) and (key,) not in wrong
    }
    return model.model_construct(**named)
