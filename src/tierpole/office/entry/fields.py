"""One question of a form: derived from a noun's field, read and shown as people write."""

from __future__ import annotations

import re
import types
import typing
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum
from functools import cache
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError

from tierpole import units
from tierpole.farm import Noun
from tierpole.farm.books import ClockTime, Content
from tierpole.farm.measure import Count, Day, Label, Measure, Ratio
from tierpole.office.entry.told import Told

Shape = Literal[
    "text", "note", "day", "time", "count", "number", "quantity", "choice", "yes", "names", "file",
    "stored", "table",
]  # fmt: skip
NAMED = ("lot", "place", "field", "variety", "order", "sale")  # fields answered from a list
_BARE = re.compile(r"[-+−$]?\s*[\d.,/\s]*\d[\d.,/\s]*")  # a number and nothing else
_GROUPED = re.compile(r"\d{1,3}(,\d{3})+")
_CLOCK, _CONTENT = (typing.get_args(kind)[1] for kind in (ClockTime, Content))


UNANSWERED = Told("must be answered")
MOST_ROWS = 40  # of a table in one form
TOO_MANY = Told("must be {most} rows at most", most=str(MOST_ROWS))
OTHERWISE = Told("must be written another way")
COMMAS = "{allowed}; a comma parts thousands, a point the fraction"


class AnswerError(ValueError):
    """An answer that cannot be taken; `told` says what would have been right."""

    def __init__(self, told: Told):
        self.told = told
        super().__init__(told)


@dataclass(frozen=True)
class Ask:
    """A question: the noun's field it fills, its label, and how its answer is written.

    `keeps` marks what the form offers again from the last entry; `measure` is the kind of quantity,
    `choices` what a list offers; `list_of` names the nouns of the books that a list is made of.
    The answer to a "stored" question is the entry of such a noun that was seen, so that a form
    sent late does not hide what somebody else said of it meanwhile. A table asks its `columns` in
    each row, under keys such as `hours_0_starting`. `is_table` marks a file that is a table of
    numbers, not a photo or a paper.
    """

    key: str
    label: str
    shape: Shape
    is_needed: bool
    adapter: TypeAdapter[Any] = field(repr=False, compare=False)
    measure: str = ""
    choices: tuple[str, ...] = ()
    list_of: str = ""
    keeps: bool = False
    hint: str = ""
    allowed: Told = OTHERWISE
    columns: tuple[Ask, ...] = ()
    is_table: bool = False

    def read(self, text: str, system: units.System) -> Any:
        """The value of an answer; None when it is empty. Raises `AnswerError`."""
        text = text.strip()
        if not text:
            if self.is_needed:
                raise AnswerError(UNANSWERED)
            return None
        try:
            return self.adapter.validate_python(self._plain(text, system), context=_WRITTEN)
        except ValidationError:
            has_comma = self.shape == "quantity" and "," in text
            allowed = Told(COMMAS, allowed=self.allowed) if has_comma else self.allowed
            raise AnswerError(allowed) from None

    def _plain(self, text: str, system: units.System) -> Any:
        """An answer as a noun's field takes it."""
        if self.shape == "quantity" and _BARE.fullmatch(text):
            unit = self.unit(system)
            return f"{text.removeprefix('$') if unit.startswith('USD') else text} {unit}"
        if self.shape == "count":
            return _whole(text)
        if self.shape == "number":
            return _number(text)
        if self.shape == "yes":
            return text == "yes"
        if self.shape == "names":
            return tuple(name.strip() for name in text.split(",") if name.strip())
        return text

    def unit(self, system: units.System) -> str:
        """The unit that is meant where none is written."""
        return units.KINDS[self.measure].shown_in(system).names[0] if self.measure else ""

    def show(self, value: Any, system: units.System) -> str:
        """A value as its answer would be written."""
        if value is None:
            return ""
        if self.measure:
            number, name = units.to_unit(value, self.measure, system)
            return f"{number:.6g} {name}"
        if isinstance(value, bool):
            return "yes" if value else "no"
        if self.columns:
            return "; ".join(", ".join(filter(None, self.cells(row, system))) for row in value)
        if isinstance(value, tuple):
            return ", ".join(map(str, value))
        is_grouped = self.shape == "count" and not self.key.endswith("year")
        return f"{value:,}" if is_grouped else str(value)

    # --- a table ----------------------------------------------------------------------------------

    def row(self, number: int) -> tuple[Ask, ...]:
        """The questions of a table's row, counted from 0."""
        return tuple(
            replace(column, key=f"{self.key}_{number}_{column.key}") for column in self.columns
        )

    def filled(self, answers: Mapping[str, str]) -> list[int]:
        """The rows of a table in which anything was answered."""
        pattern = re.compile(rf"{self.key}_(\d{{1,3}})_[a-z]\w*", re.ASCII)
        found = ((pattern.fullmatch(key), text) for key, text in answers.items())
        return sorted({int(match[1]) for match, text in found if match and text.strip()})

    @property
    def count(self) -> str:
        """The key under which a form says how many rows of a table it shows."""
        return f"{self.key}_rows"

    def shown(self, answers: Mapping[str, str]) -> range:
        """The rows a form shows: those that are filled and an empty one, more when asked for."""
        said = answers.get(self.count, "")
        asked = int(said) if said.isascii() and said.isdecimal() and len(said) < 4 else 0
        last = max(self.filled(answers), default=-1)
        return range(min(max(asked, last + 1, 1), MOST_ROWS))

    def cells(self, row: Noun, system: units.System) -> tuple[str, ...]:
        """A row of a table as its answers would be written."""
        return tuple(column.show(getattr(row, column.key), system) for column in self.columns)

    def spread(self, rows: Iterable[Noun], system: units.System) -> dict[str, str]:
        """The rows of a table as answers, and room for one more."""
        answers = {
            ask.key: cell
            for number, row in enumerate(rows)
            for ask, cell in zip(self.row(number), self.cells(row, system), strict=True)
        }
        return answers | {self.count: str(len(self.filled(answers)) + 1)}

    def gathered(self, rows: list[dict[str, Any]]) -> Any:
        """The value of a table's rows; None when there is none. Raises `AnswerError`."""
        if not rows:
            if self.is_needed:
                raise AnswerError(UNANSWERED)
            return None
        try:
            return self.adapter.validate_python(rows)
        except ValidationError:
            raise AnswerError(OTHERWISE) from None


