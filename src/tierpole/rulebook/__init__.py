"""Hemp rules as dated data: what holds where, since when, in which text, and how sure we are."""

from tierpole.rulebook.library import (
    Caution,
    RuleChange,
    cautions,
    jurisdictions,
    rule_changes,
    rulebook_on,
    rulebooks,
)
from tierpole.rulebook.loader import read_books
from tierpole.rulebook.models import PlantsMethod, Provision, Rulebook, Strikes

__all__ = [
    "Caution",
    "PlantsMethod",
    "Provision",
    "RuleChange",
    "Rulebook",
    "Strikes",
    "cautions",
    "jurisdictions",
    "read_books",
    "rule_changes",
    "rulebook_on",
    "rulebooks",
]
