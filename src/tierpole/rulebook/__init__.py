"""Hemp rules as dated data: what holds where, since when, in which text, and how sure we are."""

from tierpole.rulebook.library import (
    Caution,
    RuleChange,
    Topic,
    cautions,
    jurisdictions,
    rule_changes,
    rulebook_on,
    rulebooks,
)
from tierpole.rulebook.loader import read_books
from tierpole.rulebook.models import (
    NOT_STATED,
    DayOfYear,
    PlantsMethod,
    Provision,
    Rulebook,
    Strikes,
)

__all__ = [
    "NOT_STATED",
    "Caution",
    "DayOfYear",
    "PlantsMethod",
    "Provision",
    "RuleChange",
    "Rulebook",
    "Strikes",
    "Topic",
    "cautions",
    "jurisdictions",
    "read_books",
    "rule_changes",
    "rulebook_on",
    "rulebooks",
]
