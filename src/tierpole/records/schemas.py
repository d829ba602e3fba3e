"""What a noun may say, as JSON Schema and as the columns of a table."""

from __future__ import annotations

import re
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from pydantic.fields import FieldInfo
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue

from tierpole import units
from tierpole.farm import Noun
from tierpole.farm.measure import Count, Day, Label, Measure, Pattern, Ratio


class _Schemas(GenerateJsonSchema):
    """Our own measures and texts in the words of JSON Schema."""

    def function_plain_schema(self, schema: Any) -> JsonSchemaValue:
        """A field that one of our rules reads."""
        return _rule(schema["function"]["function"].__self__)


def json_schema(noun: type[Noun]) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a noun as the journal keeps it, quantities in SI."""
    made = noun.model_json_schema(schema_generator=_Schemas)
    return {"$schema": _Schemas.schema_dialect, **made}


def _rule(rule: Any) -> dict[str, Any]:
    if isinstance(rule, Measure):
        low, high = (units.read_quantity(limit, rule.kind) for limit in (rule.low, rule.high))
        slack = 1e-9 * max(abs(low), abs(high))
        limits = {"minimum": low - slack, "maximum": high + slack}
        return {"type": "number", **limits, "description": rule.allowed}
    if isinstance(rule, Count):
        return {"type": "integer", "minimum": rule.low, "maximum": rule.high}
    if isinstance(rule, Ratio):
        return {"type": "number", "minimum": rule.low, "maximum": rule.high}
    if isinstance(rule, Label):
        return {"type": "string", "minLength": 0 if rule.empty else 1, "maxLength": rule.longest}
    if isinstance(rule, Pattern):
        return {"type": "string", "pattern": f"^{rule.form}$", "description": rule.allowed}
    if isinstance(rule, Day):
        return {"type": "string", "format": "date"}
    raise TypeError(f"{type(rule).__name__} has no JSON Schema yet")


# --- columns --------------------------------------------------------------------------------------


_PLAIN: dict[str, type] = {"integer": Count, "number": Ratio, "date": Day, "boolean": bool}


@dataclass(frozen=True)
class Column:
    """A field of a noun as a column of a table; quantities in the unit its name ends in."""

    name: str
    field: str
    kind: str
    unit: units.Unit | None = None
    choices: tuple[str, ...] = ()

    @property
    def described(self) -> dict[str, Any]:
        """The column in the words of Table Schema."""
        said: dict[str, Any] = {"name": self.name, "type": self.kind}
        if self.unit is not None:
            said["unit"] = self.unit.names[0]
        if self.choices:
            said["constraints"] = {"enum": list(self.choices)}
        return said

    def shown(self, noun: Noun) -> Any:
        """What stands in the column for a noun; None where it says nothing."""
        value = getattr(noun, self.field)
        if value is None or self.kind == "string":
            return value
        if self.unit is not None:
            return f"{(value - self.unit.offset) / self.unit.factor:.12g}"
        return str(value).lower() if self.kind == "boolean" else value


def columns(noun: type[Noun], system: units.System = "us") -> list[Column]:
    """The columns of a noun's table."""
    return [_column(name, info, system) for name, info in noun.model_fields.items()]


def _column(name: str, info: FieldInfo, system: units.System) -> Column:
    for part in _parts(info):
        if isinstance(part, Measure):
            unit = units.KINDS[part.kind].shown_in(system)
            return Column(f"{name}_{_spelled(unit)}", name, "number", unit)
        if isinstance(part, type) and issubclass(part, StrEnum):
            return Column(name, name, "string", choices=tuple(part))
        if typing.get_origin(part) is tuple:
            return Column(name, name, "array")
        plain = next((kind for kind, rule in _PLAIN.items() if _is(part, rule)), None)
        if plain is not None:
            return Column(name, name, plain)
    return Column(name, name, "string")


def _is(part: Any, rule: type) -> bool:
    return part is rule or isinstance(part, rule)


def _parts(info: FieldInfo) -> Iterator[Any]:
    """A field's rules first, then its type, then what either is made of."""
    yield from info.metadata
    yield info.annotation
    if typing.get_origin(info.annotation) is not tuple:
        for one in typing.get_args(info.annotation):
            yield from (*getattr(one, "__metadata__", ()), one)


def _spelled(unit: units.Unit) -> str:
    """A unit as the end of a name: `usd_per_lb`."""
    words = unit.names[0].replace("%", "percent").replace("/", "_per_")
    return re.sub(r"\W+", "_", words).lower()
