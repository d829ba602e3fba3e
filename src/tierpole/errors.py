"""Every error the project raises on purpose.

    TierpoleError                 what a caller may catch; carries an exit status
    ├── InputError                something written by a person is wrong; lists every fault found
    ├── RuleError                 recorded facts already break a rule, or no rule covers the date
    ├── StoreError                a file or folder cannot be read or written
    ├── SolveError                the schedule could not be solved
    └── Stopped                   the user stopped the work; carries the best result so far

Texts follow one form: *where: field must be rule, got value. Do this.*
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any


@dataclass(frozen=True)
class Fault:
    """One thing wrong in something a person wrote.

    `place` is the table and row (`lots[3] "Lane"`), `field` the key, `value` what was
    found (`None` when missing) and `allowed` what would have been right.
    """

    place: str
    field: str
    value: Any
    allowed: str
    cure: str = ""

    @property
    def shown(self) -> str:
        """The value as its writer knows it."""
        return _shown(self.value)

    def __str__(self) -> str:
        got = "it is missing" if self.value is None else f"got {self.shown}"
        where = f"{self.place}: {self.field}" if self.field else self.place
        cure = f" {self.cure}" if self.cure else ""
        return f"{where} must be {self.allowed}, {got}.{cure}"


class TierpoleError(Exception):
    """Base of all errors below; `exit_status` is what the command line returns."""

    exit_status = 1


class InputError(TierpoleError):
    """A file a person wrote has faults; all of them are listed, not only the first."""

    exit_status = 2

    def __init__(self, file: str, faults: Sequence[Fault]):
        self.file = file
        self.faults = tuple(faults)
        super().__init__(file, self.faults)

    def __str__(self) -> str:
        count = _counted(len(self.faults), "problem")
        return "\n".join([f"{self.file}: {count}", *(f"  {fault}" for fault in self.faults)])


class RuleError(TierpoleError):
    """Recorded facts break a hard rule, or no rulebook covers a date."""

    exit_status = 3


class StoreError(TierpoleError):
    """A file, folder or address could not be read or written."""

    exit_status = 2


class SolveError(TierpoleError):
    """The optimiser did not return a usable plan."""


class Stopped(TierpoleError):  # noqa: N818 - a wish of the user, not an error
    """The user stopped the work; `best` is the best result reached, or None."""

    exit_status = 4

    def __init__(self, message: str = "stopped", best: object = None):
        self.best = best
        super().__init__(message)


def _shown(value: Any) -> str:
    """A value as its writer knows it: dates and truth as written, tables by their size."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, dict):
        return f"a table of {_counted(len(value), 'key')}"
    if isinstance(value, list | tuple):
        return f"a list of {_counted(len(value), 'entry', 'entries')}"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _counted(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
