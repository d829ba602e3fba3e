"""The season at a glance: the strip, the money, the crew, and how the plan was made."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import xarray as xr

from tierpole import charts
from tierpole.charts import Chart, words
from tierpole.charts.ground import TOOL_LIMIT, most_helpful
from tierpole.office.views.parts import Head, Number, Phrase, head, money_phrase
from tierpole.plan.result import Comparison, Plan
from tierpole.season import Season
from tierpole.units import System


@dataclass(frozen=True)
class PickedCut:
    """A planned cut in the list under the strip; `key` names its block in the picture."""

    key: str
    day: str
    lot: str
    sticks: int
    place: str
    dry_by: str


@dataclass(frozen=True)
class Rival:
    """The plan or a rule of thumb through the same seasons."""

    name: str
    loses: str
    mean: str
    band: str
    hung: str


@dataclass(frozen=True)
class SeasonPage:
    """The page of the season strip."""

    head: Head
    sentence: str
    strip: Chart
    cuts: tuple[PickedCut, ...]
    money_says: Phrase
    money: Chart
    crew: Chart
    rivals: tuple[Rival, ...]
    worth: tuple[Phrase, ...]
    notes: tuple[str, ...]
    made: tuple[str, ...]
    limits: tuple[str, ...]


def season_page(season: Season, outlook: xr.Dataset, plan: Plan, system: System) -> SeasonPage:
    """The view model of the season strip."""
    strip = charts.season_strip(season, outlook, plan, system)
    return SeasonPage(
        head=head(season, plan),
        sentence=strip.sentence,
        strip=strip,
        cuts=tuple(_cuts(plan)),
        money_says=money_phrase(plan),
        money=charts.money_spread(plan),
        crew=charts.crew_hours(season, plan),
        rivals=tuple(_rivals(plan)),
        worth=tuple(_worth(plan)),
        notes=plan.notes,
        made=tuple(_made(plan)),
        limits=tuple(text for text in (most_helpful(season, plan), TOOL_LIMIT) if text),
    )


def _cuts(plan: Plan) -> Iterator[PickedCut]:
    for number, cut in enumerate(plan.cuts):
        yield PickedCut(f"cut-{number}", words.day(cut.day), cut.lot, cut.sticks, cut.place,
                        words.short_day(cut.dry_on))  # fmt: skip


def _rivals(plan: Plan) -> Iterator[Rival]:
    hung = sum(cut.sticks for cut in plan.cuts)
    total = hung + sum(lot.sticks_left for lot in plan.lots)
    yield _rival(Comparison("this plan", plan.money, hung, total, 0.0))
    for rule in plan.rules_of_thumb:
        yield _rival(rule)


def _rival(rule: Comparison) -> Rival:
    money = rule.money
    return Rival(
        rule.name, words.short_odds(money.p_loss), words.dollars(money.mean),
        f"{words.dollars(money.low)} to {words.dollars(money.high)}",
        f"{rule.sticks_hung:,.0f} of {rule.sticks_total:,.0f}",
    )  # fmt: skip


def _worth(plan: Plan) -> Iterator[Phrase]:
    for worth in plan.worth:
        amount = Number(words.dollars(worth.dollars), "plan/worth/season")
        yield f"{words.capital(worth.what)}: ", amount, "."


def _made(plan: Plan) -> Iterator[str]:
    """How the plan was found, and how far it can be from the best."""
    if plan.stopped_early:
        yield "The work was stopped early; this is the best plan found by then."
    yield (
        f"No plan for these seasons can do more than {words.percent(plan.gap)} better than this "
        "one, the worst seasons weighed in (the proven gap)."
    )
    for one in plan.rounds:
        yield (
            f"Round {one.number}: planned {words.dollars(one.planned, 3)}, after drying the chosen "
            f"hanging again {words.dollars(one.resimulated, 3)}; the largest move of a drying time "
            f"was {words.counted(one.largest_move, 'day')}{words.no_room(one.no_room)}."
        )
