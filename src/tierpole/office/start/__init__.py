"""The guided start: a farm from nothing to its first plan, in the books' own nouns."""

from tierpole.office.start.beginning import Beginning, is_to_begin
from tierpole.office.start.guide import Guide, NotTakenError, State
from tierpole.office.start.steps import LAST, STEPS, TITLE_LAST, after, before, step_named

__all__ = [
    "LAST", "STEPS", "TITLE_LAST", "Beginning", "Guide", "NotTakenError", "State", "after",
    "before", "is_to_begin", "step_named",
]  # fmt: skip
