"""A season as far as it could be read, so that one slip does not hide the others."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from tierpole.errors import Fault
from tierpole.season.facts import Season

WHOLE = -1  # in place of a row's number: the table itself


class Row(NamedTuple):
    """A row that was read whole: its number in its table, from 0, and what it says."""

    table: str
    number: int
    noun: Any

    @property
    def place(self) -> str:
        """Where it stands."""
        return place(self.table, self.number, label(self.noun))

    def fault(self, field: str, value: object, allowed: str, cure: str = "") -> Fault:
        """A fault of one of its fields."""
        return Fault(self.place, field, value, allowed, cure)


@dataclass(frozen=True)
class Draft:
    """A season with what of it could not be read: (table, row number from 0 or `WHOLE`).

    Rows that could not be read still stand in the season, with whatever names they bear, so that
    the others keep their numbers and what refers to them is not blamed.
    """

    season: Season
    unsound: frozenset[tuple[str, int]] = frozenset()

    def is_sound(self, *tables: str) -> bool:
        """Whether these tables were read whole."""
        return not any(table in tables for table, _ in self.unsound)

    def is_table(self, table: str) -> bool:
        """Whether a table has rows at all, sound or not."""
        return (table, WHOLE) not in self.unsound

    def rows(self, *tables: str) -> Iterator[Row]:
        """The rows of these tables that were read whole."""
        return (row for row in self.every_row(*tables) if row is not None)

    def every_row(self, *tables: str) -> Iterator[Row | None]:
        """The rows of these tables, None for one that could not be read."""
        for table in tables:
            for number, noun in enumerate(getattr(self.season, table)):
                is_sound = (table, number) not in self.unsound
                yield Row(table, number, noun) if is_sound else None


Check = Callable[[Draft], Iterable[Fault]]


def place(table: str, number: int, name: str = "") -> str:
    """Where a row stands, counted from 1: `lots[3] "Lane"`."""
    return f'{table}[{number + 1}] "{name}"' if name else f"{table}[{number + 1}]"


def label(noun: object) -> str:
    """What a person calls a row: its name, or the lot it is about."""
    return str(getattr(noun, "name", getattr(noun, "lot", "")))
