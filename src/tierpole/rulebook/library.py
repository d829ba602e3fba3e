"""The rulebooks and cautions that come with the package, by jurisdiction and date."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Literal

from tierpole.errors import Fault, InputError, RuleError
from tierpole.rulebook.loader import read_books
from tierpole.rulebook.models import PROVISIONS, Rulebook

_HERE = files("tierpole.rulebook")
Topic = Literal["rules", "barn", "money"]


@dataclass(frozen=True)
class RuleChange:
    """On day `on` the rulebook `before` gives way to `after`; `names` are the rules that differ."""

    on: date
    before: Rulebook
    after: Rulebook
    names: tuple[str, ...]


@dataclass(frozen=True)
class Caution:
    """What a page on a topic must say beside its numbers, and where that comes from."""

    key: str
    topic: Topic
    says: str
    basis: str


@cache
def rulebooks() -> tuple[Rulebook, ...]:
    """Every rulebook that comes with the package, by jurisdiction and date."""
    return read_books(_HERE / "books")


def jurisdictions() -> tuple[str, ...]:
    """The jurisdictions there are rulebooks for."""
    return tuple(sorted({book.jurisdiction for book in rulebooks()}))


def rulebook_on(jurisdiction: str, day: date) -> Rulebook:
    """The rulebook in force on a day; `RuleError` when none covers it."""
    books = _books_of(jurisdiction)
    for book in books:
        if book.covers(day):
            return book
    raise RuleError(
        f"No rulebook of {jurisdiction} covers {day}: those on file start on "
        f"{books[0].effective_from}. Add the text that was in force then (CONTRIBUTING says how)."
    )


def rule_changes(jurisdiction: str, first: date, last: date) -> tuple[RuleChange, ...]:
    """The changes of rulebook after `first` and up to `last`, to show both outcomes."""
    return tuple(
        RuleChange(after.effective_from, before, after, _different(before, after))
        for before, after in pairwise(_books_of(jurisdiction))
        if first < after.effective_from <= last
    )


@cache
def cautions(topic: Topic) -> tuple[Caution, ...]:
    """The cautions of a topic, in reading order."""
    written = tomllib.loads((_HERE / "cautions.toml").read_text(encoding="utf-8"))
    return tuple(c for row in written["caution"] if (c := Caution(**row)).topic == topic)


def _books_of(jurisdiction: str) -> tuple[Rulebook, ...]:
    books = tuple(book for book in rulebooks() if book.jurisdiction == jurisdiction)
    if not books:
        allowed = f"one of {', '.join(jurisdictions())}"
        raise InputError("rulebooks", [Fault("farm", "jurisdiction", jurisdiction, allowed)])
    return books


def _different(before: Rulebook, after: Rulebook) -> tuple[str, ...]:
    return tuple(n for n in PROVISIONS if getattr(before, n).value != getattr(after, n).value)
