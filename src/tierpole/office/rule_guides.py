"""What the rules in force say beside a form, and what is doubtful in what was written there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from tierpole.compliance import LotState, lot_status
from tierpole.errors import RuleError
from tierpole.farm import Farm, Noun, Test
from tierpole.farm.books import (
    Delivery,
    Disposal,
    DisposalMethod,
    Remediation,
    RemediationMethod,
    Report,
    ReportKind,
)
from tierpole.office.gates import delivery_troubles
from tierpole.records import Store, Wanted, nouns
from tierpole.rulebook import Caution, Provision, Rulebook, cautions, rulebook_on

_RULES = {
    "disposal": ("disposal_methods", "disposal_notice_days", "disposal_report_days"),
    "remediation": (
        "remediation",
        "biomass_retest",
        "disposal_notice_days",
        "disposal_report_days",
    ),
}
_RULE_OF = {
    ReportKind.PLANTING: "planting_report",
    ReportKind.ANNUAL: "annual_report",
    ReportKind.HARVEST: "pre_harvest_report_days",
    ReportKind.NOTICE: "disposal_notice_days",
    ReportKind.DISPOSED: "disposal_report_days",
}
_CAUTIONS = ("who-decides", "not-legal-advice", "failed-crop-apart")
UNTOLD = "The books do not say that the department was told before: write it down if it was."
UNNAMED = "The rules in force do not name this way. Have the department's word for it in writing."
NO_REMEDY = (
    "The rules in force then know no such remedy: without the department's word the material "
    "stays what it was, over the limit."
)


@dataclass(frozen=True)
class GuideRule:
    """One rule beside a form: its title, what it says, where it stands, whether to confirm it."""

    title: str
    says: str
    citation: str
    verify: bool


@dataclass(frozen=True)
class Guide:
    """The rules a form is led by, by which text, and the cautions that go with them."""

    title: str
    rules: tuple[GuideRule, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class RuleGuides:
    """Where the rulebook in force on a day is looked up for the forms of a farm."""

    store: Store
    on: date

    def guide(self, kind: str, answers: Mapping[str, str]) -> Guide | None:
        """What the rules say beside the form of a kind of noun; None where they lead nothing."""
        names = _RULES.get(kind) or self._of_report(kind, answers)
        book = self._book(self.on) if names else None
        if book is None:
            return None
        told = {name: (title, rule) for name, title, rule in book.provisions()}
        warned = cautions("rules") if kind in _RULES else ()
        return Guide(
            title=book.title,
            rules=tuple(_rule(*told[name]) for name in names),
            cautions=tuple(_said(warned)),
        )

    def _of_report(self, kind: str, answers: Mapping[str, str]) -> tuple[str, ...]:
        said = answers.get("kind", "")
        is_known = kind == "report" and said in list(ReportKind)
        return (_RULE_OF[ReportKind(said)],) if is_known else ()

    def ways(self, kind: str) -> tuple[str, ...]:
        """The methods a form offers by the rules in force; empty where they lead nothing."""
        book = self._book(self.on) if kind in _RULES else None
        if book is None:
            return ()
        if kind == "disposal":
            return (*book.disposal_methods.value, DisposalMethod.OTHER)
        return book.remediation.value or tuple(RemediationMethod)

    def doubts(self, noun: Noun | None) -> tuple[str, ...]:
        """What is doubtful in something that was written, in sentences."""
        if isinstance(noun, Delivery):
            return tuple(str(one) for one in delivery_troubles(self.store, noun))
        if isinstance(noun, Disposal):
            return tuple(self._of_disposal(noun))
        return tuple(self._of_remedy(noun)) if isinstance(noun, Remediation) else ()

    def _of_disposal(self, noun: Disposal) -> Iterator[str]:
        book = self._book(noun.disposed_on)
        if book is None:
            return
        if noun.method not in book.disposal_methods.value:
            yield f"{UNNAMED} ({book.disposal_methods.citation})"
        yield from self._untold(noun, noun.disposed_on, book)

    def _of_remedy(self, noun: Remediation) -> Iterator[str]:
        book = self._book(noun.done_on)
        if book is None:
            return
        if noun.method not in book.remediation.value:
            yield f"{NO_REMEDY} ({book.remediation.citation})"
        elif noun.method is RemediationMethod.SHRED and book.biomass_retest.value:
            rule = book.biomass_retest
            yield f"Nothing of it leaves before its own test. {rule.says} ({rule.citation})"
        yield from self._untold(noun, noun.done_on, book)

    def _untold(self, noun: Disposal | Remediation, day: date, book: Rulebook) -> Iterator[str]:
        """A failed lot of which the department was not told before it was done."""
        if noun.notice_on is not None or not self._had_failed(noun.lot, day, book):
            return
        reports: list[Report] = [one.noun for one in nouns(self.store, Wanted("report"))]
        told = (one for one in reports if one.kind is ReportKind.NOTICE and one.lot == noun.lot)
        if not any(one.filed_on <= day and one.about == day.year for one in told):
            yield f"{UNTOLD} ({book.disposal_notice_days.citation})"

    def _had_failed(self, lot: str, day: date, book: Rulebook) -> bool:
        wanted = Wanted("test", season=day.year, lot=lot)
        tests: list[Test] = [one.noun for one in nouns(self.store, wanted)]
        return lot_status([], tests, 0.0, day, book).state is LotState.FAILED

    def _book(self, on: date) -> Rulebook | None:
        farm: Any = next((one.noun for one in nouns(self.store, Wanted("farm"))), None)
        if not isinstance(farm, Farm):
            return None
        try:
            return rulebook_on(farm.jurisdiction, on)
        except RuleError:  # a day no rulebook covers
            return None


def _rule(title: str, rule: Provision[Any]) -> GuideRule:
    return GuideRule(title, rule.says, rule.citation, rule.verify)


def _said(every: tuple[Caution, ...]) -> Iterator[str]:
    return (one.says for one in every if one.key in _CAUTIONS)
