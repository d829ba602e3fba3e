"""The week: what to decide, what to do, room, hands and weather, worst wait first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from math import ceil

import numpy as np
import xarray as xr

from tierpole.charts import words
from tierpole.charts.ground import TOOL_LIMIT, most_helpful
from tierpole.charts.lots import pass_rows
from tierpole.charts.reading import as_dates, chance_frozen, last_cut
from tierpole.compliance import LotState
from tierpole.documents import NOTHING_FILED, Failed, Filed, failed_lots
from tierpole.office.views.duties import (
    DateRow,
    StoreRow,
    Way,
    date_rows,
    store_rows,
    ways_after_fail,
)
from tierpole.office.views.parts import (
    WEEK,
    Head,
    Number,
    Phrase,
    chance,
    head,
    money_phrase,
    reason_like,
    reason_phrase,
    week_from,
)
from tierpole.office.views.scout import scout_lines
from tierpole.office.views.strikes import strikes_words
from tierpole.outlook.summary import summarise
from tierpole.plan.result import LotPlan, PlacePlan, Plan, PlannedCut
from tierpole.rulebook import rulebook_on
from tierpole.season import Season
from tierpole.units import System

WET = 2.5  # mm of rain in a day that keeps a crew from cutting; shown in words beside the chance


@dataclass(frozen=True)
class Item:
    """One thing to decide or to do: by when, what, the numbers behind it, and ways on."""

    kind: str
    by: date
    said_by: str
    what: str
    facts: tuple[Phrase, ...]
    lot: str = ""
    place: str = ""
    waiting_costs: float = 0.0
    ways: tuple[Way, ...] = ()


@dataclass(frozen=True)
class CutRow:
    """A line of the crew's cut list."""

    day: str
    lot: str
    sticks: int
    place: str
    hours: float
    why: str


@dataclass(frozen=True)
class WeatherRow:
    """One of the next days: rain and the coldest air, counted over the draws."""

    day: str
    rain: str
    low: str


@dataclass(frozen=True)
class Week:
    """The page for this week."""

    head: Head
    sentence: str
    decide: tuple[Item, ...]
    todo: tuple[Item, ...]
    cut_list: tuple[CutRow, ...]
    cut_total: Phrase
    short: Phrase
    room: tuple[Phrase, ...]
    hands: Phrase
    store: tuple[StoreRow, ...]
    dates: tuple[DateRow, ...]
    weather: tuple[WeatherRow, ...]
    scout: tuple[str, ...]
    frost: tuple[Phrase, ...]
    money: Phrase
    strikes: str
    limits: tuple[str, ...]


def week(
    season: Season, outlook: xr.Dataset, plan: Plan, system: System, filed: Filed = NOTHING_FILED
) -> Week:
    """The view model of This week."""
    failed = failed_lots(season, filed)
    decide = tuple(sorted(_decisions(season, outlook, plan, failed, filed), key=_urgency))
    todo = tuple(sorted(_tasks(season, plan, failed, filed), key=lambda one: (one.by, one.what)))
    cuts = _cuts_this_week(season, plan)
    return Week(
        head=head(season, plan),
        sentence=_sentence(decide, todo),
        decide=decide,
        todo=todo,
        cut_list=tuple(_cut_row(cut) for cut in cuts),
        cut_total=_cut_total(cuts),
        short=_short(plan),
        room=tuple(_rooms(season, plan)),
        hands=_hands(season, plan),
        store=tuple(store_rows(filed)),
        dates=tuple(date_rows(season, plan, filed)),
        weather=tuple(_weather(season, outlook, system)),
        scout=scout_lines(season, outlook, system),
        frost=tuple(_frost(season, outlook, plan, system)),
        money=money_phrase(plan),
        strikes=strikes_words(season, filed),
        limits=tuple(text for text in (most_helpful(season, plan), TOOL_LIMIT) if text),
    )


def _urgency(item: Item) -> tuple[date, float]:
    """Soonest first; on the same day what a week's wait costs most."""
    return item.by, -item.waiting_costs


