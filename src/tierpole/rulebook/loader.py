"""Reads rulebook files, lays each state's text over the federal one in force, and checks them.

A file holds one text: a head, then one table per rule. `amends` fills what is not restated from
an earlier book of the same jurisdiction; `extends` does so from another jurisdiction, book by
book, so that a state's rulebook changes on the day the federal one does.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from importlib.resources.abc import Traversable
from itertools import pairwise
from typing import Any

from pydantic import ValidationError

from tierpole.errors import Fault, InputError
from tierpole.rulebook.models import PROVISIONS, Head, Rulebook
from tierpole.rulebook.strictness import looser_provisions

Table = dict[str, Any]


@dataclass(frozen=True)
class _Text:
    """One file: its head and its rules as written, each tagged with the book it stands in.

    `amended` are the heads of the texts it amends, whose rules it holds where it restates none.
    """

    file: str
    head: Head
    rules: dict[str, Table]
    amended: tuple[Head, ...] = ()

    @property
    def heads(self) -> tuple[Head, ...]:
        """The heads of every text in it, oldest first."""
        return (*self.amended, self.head)


@dataclass
class _Reader:
    """Reads a folder of rulebook files; `faults` gathers everything wrong in any of them."""

    faults: list[Fault] = field(default_factory=list)

    def books(self, folder: Traversable) -> tuple[Rulebook, ...]:
        """Every rulebook of the folder that could be composed."""
        files = [file for file in folder.iterdir() if file.name.endswith(".toml")]
        files.sort(key=lambda file: file.name)
        texts = [text for file in files if (text := self._text(file)) is not None]
        texts = [self._amended(text, texts) for text in texts]
        roots = [text for text in texts if not text.head.extends]
        books = [book for text in roots if (book := self._composed(text, None)) is not None]
        for text in texts:
            if text.head.extends:
                books += self._extended(text, roots, tuple(books))
        self._check_spans(books)
        return tuple(sorted(books, key=lambda book: (book.jurisdiction, book.effective_from)))

    def _text(self, file: Traversable) -> _Text | None:
        """A file split into head and rules, or None when its head cannot be used."""
        try:
            written = tomllib.loads(file.read_text(encoding="utf-8"), parse_float=Decimal)
        except tomllib.TOMLDecodeError as error:
            self.faults.append(Fault(file.name, "", str(error), "readable TOML"))
            return None
        rules = {key: value for key, value in written.items() if isinstance(value, dict)}
        try:
            head = Head.model_validate({k: v for k, v in written.items() if k not in rules})
        except ValidationError as error:
            self.faults += _faults_of(error, file.name)
            return None
        tags = {"book": head.id, "read_on": head.read_on}
        return _Text(file.name, head, {name: {**tags, **rule} for name, rule in rules.items()})

    def _amended(self, text: _Text, texts: list[_Text]) -> _Text:
        """The text with what it does not restate taken from the book it amends."""
        if not text.head.amends:
            return text
        older = [t for t in texts if t.head.effective_from < text.head.effective_from]
        earlier = next((t for t in older if t.head.id == text.head.amends), None)
        if earlier is None:
            allowed = f"the id of an earlier rulebook ({', '.join(t.head.id for t in older)})"
            self.faults.append(Fault(text.file, "amends", text.head.amends, allowed))
            return text
        earlier = self._amended(earlier, texts)
        return _Text(text.file, text.head, _over(text, earlier), earlier.heads)

    def _extended(
        self, text: _Text, roots: list[_Text], books: tuple[Rulebook, ...]
    ) -> Iterator[Rulebook]:
        """The text laid over each book of the jurisdiction it extends."""
        bases = [root for root in roots if root.head.jurisdiction == text.head.extends]
        if not bases:
            known = sorted({root.head.jurisdiction for root in roots})
            allowed = f"a jurisdiction that stands alone ({', '.join(known)})"
            self.faults.append(Fault(text.file, "extends", text.head.extends, allowed))
        for base in bases:
            book = self._composed(text, base) if _overlap(text.head, base.head) else None
            below = next((b for b in books if b.layers[-1] == base.head.id), None)
            if book is not None and below is not None:
                self._check_strictness(text, book, below)
                yield book

    def _composed(self, text: _Text, base: _Text | None) -> Rulebook | None:
        texts = [text] if base is None else [base, text]
        rules = text.rules if base is None else _over(text, base)
        try:
            return Rulebook.model_validate({**_head_of(texts), **rules})
        except ValidationError as error:
            self.faults += _faults_of(error, text.file)
            return None

    def _check_strictness(self, text: _Text, book: Rulebook, base: Rulebook) -> None:
        for name in looser_provisions(book, base):
            own, other = getattr(book, name).value, getattr(base, name).value
            allowed = f"at least as strict as {base.layers[-1]} ({_in_words(other)})"
            self.faults.append(Fault(f"{text.file} [{name}]", "value", own, allowed))

    def _check_spans(self, books: Iterable[Rulebook]) -> None:
        """Books of one jurisdiction follow each other without overlap."""
        ordered = sorted(books, key=lambda book: (book.jurisdiction, book.effective_from))
        for first, second in pairwise(ordered):
            same = first.jurisdiction == second.jurisdiction
            if same and second.effective_from <= (first.effective_to or date.max):
                allowed = f"after {first.layers[-1]} ends ({first.effective_to or 'it has no end'})"
                start = second.effective_from
                self.faults.append(Fault(second.layers[-1], "effective_from", start, allowed))


def read_books(folder: Traversable) -> tuple[Rulebook, ...]:
    """Every rulebook of a folder, composed and checked; `InputError` with all faults otherwise."""
    reader = _Reader()
    books = reader.books(folder)
    if reader.faults:
        raise InputError(folder.name, reader.faults)
    return books


def _in_words(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def _over(text: _Text, base: _Text) -> dict[str, Table]:
    """The rules of `text` over those of `base`; silence of an unconfirmed text confirms nothing."""
    unsure = {"verify": True} if text.head.status == "verify" else {}
    return {**{name: {**rule, **unsure} for name, rule in base.rules.items()}, **text.rules}


def _overlap(one: Head, other: Head) -> bool:
    starts = max(one.effective_from, other.effective_from)
    return starts <= min(one.effective_to or date.max, other.effective_to or date.max)


def _head_of(texts: list[_Text]) -> Table:
    """What the heads say together: in force while all are, named by the last."""
    own = [text.head for text in texts]
    every = [head for text in texts for head in text.heads]
    ends = [head.effective_to for head in own if head.effective_to is not None]
    return {
        "jurisdiction": own[-1].jurisdiction,
        "title": own[-1].title,
        "texts": tuple(head.text for head in every),
        "layers": tuple(head.id for head in every),
        "effective_from": max(head.effective_from for head in own),
        "effective_to": min(ends) if ends else None,
        "status": "verify" if any(head.status == "verify" for head in own) else "read",
        "cautions": tuple(caution for head in every for caution in head.cautions),
    }


def _faults_of(error: ValidationError, file: str) -> list[Fault]:
    """One fault for each thing wrong, with the table it stands in."""
    return [_fault(item, file) for item in error.errors(include_url=False)]


def _fault(item: Any, file: str) -> Fault:
    path = [str(part) for part in item["loc"]]
    table, key = (f"{file} [{path[0]}]", ".".join(path[1:])) if len(path) > 1 else (file, path[0])
    if item["type"] == "missing":
        return Fault(table, key, None, f"given{' as a table' if key in PROVISIONS else ''}")
    if item["type"] == "extra_forbidden":
        return Fault(table, key, item["input"], "left out: no rule has that name")
    return Fault(table, key, item["input"], item["msg"].removeprefix("Input should be ").lower())
