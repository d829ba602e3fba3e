"""What every view model is made of: numbers that answer "why?", phrases, and the head of a page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from tierpole.charts import words, worth_sentence
from tierpole.compliance import LotState
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


def invented(season: Season) -> tuple[str, str]:
    """What is not real in a few words, and by which rule a real year stands in; empty if all is."""
    year = season.stand_in_year
    short = "An invented farm. " if season.farm.is_invented else ""
    long = "Its fields, varieties and prices are invented. " if season.farm.is_invented else ""
    if year is not None:
        short += f"The weather of {year} stands in for this season so far."
        long += (
            f"The weather is real: {year} is, of the years with a wet September, the one whose "
            "first night at 28 °F is the median. It was chosen by that rule, not by its result, "
            "and is left out of the seasons drawn."
        )
    return short.strip(), long.strip()


def lot_state(lot: LotPlan, on: date) -> str:
    """How a lot stands, in a few words: `sample Tue 8 Sep`, `cut 3–10 Sep`."""
    if lot.state is LotState.CLOSED:
        return "closed"
    if lot.state is LotState.FAILED:
        return "failed: choose its path"
    if lot.state is LotState.SAMPLED:
        return "sampled, result pending"
    if lot.state is LotState.GROWING and lot.sample_on is not None and lot.sample_on >= on:
        return f"sample {words.day(lot.sample_on)}"
    if lot.cuts:
        return f"cut {words.span(lot.cuts[0].day, lot.cuts[-1].day)}"
    return "no sample and no cut planned" if lot.sticks_standing >= 1 else "all cut"


def has_test(season: Season, lot: str) -> bool:
    """Whether any certificate of a lot is in."""
    return any(test.lot == lot for test in season.tests)


def chance(season: Season, lot: str, value: float, step: str = "p_pass") -> Number:
    """A chance as seasons of twenty; assumed while no test of the lot is in."""
    return Number(words.odds(value), f"plan/{step}/{lot}", not has_test(season, lot))


def is_counted(lot: Lot) -> bool:
    """Whether somebody has counted the plants alive in a lot."""
    return lot.plants_counted is not None


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


def reason_words(reason: Reason, most: int = 99) -> str:
    """The pieces of a reason, largest first, so many by name: `CBD +$460, pass risk −$890`."""
    pieces = sorted(reason.pieces, key=lambda piece: -abs(piece[1]))
    named = [(name, amount) for name, amount in pieces[:most] if round(amount)]
    rest = sum(amount for _, amount in pieces[most:])
    shown = [*named, ("all else", rest)] if round(rest) else named
    return ", ".join(f"{name} {words.signed_dollars(amount)}" for name, amount in shown)


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


# --- where the tool is weak ---------------------------------------------------------------------

TOOL_LIMIT = (
    "Chances are counted over simulated seasons. They hold for lots as even as the trials behind "
    "them; a real field is patchier, and no forecast is an official sample."
)


def most_helpful(season: Season, plan: Plan) -> str:
    """The measurement that would help most: the test worth most over its fee, else a count."""
    tested = [(lot.testing.best.net, lot) for lot in plan.lots if lot.testing]
    net, lot = max(tested, key=lambda pair: pair[0], default=(0.0, None))
    if lot is not None and lot.testing is not None and net > 0:
        return worth_sentence(lot, lot.testing)
    uncounted = [lot.name for lot in season.lots if not is_counted(lot)]
    if uncounted:
        counting = f"Counting the plants alive in {words.listed(uncounted[:3])} would help most"
        return f"{counting}; no test would pay its fee now." if tested else f"{counting}."
    return "No test would pay its fee now." if tested else ""