def _sentence(decide: tuple[Item, ...], todo: tuple[Item, ...]) -> str:
    doing = f"{words.spelled(len(todo), 'thing')} to do" if todo else "nothing to do"
    if not decide:
        return f"Nothing to decide this week and {doing}."
    first = decide[0]
    deciding = words.capital(words.spelled(len(decide), "thing"))
    return f"{deciding} to decide, {doing}. First: {first.what[0].lower()}{first.what[1:]}"


# --- to decide ----------------------------------------------------------------------------------


def _decisions(
    season: Season, outlook: xr.Dataset, plan: Plan, failed: tuple[Failed, ...], filed: Filed
) -> Iterator[Item]:
    _, last = week_from(season.on)
    known = {one.name: one for one in failed}
    for lot in plan.lots:
        by, on = lot.request_on, lot.sample_on
        if lot.state is LotState.FAILED:
            one = known.get(lot.lot)
            if one is None or not one.is_path_chosen:
                yield _hot_lot(season, lot, tuple(ways_after_fail(one, filed)) if one else ())
        elif by is not None and on is not None and by <= last and not _called(season, lot):
            yield _call(season, outlook, plan, lot, by, on)
    yield from (_again(season, one, filed) for one in failed if _is_to_destroy(one))


def _called(season: Season, lot: LotPlan) -> bool:
    """Whether the sampler has already been called for the plan's day."""
    return any(s.lot == lot.lot and s.sampled_on == lot.sample_on for s in season.samples)


def _call(
    season: Season, outlook: xr.Dataset, plan: Plan, lot: LotPlan, by: date, on: date
) -> Item:
    later = reason_like(lot, "a week later")
    return Item(
        kind="call", by=by, said_by=_by(by, season.on), lot=lot.lot,
        what=f"Call the sampler for {lot.lot}, to come on {words.long_day(on)}.",
        facts=tuple(_call_facts(season, outlook, plan, lot)),
        waiting_costs=-later.total if later else 0.0,
    )  # fmt: skip


def _by(day: date, on: date) -> str:
    return "today" if day <= on else f"by {words.day(day)}"


def _call_facts(season: Season, outlook: xr.Dataset, plan: Plan, lot: LotPlan) -> Iterator[Phrase]:
    if lot.p_pass is not None and lot.sample_on is not None:
        week_later = lot.sample_on + timedelta(days=WEEK)
        after = [row["p"] for row in pass_rows(outlook, lot.lot) if row["day"] >= week_later]
        later = (", ", chance(season, lot.lot, after[0]), " a week later") if after else ()
        yield "It passes in ", chance(season, lot.lot, lot.p_pass), " if sampled then", *later, "."
    for when in ("a week later", "a week earlier"):
        reason = reason_like(lot, when)
        if reason is not None:
            yield reason_phrase(plan, lot.lot, words.capital(when), reason, 3)
    if lot.fail_path:
        yield (f"If it fails, the best way left is to {lot.fail_path}.",)
    if lot.window is not None:
        window = Number(words.span(*lot.window), f"plan/window/{lot.lot}")
        yield "It may then be cut ", window, "."


def _is_to_destroy(lot: Failed) -> bool:
    return lot.is_again and not lot.is_path_chosen


def _again(season: Season, lot: Failed, filed: Filed) -> Item:
    """Remediated material that failed its own test."""
    rule = lot.book.biomass_retest
    return Item(
        kind="failed", by=season.on, said_by="now",
        what=f"{lot.name} is still over the limit after its remedy. It is to be destroyed.",
        facts=((f"{rule.says} ({rule.citation})",), ("Tell the department first.",)),
        waiting_costs=float("inf"), ways=tuple(ways_after_fail(lot, filed)),
    )  # fmt: skip


