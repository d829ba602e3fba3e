"""How a noun's fields are read and checked, with errors a person can act on.

In Python a quantity is a plain SI number. In a file a person wrote, it must be text with a unit
(``area = "2.5 acre"``), because a bare number hides a mistake until harvest.
"""

from __future__ import annotations

import math
import re
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache, cached_property
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, ValidationInfo
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from tierpole import units

GRACE = timedelta(days=1)  # for clocks that run ahead, and phones set to another time zone
_NO_THOUSANDS = re.compile(r"\d,(?!\d{3}(?!\d))")  # 2,5 would be read as 25


class Noun(BaseModel):
    """Base of every noun: frozen, no unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def refuse(allowed: str) -> PydanticCustomError:
    """The error every check raises; `allowed` says what would have been right."""
    return PydanticCustomError("not_allowed", "{allowed}", {"allowed": allowed})


def is_written(info: ValidationInfo) -> bool:
    """True while a file a person wrote is being read."""
    return bool(info.context and info.context.get("written"))


@dataclass(frozen=True)
class Measure:
    """A quantity of one `kind` between two written limits, kept as an SI float."""

    kind: str
    low: str
    high: str

    def __get_pydantic_core_schema__(self, _: Any, __: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self.read)

    @property
    def allowed(self) -> str:
        """What a field of this measure accepts, in words."""
        return f'{self.kind} from "{self.low}" to "{self.high}"'

    @cached_property
    def _limits(self) -> tuple[float, float]:
        """The SI limits, with a hair of slack: a limit written in other units is itself allowed."""
        low, high = (units.read_quantity(limit, self.kind) for limit in (self.low, self.high))
        slack = 1e-9 * max(abs(low), abs(high))
        return low - slack, high + slack

    @property
    def _choices(self) -> str:
        *others, last = (unit.names[0] for unit in units.KINDS[self.kind].units)
        return f"write {', '.join(others)} or {last}" if others else f"write {last}"

    def read(self, value: Any, info: ValidationInfo) -> float:
        """The SI value of what stands in the field; raises with `allowed` otherwise."""
        low, high = self._limits
        number = self._number(value, is_written(info))
        if number is None or not low <= number <= high:
            raise refuse(self.allowed)
        return number

    def _number(self, value: Any, written: bool) -> float | None:
        if isinstance(value, str):
            if _NO_THOUSANDS.search(value):
                raise refuse(f"{self.allowed} (a comma parts thousands, a point the fraction)")
            try:
                return units.read_quantity(value, self.kind)
            except ValueError as error:
                raise refuse(f"{self.allowed} ({error}; {self._choices})") from None
        if isinstance(value, bool) or not isinstance(value, int | float):
            return None
        if written:
            raise refuse(f"{self.allowed}, written with its unit in quotes")
        return _as_float(value)


def _as_float(value: int | float) -> float | None:
    """A finite float, or None; a whole number may be too long for one."""
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


@dataclass(frozen=True)
class Count:
    """A whole number between two limits."""

    low: int
    high: int

    def __get_pydantic_core_schema__(self, _: Any, __: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    @property
    def allowed(self) -> str:
        """What a field of this count accepts, in words."""
        return f"a whole number from {_grouped(self.low)} to {_grouped(self.high)}"

    def read(self, value: Any) -> int:
        """The number that stands in the field; raises with `allowed` otherwise."""
        if (
            isinstance(value, bool)
            or not isinstance(value, int)
            or not self.low <= value <= self.high
        ):
            raise refuse(self.allowed)
        return value


def _grouped(number: int) -> str:
    """Thousands grouped, but years as they are."""
    return f"{number:,}" if number >= 10_000 else str(number)


@dataclass(frozen=True)
class Ratio:
    """A plain number without unit between two limits."""

    low: float
    high: float

    def __get_pydantic_core_schema__(self, _: Any, __: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    @property
    def allowed(self) -> str:
        """What a field of this ratio accepts, in words."""
        return f"a number from {self.low:g} to {self.high:g}"

    def read(self, value: Any) -> float:
        """The number that stands in the field; raises with `allowed` otherwise."""
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not self.low <= value <= self.high
        ):
            raise refuse(self.allowed)
        return float(value)


@dataclass(frozen=True)
class Label:
    """A short text: a name or a note."""

    longest: int = 60
    empty: bool = False

    def is_sound(self, text: str) -> bool:
        """Whether a text would be taken."""
        try:
            self.read(text)
        except PydanticCustomError:
            return False
        return True

    def __get_pydantic_core_schema__(self, _: Any, __: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    @property
    def allowed(self) -> str:
        """What a field of this label accepts, in words."""
        return f"a text of {'0' if self.empty else '1'} to {self.longest} characters in quotes"

    def read(self, value: Any) -> str:
        """The text that stands in the field, trimmed; raises with `allowed` otherwise."""
        text = value.strip() if isinstance(value, str) else None
        if (
            text is None
            or len(text) > self.longest
            or not (text or self.empty)
            or not text.isprintable()
        ):
            raise refuse(self.allowed)
        return text


@dataclass(frozen=True)
class Day:
    """A calendar date, farm-local; `is_past` marks the day of what happened, never one to come.

    A file may tell a whole season, so that only an entry is held to it: see `too_late`.
    """

    first_year: int = 1990
    last_year: int = 2100
    is_past: bool = False

    def __get_pydantic_core_schema__(self, _: Any, __: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    @property
    def allowed(self) -> str:
        """What a field of this day accepts, in words."""
        return f"a date such as 2026-09-14, from {self.first_year} to {self.last_year}"

    def read(self, value: Any) -> date:
        """The date that stands in the field; raises with `allowed` otherwise."""
        if isinstance(value, str):
            try:
                value = date.fromisoformat(value)
            except ValueError:
                raise refuse(self.allowed) from None
        if isinstance(value, datetime) or not isinstance(value, date):
            raise refuse(self.allowed)
        if not self.first_year <= value.year <= self.last_year:
            raise refuse(self.allowed)
        return value


def too_late(noun: Noun, today: date) -> list[tuple[str, date]]:
    """Fields that say what happened on a day that is still to come, with that day."""
    said = ((field, getattr(noun, field)) for field in _past_days(type(noun)))
    return [(field, day) for field, day in said if day is not None and day > today + GRACE]


@cache
def _past_days(noun: type[Noun]) -> tuple[str, ...]:
    """The fields of a noun that hold the day of what happened."""
    return tuple(
        name
        for name, info in noun.model_fields.items()
        if any(isinstance(rule, Day) and rule.is_past for rule in _rules_of(info))
    )


def _rules_of(info: FieldInfo) -> Iterator[Any]:
    """The rules of a field, also where it may be left out."""
    yield from info.metadata
    for part in typing.get_args(info.annotation):
        yield from getattr(part, "__metadata__", ())


@dataclass(frozen=True)
class Pattern:
    """A short text of a fixed form."""

    form: str
    allowed: str

    def __get_pydantic_core_schema__(self, _: Any, __: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    @cached_property
    def _compiled(self) -> re.Pattern[str]:
        return re.compile(self.form, re.ASCII)

    def read(self, value: Any) -> str:
        """The text that stands in the field; raises with `allowed` otherwise."""
        if not isinstance(value, str) or not self._compiled.fullmatch(value):
            raise refuse(self.allowed)
        return value


Content = Annotated[str, Pattern(r"[0-9a-f]{64}", "the SHA-256 of a content, 64 hex digits")]
