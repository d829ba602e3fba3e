"""What of a faulty file can still be used, so that every problem in it is told at once."""

from __future__ import annotations

import typing
from collections.abc import Iterable
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


def salvage(written: dict[str, Any], unsound: Unsound) -> Scenario:
    """A scenario with every table and row that is sound, and as little as can be for the others."""
    tables = {table: _table(table, written, unsound) for table in Scenario.model_fields}
    return Scenario.model_construct(**tables)


def _table(table: str, written: dict[str, Any], unsound: Unsound) -> Any:
    info, is_sound = Scenario.model_fields[table], (table, WHOLE) not in unsound
    if is_sound and table in written and not _is_list(table):
        kind: Any = Annotated[info.annotation, *info.metadata] if info.metadata else info.annotation
        return TypeAdapter(kind).validate_python(written[table], context={"written": True})
    if _is_list(table):
        model = next(models_in(info.annotation))
        rows = written.get(table, ()) if is_sound else ()
        return tuple(_row(row, model, (table, n) not in unsound) for n, row in enumerate(rows))
    return None if info.is_required() else info.default


def _row(row: Any, model: type[BaseModel], is_sound: bool) -> BaseModel:
    """A row, or what names stand in it when it is not sound."""
    if is_sound:
        return model.model_validate(row, context={"written": True})
    texts = row.items() if isinstance(row, dict) else ()
    named: dict[str, Any] = {key: text.strip() for key, text in texts if isinstance(text, str)}
    return model.model_construct(**named)
