"""Where each number comes from.

A coefficient is never a bare literal in a formula: it stands in one `Table` of its module, as a
`Value` with unit, source and an honest `Mark`. The documents and the pages read these tables, so
a result that rests on a remembered or assumed number can say so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum


class Mark(StrEnum):
    """How well a number is known, best first."""

    LAW = "law"  # text of a statute or rule that was read
    PUBLISHED = "published"  # read in a published work
    COMPUTED = "computed"  # follows from stated formulas or data
    MEMORY = "memory"  # recalled from a published work, not read again
    PRACTICE = "common practice, no source"
    INFERENCE = "inference"  # our own reasoning; a starting value to be replaced by records

    @property
    def is_assumed(self) -> bool:
        """True when a page must show the number as assumed."""
        return self in (Mark.MEMORY, Mark.PRACTICE, Mark.INFERENCE)


@dataclass(frozen=True)
class Value:
    """One coefficient: `value` [unit], with spread `low`..`high` (10-90 %) when it is uncertain."""

    name: str
    value: float
    unit: str
    mark: Mark
    source: str
    low: float | None = None
    high: float | None = None
    note: str = ""

    def __float__(self) -> float:
        return float(self.value)


@dataclass(frozen=True)
class Table:
    """The coefficients of one module; `table["name"]` gives the number, iteration the rows."""

    title: str
    rows: tuple[Value, ...]
    _by_name: dict[str, Value] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        by_name = {row.name: row for row in self.rows}
        if len(by_name) != len(self.rows):
            raise ValueError(f"{self.title}: a coefficient is named twice")
        object.__setattr__(self, "_by_name", by_name)

    def __getitem__(self, name: str) -> float:
        return self._by_name[name].value

    def __iter__(self) -> Iterator[Value]:
        return iter(self.rows)

    def row(self, name: str) -> Value:
        """The whole row of a coefficient; KeyError if the table has none of that name."""
        return self._by_name[name]

    def assumed(self) -> tuple[Value, ...]:
        """The rows a page must show as assumed."""
        return tuple(row for row in self.rows if row.mark.is_assumed)
