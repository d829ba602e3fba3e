"""A step of the start: rows of questions, each row a noun or two of the books."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any
from uuid import UUID, uuid4

from pydantic import TypeAdapter

from tierpole.farm import Noun
from tierpole.farm.measure import Measure
from tierpole.office.entry.fields import AnswerError, Ask, allowed_by
from tierpole.office.start.drawing import Paper, draft
from tierpole.office.start.known import Known
from tierpole.records import Stored
from tierpole.units import System

MOST_ROWS = 8
Values = dict[str, Any]
_OPEN = ("choice", "yes")  # answers that stand in a row nobody wrote in


class RowFaultError(ValueError):
    """An answer that does not fit the others of its row; `key` is its question."""

    def __init__(self, key: str, told: str):
        self.key = key
        super().__init__(told)


@dataclass(frozen=True)
class Row:
    """One row as it is asked: the noun it corrects, if there is one, and the answers so far."""

    answers: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    of: str = ""
    seen: str = ""

    def is_blank(self, step: Step) -> bool:
        """Whether nothing was written in it."""
        asks = [ask for ask in step.asks if ask.shape not in _OPEN]
        return not any(self.answers.get(ask.key, "").strip() for ask in asks)


@dataclass(frozen=True)
class Told:
    """What a row comes to, at once: a sentence, and a drawing where there is one."""

    name: str
    says: str
    caution: str = ""


@dataclass(frozen=True)
class Step:
    """A step: what it is for, what is taken if it is skipped, its questions, what they become.

    `kind` is the kind of noun a row is. `make` gives the nouns of a row, its own first; `answers`
    is the way back; `assume` gives what is written when the step is skipped.
    """

    key: str
    title: str
    purpose: str
    skipped: str
    kind: str
    asks: tuple[Ask, ...]
    make: Callable[[Values, Known], Iterator[Noun]]
    answers: Callable[[Any, Known, System], dict[str, str]]
    assume: Callable[[Known], Iterator[Noun]]
    tell: Callable[[Values, Known, System], Iterator[Told]]
    row: str = ""  # what a row is called; empty where there is only one
    folded: tuple[
        tuple[str, tuple[str, ...]], ...
    ] = ()  # questions that most may leave: title, keys
    notes: tuple[str, ...] = ()
    usual: Mapping[str, str] = field(default_factory=dict)  # answers an empty row begins with

    @property
    def is_single(self) -> bool:
        """Whether the step asks of one thing only."""
        return not self.row

    @property
    def plain(self) -> tuple[str, ...]:
        """The keys of the questions that are always shown."""
        folded = {key for _, keys in self.folded for key in keys}
        return tuple(ask.key for ask in self.asks if ask.key not in folded)


@dataclass(frozen=True)
class RowForm:
    """One row as a form draws it: every question under a name of its own in the page."""

    asks: Mapping[str, Ask]
    answers: Mapping[str, str]
    faults: Mapping[str, str]
    options: Mapping[str, tuple[tuple[str, str], ...]]


@dataclass(frozen=True)
class Sheet:
    """A step as it is shown: its rows, what is wrong, what its lists offer, what it comes to."""

    step: Step
    entry: UUID
    rows: tuple[Row, ...]
    options: Mapping[str, tuple[tuple[str, str], ...]]
    general: tuple[str, ...] = ()
    told: tuple[Told, ...] = ()

    @property
    def has_faults(self) -> bool:
        """Whether something must be mended first."""
        return bool(self.general) or any(row.faults for row in self.rows)

    def form(self, number: int) -> RowForm:
        """A row with its number behind the name of each question."""
        row = self.rows[number]
        asks = {ask.key: replace(ask, key=f"{ask.key}-{number}") for ask in self.step.asks}
        return RowForm(
            asks,
            {asks[key].key: text for key, text in row.answers.items() if key in asks},
            {asks[key].key: text for key, text in row.faults.items()},
            {asks[key].key: offered for key, offered in self.options.items()},
        )

    def paper(self, number: int) -> Paper | None:
        """The squared paper of a row, with what is drawn so far; None where nothing is drawn."""
        answers = self.rows[number].answers
        has_paper = any(ask.key == "corners" for ask in self.step.asks)
        return draft(answers.get("corners", ""), answers.get("square", "")) if has_paper else None


def measured(key: str, label: str, rule: Measure, hint: str, needed: bool = True) -> Ask:
    """A question after a quantity that no noun's field is."""
    adapter = TypeAdapter(Annotated[float, rule])
    allowed = allowed_by(rule)
    return Ask(key, label, "quantity", needed, adapter, rule.kind, hint=hint, allowed=allowed)


def blank_sheet(step: Step, stored: list[Stored], known: Known, system: System) -> Sheet:
    """A step with what the books say already, and a row or two to write in."""
    rows = [
        Row(step.answers(one.noun, known, system), {}, str(one.entry.of), str(one.entry.id))
        for one in stored
    ]
    options = known.options(step.asks)
    if not step.is_single or not rows:
        only = {key: offered[0][0] for key, offered in options.items() if len(offered) == 1}
        rows.append(Row({**step.usual, **only}))
    return Sheet(step, uuid4(), tuple(rows[:MOST_ROWS]), options)


def sent_sheet(step: Step, entry: UUID, texts: Mapping[str, str], known: Known) -> Sheet:
    """A step as it was sent; as many rows as the form had."""
    numbers = [int(one[1]) for key in texts if (one := re.fullmatch(r"[a-z_]+-(\d)", key))]
    count = 1 if step.is_single else min(max(numbers, default=0) + 1, MOST_ROWS)
    rows = tuple(
        Row(
            {ask.key: texts.get(f"{ask.key}-{number}", "") for ask in step.asks}, {},
            texts.get(f"of-{number}", ""), texts.get(f"seen-{number}", ""),
        )
        for number in range(count)
    )  # fmt: skip
    return Sheet(step, entry, rows, known.options(step.asks))


def read_rows(sheet: Sheet, system: System) -> tuple[Sheet, list[Values | None]]:
    """The values of each row, None for one that is blank or wrong; the sheet says what is wrong."""
    rows, read = list[Row](), list[Values | None]()
    for row in sheet.rows:
        if row.is_blank(sheet.step) and not sheet.step.is_single:
            rows.append(row)
            read.append(None)
            continue
        values, faults = _read(sheet.step, row, system)
        rows.append(replace(row, faults=faults))
        read.append(None if faults else values)
    return replace(sheet, rows=tuple(rows)), read


def _read(step: Step, row: Row, system: System) -> tuple[Values, dict[str, str]]:
    values: Values = {}
    faults: dict[str, str] = {}
    for ask in step.asks:
        try:
            values[ask.key] = ask.read(row.answers.get(ask.key, ""), system)
        except AnswerError as error:
            faults[ask.key] = f"{ask.label} {error}."
    return values, faults
