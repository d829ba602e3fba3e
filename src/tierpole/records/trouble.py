"""What a database says when it fails, in words a person can act on."""

from __future__ import annotations

import sqlite3
from collections.abc import Generator
from contextlib import contextmanager

from sqlalchemy import exc

from tierpole.errors import StoreError

DAMAGED = "the file is damaged"
# what the driver's text holds: why, what to do
_CAUSES = {
    "disk is full": ("the disk is full", "Make room and try again."),
    "no space left": ("the disk is full", "Make room and try again."),
    "could not extend": ("the server's disk is full", "Make room and try again."),
    "readonly": ("the file may only be read", "Give leave to write it, or copy it elsewhere."),
    "read-only": ("the database may only be read", "Ask whoever runs the server."),
    "disk i/o": (
        "the disk refuses",
        "It may be full, unplugged or failing: look, copy the file elsewhere, try again.",
    ),
    "unable to open": (
        "the file cannot be opened",
        "Look whether its folder exists and may be written.",
    ),
    "not a database": ("the file is something else", "Name the file of a farm's books."),
    "malformed": (DAMAGED, "Restore the last backup, and keep this file."),
    "is locked": ("another program writes too long", "Try again."),
    "does not exist": ("there is no such database", "Have it made on the server first."),
    "connection": ("the server does not answer", "Look whether it runs, then try again."),
}


@contextmanager
def told(where: object, what: str, safe: str = "") -> Generator[None]:
    """Failures of the database inside become a `StoreError` that says what, why and what to do."""
    try:
        yield
    except exc.TimeoutError:
        raise StoreError(f"{where}: {what}, for too many ask at once. Try again.") from None
    except (exc.DatabaseError, sqlite3.Error) as error:
        cause, cure = _why(str(getattr(error, "orig", error)))
        told = [f"{where}: {what}, for {cause}.", "" if cause == DAMAGED else safe, cure]
        raise StoreError(" ".join(text for text in told if text)) from error


def _why(said: str) -> tuple[str, str]:
    known = (why for sign, why in _CAUSES.items() if sign in said.lower())
    return next(known, (f"the database says: {said.strip().rstrip('.')}", ""))
