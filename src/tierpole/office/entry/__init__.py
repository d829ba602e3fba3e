"""Entering: what is asked, how an answer is read, and how it reaches the books."""

from tierpole.office.entry.desk import Asked, Desk, Entered, NotKeptError, RefusedError
from tierpole.office.entry.fields import Ask
from tierpole.office.entry.forms import FORMS, SELLING, Form

__all__ = [
    "FORMS", "SELLING", "Ask", "Asked", "Desk", "Entered", "Form", "NotKeptError", "RefusedError",
]  # fmt: skip
