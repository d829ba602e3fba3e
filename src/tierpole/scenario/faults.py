"""From a validation error to faults that name table, row, field, value and what is allowed."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from pydantic import BaseModel, ValidationError

from tierpole.errors import Fault
from tierpole.scenario.toml import Unread, unread_in
from tierpole.season.draft import place as place_of_row

Path = tuple[str | int, ...]
LONGEST = 60  # characters of a name that is still one


@dataclass(frozen=True)
class Found:
    """What is wrong in a file: faults to tell, and the paths of everything that cannot be used."""

    faults: tuple[Fault, ...]
    paths: tuple[Path, ...]


def faults_of(
    error: ValidationError | None, model: type[BaseModel], written: dict[str, Any]
) -> Found:
    """Every fault of a validation error, in the words of what was `written`.

    A value that TOML could not read is a fault even where its text would do. A key that is
    missing because it is misspelt is told once.
    """
    items = error.errors(include_url=False) if error else []
    found = {item["loc"]: _fault(item, model, written) for item in items}
    for path in unread_in(written):
        found.setdefault(path, _unquoted(path, model, written))
    unknown = [item["loc"] for item in items if item["type"] == "extra_forbidden"]
    misspelt = {(*path[:-1], _nearest(path, model)) for path in unknown}
    told = (
        fault for path, fault in found.items() if fault.value is not None or path not in misspelt
    )
    return Found(tuple(told), tuple(found))


def _fault(item: Any, model: type[BaseModel], written: dict[str, Any]) -> Fault:
    path, kind = item["loc"], item["type"]
    where, field = place(path, written)
    if kind == "extra_forbidden":
        allowed = "left out, for no key here has that name"
        return Fault(where, field, item["input"], allowed, _meant(path, model))
    value = None if kind == "missing" else _found(item["input"])
    if kind == "not_allowed" and value is not None:
        return Fault(where, field, value, item["ctx"]["allowed"])
    return Fault(where, field, value, allowed_at(path, model) or item["msg"].lower())


def _unquoted(path: Path, model: type[BaseModel], written: dict[str, Any]) -> Fault:
    """A value that would do, were it in quotes."""
    where, field = place(path, written)
    value = _found(_at(written, path))
    is_text = value is not None and not _is_bool(path, model)
    cure = f'Put it in quotes: "{value}".' if is_text else ""
    return Fault(where, field, value, allowed_at(path, model), cure)


def _found(value: Any) -> Any:
    """What was found; nothing after the equals sign is nothing found."""
    return None if isinstance(value, Unread) and not value else value


def place(path: Path, written: dict[str, Any]) -> tuple[str, str]:
    """Where a fault is: the table with row and name, and the key inside it."""
    if len(path) == 1:
        return ("scenario", str(path[0]))
    table, rest = str(path[0]), path[1:]
    where = table
    if isinstance(rest[0], int):
        where = place_of_row(table, rest[0], _name(written, path[:3]))
        rest = rest[1:]
    if len(rest) > 2 and isinstance(rest[1], int):  # a row of a list inside a table
        where, rest = place_of_row(f"{where}.{rest[0]}", rest[1]), rest[2:]
    return where, "".join(_key(part) for part in rest)


def _name(written: dict[str, Any], path: Path) -> str:
    """What a row is called, unless just that is at fault."""
    row = _at(written, path[:2])
    key = "name" if isinstance(row, dict) and "name" in row else "lot"
    found = row.get(key, "") if isinstance(row, dict) and path[2:] != (key,) else ""
    is_name = isinstance(found, str) and found.isprintable()
    return found if is_name and len(found) <= LONGEST else ""


def _at(written: Any, path: Path) -> Any:
    for part in path:
        try:
            written = written[part]
        except (KeyError, IndexError, TypeError):
            return None
    return written


def _key(part: str | int) -> str:
    return f"[{part + 1}]" if isinstance(part, int) else part


def _owner(model: type[BaseModel], path: Path) -> type[BaseModel]:
    """The model whose field the path ends in."""
    for part in path[:-1]:
        if isinstance(part, int) or part not in model.model_fields:
            continue
        inner = next(models_in(model.model_fields[part].annotation), None)
        if inner is None:
            break
        model = inner
    return model


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    """The models an annotation holds."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from models_in(inner)


def allowed_at(path: Path, model: type[BaseModel]) -> str:
    """What the field at the end of a path accepts, in words; empty when it says nothing itself."""
    is_item = isinstance(path[-1], int)  # one of a list
    names = [part for part in path if isinstance(part, str)]
    info = _owner(model, path[:-1] if is_item else path).model_fields.get(names[-1])
    if info is None:
        return ""
    if is_item:
        return next(_allowed(list(typing.get_args(info.annotation))), "")
    if any(models_in(info.annotation)):
        is_list = typing.get_origin(info.annotation) is tuple
        if len(path) == 1:
            name = f"[[{path[0]}]]" if is_list else f"[{path[0]}]"
            return f"tables headed {name}, one for each" if is_list else f"one table headed {name}"
        return "a list of tables" if is_list else "a table"
    return next(_allowed([*info.metadata, info.annotation]), "")


def _is_bool(path: Path, model: type[BaseModel]) -> bool:
    return allowed_at(path, model).startswith("true or false")


def _allowed(parts: list[Any]) -> Iterator[str]:
    for part in parts:
        if isinstance(part, type) and issubclass(part, StrEnum):
            yield "one of " + ", ".join(f'"{member.value}"' for member in part)
        elif isinstance(part, type) and issubclass(part, BaseModel):
            yield "a table of its own keys"
        elif part is bool:
            yield "true or false, in small letters without quotes"
        elif not isinstance(part, type) and isinstance(getattr(part, "allowed", None), str):
            yield part.allowed
        else:
            inner = [*typing.get_args(part), *getattr(part, "__metadata__", ())]
            found = list(_allowed(inner))
            if found and typing.get_origin(part) is tuple:
                yield f"a list, each {found[0]}"
            elif found:
                yield found[0]


def _nearest(path: Path, model: type[BaseModel]) -> str | None:
    """The key that an unknown one is perhaps a slip for."""
    return next(iter(difflib.get_close_matches(str(path[-1]), _keys(path, model), n=1)), None)


def _keys(path: Path, model: type[BaseModel]) -> list[str]:
    return list(_owner(model, path).model_fields)


def _meant(path: Path, model: type[BaseModel]) -> str:
    """What was perhaps meant by an unknown key."""
    if near := _nearest(path, model):
        return f"Did you mean {near}?"
    homes = [
        name
        for name, info in model.model_fields.items()
        if any(path[-1] in inner.model_fields for inner in models_in(info.annotation))
    ]
    if homes:
        return f"It belongs in {', '.join(homes)}."
    return f"There are {', '.join(_keys(path, model))}."