_WRITTEN = {"written": True}


def _whole(text: str) -> Any:
    plain = text.replace(",", "") if _GROUPED.fullmatch(text) else text
    return int(plain) if plain.isascii() and plain.isdecimal() and len(plain) < 12 else text


def _number(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text


def ask_of(noun: type[Noun], key: str, label: str = "", **said: Any) -> Ask:
    """The question a noun's field answers; `said` is what the form says otherwise."""
    info = noun.model_fields[key]
    kind: Any = info.annotation
    annotated: Any = typing.Annotated[(kind, *info.metadata)] if info.metadata else kind
    rule = next(_rules(info.metadata, kind), None)
    ask = Ask(
        key=key,
        label=label or _label(key),
        shape=_shape(key, kind, rule),
        is_needed=info.is_required(),
        adapter=TypeAdapter(annotated),
        measure=rule.kind if isinstance(rule, Measure) else "",
        choices=tuple(rule) if _is_choice(rule) else (),
        list_of=key if key in NAMED else "",
        allowed=allowed_by(rule),
        columns=_columns(kind),
    )
    return replace(ask, **said)


def allowed_by(rule: Any) -> Told:
    """What an answer must be by a field's rule, as it is told beside the question."""
    if isinstance(rule, Count | Ratio):
        whole = isinstance(rule, Count)
        said = "must be a whole number from {low} to {high}" if whole else (
            "must be a number from {low} to {high}")  # fmt: skip
        return Told(said, low=f"{rule.low:,}", high=f"{rule.high:,}")
    if isinstance(rule, Measure):
        names = [unit.names[0] for unit in units.KINDS[rule.kind].units]
        return Told("must be {kind} from {low} to {high}, written in {units}",
                    kind=Told(rule.kind), low=rule.low, high=rule.high,
                    units=", ".join(names))  # fmt: skip
    if isinstance(rule, Label):
        return Told("must be a text of at most {longest} letters", longest=str(rule.longest))
    if isinstance(rule, Day):
        return Told("must be a day such as 2026-09-14, from {first} to {last}",
                    first=str(rule.first_year), last=str(rule.last_year))  # fmt: skip
    return Told("must be a time of day such as 14:30") if rule == _CLOCK else OTHERWISE


def _label(key: str) -> str:
    """A field's name as words."""
    said = key.replace("_", " ").capitalize()
    return re.sub("cbd|thc", lambda found: found[0].upper(), said, flags=re.IGNORECASE)


def _rules(metadata: list[Any], kind: Any) -> Iterator[Any]:
    """The rules of a field: its own, else those inside what may be left out."""
    yield from metadata
    if typing.get_origin(kind) in (typing.Union, types.UnionType):
        for part in typing.get_args(kind):
            yield from getattr(part, "__metadata__", ())
            yield from (part,) if part is not type(None) else ()
    else:
        yield kind


def _is_choice(rule: Any) -> typing.TypeGuard[type[StrEnum]]:
    return isinstance(rule, type) and issubclass(rule, StrEnum)


def _columns(kind: Any) -> tuple[Ask, ...]:
    """The questions of a row, where a field is a table of nouns."""
    parts = typing.get_args(kind) if typing.get_origin(kind) is tuple else ()
    rows = [one for one in parts if isinstance(one, type) and issubclass(one, Noun)]
    return tuple(ask_of(row, key) for row in rows for key in row.model_fields)


_SHAPES: tuple[tuple[type, Shape], ...] = (
    (Measure, "quantity"), (Count, "count"), (Ratio, "number"), (Day, "day"),
)  # fmt: skip


def _shape(key: str, kind: Any, rule: Any) -> Shape:
    if key in NAMED or _is_choice(rule):
        return "choice"
    if rule in (_CLOCK, _CONTENT):
        return "time" if rule == _CLOCK else "file"
    if rule in (bool, date):
        return "yes" if rule is bool else "day"
    if typing.get_origin(kind) is tuple:
        return "table" if _columns(kind) else "names"
    if isinstance(rule, Label) and rule.longest > 60:
        return "note"
    shapes: list[Shape] = [shape for one, shape in _SHAPES if isinstance(rule, one)]
    return shapes[0] if shapes else "text"


def said(noun: Noun, system: units.System) -> list[tuple[str, str]]:
    """What a noun says, field by field, as a person reads it."""
    asks = (_plain_ask(type(noun), key) for key in _said_keys(noun))
    return [(ask.label, ask.show(getattr(noun, ask.key), system)) for ask in asks]


# booleans that a label and yes or no would not say; what they say when false, if anything
_WORDED = {
    "cbd_below": ("CBD below what can be measured", ""),
    "thc_below": ("THC below what can be measured", ""),
} | {
    f"{panel}_pass": (f"{panel.capitalize()} passed", f"{panel.capitalize()} failed")
    for panel in ("pesticides", "metals", "mycotoxins", "microbes")
}


def in_brief(noun: Noun, system: units.System) -> list[str]:
    """What a noun says in a line: long texts are left out, and what is false unless it is said."""
    found: list[str] = []
    for key, (label, text) in zip(_said_keys(noun), said(noun, system), strict=True):
        value = getattr(noun, key)
        if isinstance(value, bool):
            is_usual = type(noun).model_fields[key].default is value is False
            yes, no = _WORDED.get(key, (label, "" if is_usual else f"{label} no"))
            found += [yes if value else no]
        elif len(text) < 60:
            found += [f"{label} {text}"]
    return [one for one in found if one]


@cache
def _plain_ask(noun: type[Noun], key: str) -> Ask:
    return ask_of(noun, key)


def _said_keys(noun: Noun) -> list[str]:
    said = (key for key in type(noun).model_fields if key in noun.model_fields_set)
    return [key for key in said if getattr(noun, key) is not None]