def _hot_lot(season: Season, lot: LotPlan, ways: tuple[Way, ...]) -> Item:
    steps = rulebook_on(season.farm.jurisdiction, season.on).hot_result_steps.value
    return Item(
        kind="failed", by=season.on, said_by="now", lot=lot.lot,
        what=f"{lot.lot} came back over the limit. Decide its path; until then leave it alone.",
        facts=((f"The best way left is to {lot.fail_path}.",), *((step,) for step in steps)),
        waiting_costs=float("inf"), ways=ways,
    )  # fmt: skip


# --- to do --------------------------------------------------------------------------------------


def _tasks(season: Season, plan: Plan, failed: tuple[Failed, ...], filed: Filed) -> Iterator[Item]:
    yield from (_as_told(season, one, filed) for one in failed if _is_told_only(one))
    yield from _visits(season, plan)
    cuts = sorted(_cuts_this_week(season, plan), key=lambda cut: (cut.lot, cut.place, cut.day))
    for (_, _), group in groupby(cuts, key=lambda cut: (cut.lot, cut.place)):
        yield _cut_task(list(group))
    yield from _take_downs(season, plan)


def _is_told_only(lot: Failed) -> bool:
    return lot.is_told and lot.done_on is None and not lot.is_reported


def _as_told(season: Season, lot: Failed, filed: Filed) -> Item:
    return Item(
        kind="failed", by=season.on, said_by="when agreed",
        what=f"Do with {lot.name} what the department was told, and write it down.",
        facts=(("Nothing is done to the crop before its method is agreed.",),),
        ways=tuple(ways_after_fail(lot, filed)),
    )  # fmt: skip


def _visits(season: Season, plan: Plan) -> Iterator[Item]:
    first, last = week_from(season.on)
    for lot in plan.lots:
        if lot.sample_on is not None and first <= lot.sample_on <= last:
            yield Item(
                "visit", lot.sample_on, words.day(lot.sample_on),
                f"Be there when the sampler comes to {lot.lot}.",
                (("Cut nothing of it before the sample is taken.",),), lot.lot,
            )  # fmt: skip


def _cuts_this_week(season: Season, plan: Plan) -> list[PlannedCut]:
    first, last = week_from(season.on)
    return [cut for cut in plan.cuts if first <= cut.day <= last]


def _cut_task(cuts: list[PlannedCut]) -> Item:
    first, total = cuts[0], sum(cut.sticks for cut in cuts)
    hours = Number(f"{ceil(sum(cut.hours for cut in cuts))} hours", f"plan/hours/{first.lot}")
    dry = Number(words.short_day(max(cut.dry_on for cut in cuts)), f"plan/dry/{first.place}")
    return Item(
        "cut", first.day, words.days_of_work(cut.day for cut in cuts),
        f"Cut {words.counted(total, 'stick')} of {first.lot} and hang them in {first.place}.",
        (("Crew ", hours, "; dry by ", dry, " in 8 of 10 seasons."),), first.lot, first.place,
    )  # fmt: skip


def _take_downs(season: Season, plan: Plan) -> Iterator[Item]:
    _, last = week_from(season.on)
    for place in plan.places:
        known = zip(as_dates(place.days), place.taken_down, strict=True)
        days = {day: float(sticks) for day, sticks in known if sticks >= 1 and day <= last}
        if days:
            total = words.counted(sum(days.values()), "stick")
            yield Item(
                "down", min(days), words.days_of_work(days),
                f"Take down {total} in {place.place} once they are in case.",
                (("Feel the stems first: the day is a forecast, the stick decides.",),),
                place=place.place,
            )  # fmt: skip


def _cut_row(cut: PlannedCut) -> CutRow:
    return CutRow(words.day(cut.day), cut.lot, cut.sticks, cut.place, round(cut.hours, 1),
                  f"plan/cuts/{cut.lot}")  # fmt: skip


def _cut_total(cuts: list[PlannedCut]) -> Phrase:
    if not cuts:
        return ("Nothing is cut this week.",)
    sticks = words.counted(sum(cut.sticks for cut in cuts), "stick")
    return (f"{sticks} in all, about {ceil(sum(cut.hours for cut in cuts))} crew hours.",)


