"""The potency forecast as plain text: all lots in a table, one lot week by week."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from tierpole.charts import words, worth_sentence
from tierpole.cli.layout import USUAL, columns, wrap
from tierpole.outlook.report import Fan, LotForecast
from tierpole.plan.result import Plan
from tierpole.season import Season

SURE = 0.95  # chance from which a sample is all but safe
WEEK = 7
CAUTION = (
    "A forecast is not an official sample, and this is not legal advice: the state department of "
    "agriculture decides. It holds for lots as even as the trials behind it."
)


def forecast_text(
    season: Season,
    lots: Sequence[LotForecast],
    plan: Plan | None = None,
    width: int = USUAL,
    is_one: bool = False,
) -> str:
    """Every lot in a line, or one lot week by week; with a plan, what one more test is worth."""
    lines = [f"{season.farm.name}, seen on {words.long_day(season.on)}", ""]
    lines += _weeks(season, lots[0], width) if is_one else _table(season, lots, width)
    lines += ["", *_told(season, lots, width)]
    lines += ["HOW FAR TO TRUST IT", *_trust(lots, width)]
    if plan is not None:
        lines += ["", "ONE MORE TEST", *_worth(plan, lots, width)]
    return "\n".join([*lines, "", wrap(CAUTION, width, "  ")])


def _table(season: Season, lots: Sequence[LotForecast], width: int) -> Iterator[str]:
    yield "TOTAL THC IN THE TOPS (middle, 8 seasons of 10) AND WHEN A SAMPLE PASSES"
    heads = ("lot", ">today", ">8 of 10", ">in two weeks", ">19 of 20 until", ">even until")
    later = min(season.today + 2 * WEEK, len(season.days) - 1)
    rows = [
        (lot.lot, _middle(lot.thc, season.today), _band(lot.thc, season.today),
         _middle(lot.thc, later), _until(season, lot, SURE), _until(season, lot, 0.5))
        for lot in lots
    ]  # fmt: skip
    yield from columns(heads, rows, width)


def _weeks(season: Season, lot: LotForecast, width: int) -> Iterator[str]:
    yield f"{lot.lot.upper()}, WEEK BY WEEK"
    heads = ("day", ">CBD", ">8 of 10", ">THC", ">8 of 10", ">before tests", ">passes", ">buyer")
    last = season.index(lot.sample_days[-1])
    rows = []
    for day in range(season.today, last + 1, WEEK):
        next_sample = next(n for n, d in enumerate(lot.sample_days) if season.index(d) >= day)
        rows.append(
            (words.day(season.day(day)), _middle(lot.cbd, day, 1), _band(lot.cbd, day, 1),
             _middle(lot.thc, day), _band(lot.thc, day), _middle(lot.thc_before, day),
             *(_chance(each[next_sample]) for each in (lot.p_pass, lot.p_buyer_pass)))
        )  # fmt: skip
    yield from columns(heads, rows, width)
    yield wrap("Chances are of the first sample that can be taken from that day on.", width, "  ")


def _told(season: Season, lots: Sequence[LotForecast], width: int) -> Iterator[str]:
    """What each certificate changed."""
    told = [(lot, one) for lot in lots for one in lot.told]
    if not told:
        return
    yield "WHAT EACH TEST CHANGED"
    for lot, one in told:
        test, change = season.tests[one.row], float(np.expm1(one.moved))
        below = "under " if test.thc_below else ""
        text = (
            f"{lot.lot}, {words.short_day(test.sampled_on)}, {test.kind}: {below}"
            f"{100 * test.total_thc:.3g} % THC; the THC expected that day {100 * change:+.0f} %; "
            f"counts {one.counts:.1f} of an ordinary test"
        )
        yield wrap(text, width, "  ", "  ")
    yield ""


def _trust(lots: Sequence[LotForecast], width: int) -> Iterator[str]:
    """Each verdict once, with the lots that it is of."""
    verdicts: dict[str, list[str]] = {}
    for lot in lots:
        verdicts.setdefault(lot.verdict, []).append(lot.lot)
    for verdict, names in verdicts.items():
        who = "" if len(verdicts) == 1 else f"{words.listed(names)}: "
        yield wrap(f"{who}{verdict}", width, "  ", "  ")


def _worth(plan: Plan, lots: Sequence[LotForecast], width: int) -> Iterator[str]:
    names = [lot.lot for lot in lots]
    told = [
        worth_sentence(lot, lot.testing) for lot in plan.lots if lot.testing and lot.lot in names
    ]
    yield from (wrap(text, width, "  ", "  ") for text in told)
    if not told:
        yield "  No lot here can still be changed by a test."


def _until(season: Season, lot: LotForecast, chance: float) -> str:
    """The last day, from the next on which a sample can be taken, before a chance is lost."""
    days = [day for day in lot.sample_days if day > season.on]
    passes = lot.p_pass[len(lot.sample_days) - len(days) :] >= chance
    if not passes.size or not passes[0]:
        return "not now"
    return "the end" if passes.all() else words.short_day(days[int(passes.argmin()) - 1])


def _chance(chance: float) -> str:
    """A chance as short as a column wants it: `>99 %`."""
    return words.chance_percent(float(chance)).replace("over ", ">").replace("under ", "<")


def _middle(fan: Fan, day: int, digits: int = 2) -> str:
    return f"{100 * fan.median[day]:.{digits}f} %"


def _band(fan: Fan, day: int, digits: int = 2) -> str:
    return f"{100 * fan.low[day]:.{digits}f}-{100 * fan.high[day]:.{digits}f}"
