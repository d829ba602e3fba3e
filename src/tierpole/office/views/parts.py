"""What every view model is made of: numbers that answer "why?", phrases, and the head of a page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from tierpole.charts import words
from tierpole.charts.ground import has_test, invented, is_counted, lot_state, reason_words
from tierpole.farm import Lot
from tierpole.plan.result import LotPlan, Plan, Reason
from tierpole.season import Season

WEEK = 7  # days a week's page looks ahead


class NotHereError(LookupError):
    """A page was asked for by a name that nothing bears."""


@dataclass(frozen=True)
class Number:
    """A number as it is said; `why` leads one step down, `assumed` marks weak ground."""

    text: str
    why: str = ""
    assumed: bool = False


Phrase = tuple[str | Number, ...]


def plain(phrase: Phrase) -> str:
    """A phrase as text alone."""
    return "".join(part if isinstance(part, str) else part.text for part in phrase)


@dataclass(frozen=True)
class Entry:
    """A lot or a place in the list at the foot of every page: its name and how it stands."""

    name: str
    says: str


@dataclass(frozen=True)
class Head:
    """What stands on every page: whose it is, of which day, what is invented, where else to go."""

    farm: str
    on: date
    day: str
    invented: tuple[str, str]
    broken_rules: tuple[str, ...]
    lots: tuple[Entry, ...]
    places: tuple[Entry, ...]


def head(season: Season, plan: Plan) -> Head:
    """The head of a page."""
    return Head(
        farm=season.farm.name,
        on=season.on,
        day=f"{words.day(season.on)} {season.on.year}",
        invented=invented(season),
        broken_rules=plan.broken_rules,
        lots=tuple(Entry(lot.lot, lot_state(lot, season.on)) for lot in plan.lots),
        places=tuple(Entry(place.name, str(place.kind)) for place in season.places),
    )


def chance(season: Season, lot: str, value: float, step: str = "p_pass") -> Number:
    """A chance as seasons of twenty; assumed while no test of the lot is in."""
    return Number(words.odds(value), f"plan/{step}/{lot}", not has_test(season, lot))


def sticks(lot: Lot, number: float, step: str = "sticks") -> Number:
    """A count of a lot's sticks; assumed while its plants have not been counted."""
    return Number(words.counted(number, "stick"), f"plan/{step}/{lot.name}", not is_counted(lot))


def reason_like(lot: LotPlan, choice: str) -> Reason | None:
    """The reason about another choice, by how it begins: `a week later`."""
    return next((reason for reason in lot.reasons if reason.choice.startswith(choice)), None)


def reason_phrase(plan: Plan, lot: str, said: str, reason: Reason, most: int = 99) -> Phrase:
    """What another choice would change: its total, its largest pieces, and when it is too small.

    A difference smaller than what is left between the plan and its bound may be the search's own.
    """
    total = Number(words.signed_dollars(reason.total), f"plan/reason/{lot}")
    slack = abs(plan.bound) * plan.gap / (1 + plan.gap)
    small = " That is less than the plan can tell apart." if abs(reason.total) < slack else ""
    return f"{said}: ", total, f" for the season: {reason_words(reason, most)}.{small}"


def money_phrase(plan: Plan) -> Phrase:
    """The season's money: loss first, then the mean with its band."""
    money, why = plan.money, "plan/money/season"
    band = f"{words.dollars(money.low)} and {words.dollars(money.high)}"
    return (
        "The season loses money in ", Number(words.odds(money.p_loss), why), ". Its mean is ",
        Number(words.dollars(money.mean), why), f", between {band} in 8 of 10 seasons.",
    )  # fmt: skip


def week_from(on: date) -> tuple[date, date]:
    """The first and last day of the week a page is about."""
    return on, on + timedelta(days=WEEK - 1)
