"""The plan of a season on paper: what to call, cut and hang when, at what risk, resting on what."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import groupby
from math import ceil
from typing import Any

import xarray as xr

from tierpole import charts
from tierpole.charts import words
from tierpole.charts.ground import TOOL_LIMIT, has_test, is_counted, most_helpful
from tierpole.charts.money import money_sentence
from tierpole.charts.places import fullest, place_plan
from tierpole.compliance import Deadline, Due
from tierpole.documents.deadlines import deadlines
from tierpole.documents.parts import Cell, Grid, Order, Said, deadline_grid, head, warnings
from tierpole.documents.typeset import Draft, file_name, picture
from tierpole.plan.result import LotPlan, Plan, PlannedCut
from tierpole.season import Season

_IN_OTHER_TABLES = (Due.CUT, Due.TAKE_DOWN)


def season_plan(season: Season, outlook: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """The whole plan, in the order of the work."""
    dated = [one for one in deadlines(season, plan, order.filed) if one.due not in _IN_OTHER_TABLES]
    return Draft(
        template="season_plan",
        name=file_name("season-plan", str(season.year), season.on.isoformat()),
        title=f"Season plan {season.year}: {season.farm.name}",
        made_on=season.on,
        size=order.size,
        data={
            "head": head(season),
            "year": str(season.year),
            "sentence": _sentence(season, plan, dated),
            "money": money_sentence(plan.money),
            "broken": list(plan.broken_rules),
            "strip": picture(charts.season_strip(season, outlook, plan)),
            "lots": _lots(season, plan),
            "dates": deadline_grid(dated),
            "weeks": list(_weeks(plan)),
            "cut_total": f"In all {_cut_total(plan.cuts)}.",
            "places": list(_places(season, plan)),
            "crew": picture(charts.crew_hours(season, plan)),
            "spread": picture(charts.money_spread(plan)),
            "thumbs": thumb_grid(plan),
            "assumed": list(assumed(season)),
            "limits": [text for text in (most_helpful(season, plan), TOOL_LIMIT) if text],
            "cautions": [*warnings("barn", ("rails-break", "falls")), *warnings("money")],
        },
    )


def _sentence(season: Season, plan: Plan, dated: list[Deadline]) -> str:
    """The next decision, then the whole in one breath."""
    calls = (one for one in dated if one.due in (Due.NOTICE, Due.CALL))
    first = next(calls, None)
    by = f"By {words.long_day(max(first.day, season.on))}: {first.what} " if first else ""
    cuts = plan.cuts
    if not cuts:
        return f"{by}Nothing is cut in this plan."
    sticks = words.counted(sum(cut.sticks for cut in cuts), "stick")
    span = words.span(cuts[0].day, cuts[-1].day)
    left = sum(lot.sticks_left for lot in plan.lots)
    stay = f"; {words.counted(left, 'stick')} stay in the field" if left >= 1 else ""
    return f"{by}In all {sticks} are cut and hung, {span}{stay}."


def _lots(season: Season, plan: Plan) -> Grid:
    header = ("Lot", "Call by", "Sample", "Passes in", "May be cut", "Cut", "Sticks", "Left")
    rows = tuple(_lot_row(season, lot) for lot in plan.lots)
    sticks, left = sum(cut.sticks for cut in plan.cuts), sum(lot.sticks_left for lot in plan.lots)
    return Grid(header, rows, (6, 7), ("In all", *[""] * 5, f"{sticks:,}", f"{left:,}"))


def _lot_row(season: Season, lot: LotPlan) -> tuple[Cell, ...]:
    noun = season.lots[season.lot_index(lot.lot)]
    ahead = lot.sample_on is not None and lot.sample_on >= season.on
    sticks = sum(cut.sticks for cut in lot.cuts)
    return (
        lot.lot,
        words.day(lot.request_on) if ahead and lot.request_on else "",
        words.day(lot.sample_on) if lot.sample_on else "none",
        _chance(season, lot),
        words.span(*lot.window) if lot.window else "",
        words.span(lot.cuts[0].day, lot.cuts[-1].day) if lot.cuts else "",
        Said(f"{sticks:,}", not is_counted(noun)),
        f"{lot.sticks_left:,}",
    )


def _chance(season: Season, lot: LotPlan) -> Cell:
    if lot.p_pass is None:
        return ""
    if lot.p_pass == 1.0 and lot.window and lot.sample_on and lot.sample_on < season.on:
        return "passed"
    return Said(words.short_odds(lot.p_pass), not has_test(season, lot.lot))


def _weeks(plan: Plan) -> Iterator[dict[str, Any]]:
    """The cut list, a grid for each week."""
    for monday, group in groupby(plan.cuts, key=lambda cut: _monday(cut.day)):
        cuts = list(group)
        yield {
            "heading": f"Week of {words.long_day(monday)}: {_cut_total(cuts)}",
            "grid": Grid(
                ("Day", "Lot", "Sticks", "Hang in", "Hours", "Dry by"),
                tuple(
                    (words.day(cut.day), cut.lot, f"{cut.sticks:,}", cut.place,
                     f"{cut.hours:.0f}", words.short_day(cut.dry_on))
                    for cut in cuts
                ),
                (2, 4),
            ),
        }  # fmt: skip


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _cut_total(cuts: Sequence[PlannedCut]) -> str:
    sticks = words.counted(sum(cut.sticks for cut in cuts), "stick")
    return f"{sticks}, about {ceil(sum(cut.hours for cut in cuts)):,} crew hours"


def _places(season: Season, plan: Plan) -> Iterator[str]:
    for place in season.places:
        yield f"{place.name} {fullest(place_plan(plan, place.name))}."
    for worth in plan.worth:
        yield f"{words.capital(worth.what)} would be worth {words.dollars(worth.dollars)}."


def thumb_grid(plan: Plan) -> Grid:
    """The plan beside rules of thumb on the same draws."""
    rows = [("This plan", plan.money), *((c.name, c.money) for c in plan.rules_of_thumb)]
    return Grid(
        ("Way of working", "Loses in", "Worst fifth, mean", "Mean", "8 of 10 seasons between"),
        tuple(
            (
                words.capital(name),
                words.odds(money.p_loss),
                words.dollars(money.cvar),
                words.dollars(money.mean),
                f"{words.dollars(money.low)} and {words.dollars(money.high)}",
            )
            for name, money in rows
        ),
        (2, 3),
    )


def assumed(season: Season) -> Iterator[str]:
    """What nobody has measured and what is taken instead, lots and places taken together."""
    uncounted = [lot.name for lot in season.lots if not is_counted(lot)]
    if uncounted:
        yield f"Plants alive in {words.listed(uncounted)}: 90 % of those set, until counted."
    untested = [lot.name for lot in season.lots if not has_test(season, lot.name)]
    if untested:
        yield f"Potency of {words.listed(untested)}: from the variety alone; no test is in."
    if "uncertainty" not in season.laboratory.model_fields_set:
        yield f"The laboratory's uncertainty: {100 * season.laboratory.uncertainty:.2g} %."
    unread = [p.name for p in season.places if p.air_changes_day is None]
    if unread:
        yield f"The air exchange of {words.listed(unread)}: from the kind of building."
