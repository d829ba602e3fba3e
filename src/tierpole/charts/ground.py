"""What pages and papers say alike: what is invented, how a lot stands, what is only assumed."""

from __future__ import annotations

from datetime import date

from tierpole.charts import words
from tierpole.charts.testing import worth_sentence
from tierpole.compliance import LotState
from tierpole.farm import Lot
from tierpole.plan.result import LotPlan, Plan, Reason
from tierpole.season import Season

TOOL_LIMIT = (
    "Chances are counted over simulated seasons. They hold for lots as even as the trials behind "
    "them; a real field is patchier, and no forecast is an official sample."
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


def is_counted(lot: Lot) -> bool:
    """Whether somebody has counted the plants alive in a lot."""
    return lot.plants_counted is not None


def reason_words(reason: Reason, most: int = 99) -> str:
    """The pieces of a reason, largest first, so many by name: `CBD +$460, pass risk −$890`."""
    pieces = sorted(reason.pieces, key=lambda piece: -abs(piece[1]))
    named = [(name, amount) for name, amount in pieces[:most] if round(amount)]
    rest = sum(amount for _, amount in pieces[most:])
    shown = [*named, ("all else", rest)] if round(rest) else named
    return ", ".join(f"{name} {words.signed_dollars(amount)}" for name, amount in shown)


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