# --- room and hands -----------------------------------------------------------------------------


def _short(plan: Plan) -> Phrase:
    """What finds neither room nor hands; empty when everything does."""
    left = [lot for lot in plan.lots if lot.sticks_left >= 1]
    if not left:
        return ()
    sticks = words.counted(sum(lot.sticks_left for lot in left), "stick")
    names = words.listed([lot.lot for lot in left])
    return Number(sticks, "plan/left/season"), f" of {names} stay in the field in this plan."


def _rooms(season: Season, plan: Plan) -> Iterator[Phrase]:
    for place in plan.places:
        yield _room(season, place)
    for worth in plan.worth:
        amount = Number(words.dollars(worth.dollars), "plan/worth/season")
        yield f"{words.capital(worth.what)} would be worth ", amount, "."


def _room(season: Season, place: PlacePlan) -> Phrase:
    noun = season.places[season.place_index(place.place)]
    if place.capacity[0] < 1 and noun.free_from is not None and noun.free_from > season.on:
        held = f"{noun.occupied_by or 'taken'} until {words.day(noun.free_from)}"
        return (f"{place.place}: {held}, then room for {place.capacity.max():,.0f} sticks.",)
    left = max(0.0, float(place.capacity[0] - place.hanging[0]))
    free = Number(f"{left:,.0f}", f"plan/room/{place.place}")
    full = _full_from(place)
    more = f"; full from {words.day(full)}" if full else "; never full in this plan"
    return f"{place.place}: ", free, f" of {place.capacity[0]:,.0f} sticks free now{more}."


def _full_from(place: PlacePlan) -> date | None:
    """The first day on which less than one stick in fifty of the room is left."""
    full = np.flatnonzero((place.capacity > 0) & (place.hanging >= 0.98 * place.capacity))
    return as_dates(place.days)[int(full[0])] if full.size else None


def _hands(season: Season, plan: Plan) -> Phrase:
    crew = plan.crew
    days = as_dates(crew.days)
    ahead = np.array([(day - season.on).days < WEEK for day in days])
    used = float((crew.cut_and_hang + crew.take_down + crew.strip)[ahead].sum())
    there = float(crew.available[ahead].sum())
    hours = Number(f"{ceil(used)} of {there:.0f} hours", "plan/hours/season")
    return "The plan uses ", hours, " the crew has in these seven days."


# --- weather ------------------------------------------------------------------------------------


def _weather(season: Season, outlook: xr.Dataset, system: System) -> Iterator[WeatherRow]:
    for ahead in range(WEEK):
        number = season.today + ahead
        if number >= len(season.days):
            return
        wet = summarise(outlook["rain"].values[:, number] >= WET).mean
        low = summarise(outlook["night_low"].values[:, number])
        yield WeatherRow(words.day(season.day(number)), words.short_odds(wet),
                         words.temperatures(low.low, low.high, system))  # fmt: skip


def _frost(season: Season, outlook: xr.Dataset, plan: Plan, system: System) -> Iterator[Phrase]:
    """The chance of a freeze before the last planned cut, for each level of cold in the fields."""
    until = last_cut(season, plan)
    number = min(season.index(until), len(season.days) - 1)
    freezing = words.temperature(0.0, system)
    for night_offset, fields in sorted(_by_offset(season).items(), reverse=True):
        odds = float(chance_frozen(season, outlook, night_offset, 0.0)[number])
        apart = words.offset(night_offset, system)
        yield (
            f"{freezing} before the last planned cut, {words.short_day(until)}, in ",
            Number(words.odds(odds), "plan/frost/season"),
            f" at {words.listed(sorted(fields))} ({apart}).",
        )


def _by_offset(season: Season) -> dict[float, set[str]]:
    """Fields with lots, by how their nights differ from the station's."""
    fields: dict[float, set[str]] = {}
    for lot in season.lots:
        field = season.field_of(lot)
        fields.setdefault(field.night_offset, set()).add(field.name)
    return fields
