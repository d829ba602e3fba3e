"""From a validation error to faults that name table, row, field, value and what is allowed."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Iterator
from enum import StrEnum
from typing import Any

from pydantic import BaseModel, ValidationError

from tierpole.errors import Fault


def faults_of(
    error: ValidationError, model: type[BaseModel], written: dict[str, Any]
) -> list[Fault]:
    """Every fault of a validation error, in the words of the file that was `written`."""
    return [_fault(item, model, written) for item in error.errors(include_url=False)]


def _fault(item: Any, model: type[BaseModel], written: dict[str, Any]) -> Fault:
    path = [part for part in item["loc"] if not (isinstance(part, str) and "[" in part)]
    place, field = _place(path, written)
    owner = _owner(model, path)
    if item["type"] == "extra_forbidden":
        return Fault(place, field, item["input"], f"a known key ({_nearest(field, owner)})")
    value = None if item["type"] == "missing" else item["input"]
    if item["type"] == "not_allowed":
        return Fault(place, field, value, item["ctx"]["allowed"])
    return Fault(place, field, value, allowed_in(owner, field) or item["msg"].lower())


def _place(path: list[Any], written: dict[str, Any]) -> tuple[str, str]:
    """Where the fault is: the table with row and name, and the key inside it."""
    if len(path) == 1:
        return ("scenario", str(path[0]))
    table, rest = str(path[0]), path[1:]
    if isinstance(rest[0], int):
        row = written[table][rest[0]] if isinstance(written.get(table), list) else {}
        label = row.get("name", row.get("lot", "")) if isinstance(row, dict) else ""
        place = f"{table}[{rest[0] + 1}]" + (
            f' "{label}"' if isinstance(label, str) and label else ""
        )
        rest = rest[1:]
    else:
        place = table
    return place, ".".join(_key(part) for part in rest)


def _key(part: Any) -> str:
    return str(part + 1) if isinstance(part, int) else str(part)


def _owner(model: type[BaseModel], path: list[Any]) -> type[BaseModel]:
    """The model whose field the path ends in."""
    for part in path[:-1]:
        if isinstance(part, int) or part not in model.model_fields:
            continue
        inner = next(_models(model.model_fields[part].annotation), None)
        if inner is None:
            break
        model = inner
    return model


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from _models(inner)


def allowed_in(model: type[BaseModel], field: str) -> str:
    """What a field of a model accepts, in words; empty when it says nothing itself."""
    name = field.rsplit(".", maxsplit=1)[-1]
    info = model.model_fields.get(name) or model.model_fields.get(field.split(".", maxsplit=1)[0])
    if info is None:
        return ""
    return next(_allowed([*info.metadata, info.annotation]), "")


def _allowed(parts: list[Any]) -> Iterator[str]:
    for part in parts:
        if isinstance(part, type) and issubclass(part, StrEnum):
            yield "one of " + ", ".join(f'"{member.value}"' for member in part)
        elif isinstance(part, type) and issubclass(part, BaseModel):
            yield "a table of its own keys"
        elif part is bool:
            yield "true or false"
        elif not isinstance(part, type) and isinstance(getattr(part, "allowed", None), str):
            yield part.allowed
        else:
            inner = [*typing.get_args(part), *getattr(part, "__metadata__", ())]
            found = list(_allowed(inner))
            if found and typing.get_origin(part) is tuple:
                yield f"a list, each {found[0]}"
            elif found:
                yield found[0]


def _nearest(field: str, owner: type[BaseModel]) -> str:
    known = list(owner.model_fields)
    near = difflib.get_close_matches(field.rsplit(".", maxsplit=1)[-1], known, n=1)
    return f"did you mean {near[0]}?" if near else ", ".join(known)
