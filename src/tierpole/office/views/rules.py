"""The rulebook in force: what it says, where it was read, what is unsure, what it touches here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import xarray as xr
from pydantic import BaseModel

from tierpole.charts import words
from tierpole.compliance import window_end
from tierpole.compliance.status import has_passed, official
from tierpole.office.views.parts import Head, head
from tierpole.outlook.legal import plants_cut
from tierpole.plan.result import Plan
from tierpole.potency.design import lots_to_sample, most_failing
from tierpole.rulebook import (
    Caution,
    DayOfYear,
    Provision,
    Rulebook,
    RuleChange,
    cautions,
    rule_changes,
    rulebook_on,
)
from tierpole.season import Season

FIRST = ("limit", "mu_allowed", "window_days", "cut_before_sample", "cut_before_result", "plants")
HOT = "hot_result_steps"
SURE = 0.95  # the level of confidence that 7 CFR 990.3(a)(2)(iii) asks of sampling by performance


@dataclass(frozen=True)
class Rule:
    """One rule in own words, with its value, its source and how sure it is."""

    title: str
    value: str
    says: str
    citation: str
    read_on: str
    verify: bool
    assumed: str


@dataclass(frozen=True)
class LotDates:
    """What the rules ask of one lot: plants to cut, sample, last day to cut."""

    lot: str
    plants: str
    sample: str
    last_cut: str


@dataclass(frozen=True)
class Change:
    """A change of the rules inside the season, and what differs after it."""

    sentence: str
    differences: tuple[Rule, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Rules:
    """The page of the rules."""

    head: Head
    sentence: str
    title: str
    texts: tuple[str, ...]
    verify: bool
    first: tuple[Rule, ...]
    rest: tuple[Rule, ...]
    hot_steps: tuple[str, ...]
    lots: tuple[LotDates, ...]
    record: str
    changes: tuple[Change, ...]
    book_cautions: tuple[str, ...]
    cautions: tuple[Caution, ...]


def rules(season: Season, _: xr.Dataset, plan: Plan) -> Rules:
    """The view model of Rules."""
    book = rulebook_on(season.farm.jurisdiction, season.on)
    every = {name: _rule(title, provision) for name, title, provision in book.provisions()}
    changes = rule_changes(season.farm.jurisdiction, season.on, season.day(274))
    return Rules(
        head=head(season, plan),
        sentence=_sentence(season, book, changes),
        title=book.title,
        texts=book.texts,
        verify=book.status == "verify",
        first=tuple(every[name] for name in FIRST),
        rest=tuple(rule for name, rule in every.items() if name not in (*FIRST, HOT)),
        hot_steps=book.hot_result_steps.value,
        lots=tuple(_lots(season, plan, book)),
        record=_record(season, book),
        changes=tuple(_change(change) for change in changes),
        book_cautions=book.cautions,
        cautions=cautions("rules"),
    )


def _sentence(season: Season, book: Rulebook, changes: tuple[RuleChange, ...]) -> str:
    limit = f"{100 * float(book.limit.value):.3g} %"
    allowed = season.laboratory.uncertainty if book.mu_allowed.value else 0.0
    printed = f"{100 * float(book.limit.value) + 100 * allowed:.3g} %"
    said = (
        f"A lot passes when its certificate shows {printed} total THC or less ({limit} plus the "
        f"laboratory's uncertainty), and is cut within {book.window_days.value} days of its sample."
    )
    if changes:
        said += f" The rules change on {words.long_day(changes[0].on)}."
    return said


def _record(season: Season, book: Rulebook) -> str:
    """What this season's results say of all such lots, and what sampling only some would need."""
    tested = list(official(season.tests))
    failed = sum(not has_passed(test, book) for test in tested)
    lots = len(season.lots)
    drawn = lots_to_sample(lots, 1 / lots, SURE)
    needed = "all of them" if drawn == lots else f"{drawn:,} of them"
    every = (
        f"To be {words.percent(SURE)} sure that not one of {words.counted(lots, 'lot')} is over "
        f"its limit, {needed} would have to be sampled"
    )
    rest = "no rule here exempts a lot" if not book.performance_sampling.value else (
        "a state that samples by performance may draw fewer")  # fmt: skip
    if not tested:
        return f"No official result is known yet. {every}; {rest}."
    most = most_failing(len(tested), failed, SURE)
    return (
        f"{words.counted(len(tested), 'official result')} so far, {failed:,} over the limit: with "
        f"{words.percent(SURE)} certainty no more than {words.percent(most)} of such lots are. "
        f"{every}; {rest}."
    )


def _rule(title: str, provision: Provision[Any]) -> Rule:
    return Rule(
        title=title,
        value=_value(provision),
        says=provision.says,
        citation=provision.citation,
        read_on=f"{words.short_day(provision.read_on)} {provision.read_on.year}",
        verify=provision.verify,
        assumed=str(provision.mark) if provision.mark.is_assumed else "",
    )


def _value(provision: Provision[Any]) -> str:
    """A rule's value in a few words; empty where the text alone says it."""
    value = provision.value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if provision.unit == "%":
        return f"{100 * float(value):.3g} %"
    if provision.unit == "in":
        return f"{value[0] / 0.0254:.3g} to {value[1] / 0.0254:.3g} in"
    if isinstance(value, int):
        return words.counted(value, provision.unit.rstrip("s")) if provision.unit else f"{value:,}"
    if isinstance(value, tuple):
        return words.listed([str(part).replace("_", " ") for part in value])
    has_own_words = isinstance(value, BaseModel) and not isinstance(value, DayOfYear)
    return "" if has_own_words else str(value)


def _lots(season: Season, plan: Plan, book: Rulebook) -> Iterator[LotDates]:
    for lot in plan.lots:
        count = plants_cut(season, season.lot_index(lot.lot))
        sample = words.day(lot.sample_on) if lot.sample_on else "none planned"
        last = words.day(window_end(lot.sample_on, book)) if lot.sample_on else ""
        yield LotDates(lot.lot, words.counted(count, "plant"), sample, last)


def _change(change: RuleChange) -> Change:
    after = {name: (title, p) for name, title, p in change.after.provisions()}
    return Change(
        sentence=f"On {words.long_day(change.on)} {change.on.year}: {change.after.title}.",
        differences=tuple(_rule(*after[name]) for name in change.names),
        cautions=change.after.cautions,
    )
