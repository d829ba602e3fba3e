"""One lot: where it stands, its chances, its money by day, and the records behind them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
import xarray as xr

from tierpole import charts
from tierpole.charts import Chart, words
from tierpole.charts.ground import TOOL_LIMIT, has_test, is_counted
from tierpole.charts.lots import pass_rows
from tierpole.charts.reading import of_lot
from tierpole.compliance import LotState
from tierpole.crop import leaf_share
from tierpole.farm import Lot, Test, TestKind
from tierpole.office.views.parts import (
    Head,
    NotHereError,
    Number,
    Phrase,
    chance,
    head,
    reason_phrase,
    sticks,
)
from tierpole.outlook.legal import plants_cut
from tierpole.outlook.report import Told
from tierpole.outlook.summary import summarise
from tierpole.plan.harvest import window_of
from tierpole.plan.result import LotPlan, Plan
from tierpole.season import Season
from tierpole.units import System

PARAMETERS = {
    "critical_day_length": "the day length at which it flowers",
    "cbd_plateau": "its CBD",
    "cbd_to_thc": "its CBD to THC ratio",
    "peak_day": "the day its potency peaks",
}
SEEN = 0.02  # change of the THC expected below which a test only confirms
DOUBTED = 0.5  # of an ordinary test, below which a page says so
REAL_LOTS = (
    "The chance to pass is checked against simulated lots whose truth is known. Lots as farms have "
    "them differ: wet corners, late plants, strangers in the rows and a sampler's own hand move a "
    "result more than the model does. Read a chance near one half as not known."
)


@dataclass(frozen=True)
class Choice:
    """What one sample day would mean: for the slider that moves through all pictures."""

    day: date
    opens: date
    closes: date
    says: str


@dataclass(frozen=True)
class Record:
    """A recorded fact of the lot."""

    day: str
    what: str


@dataclass(frozen=True)
class LotPage:
    """The page of one lot."""

    head: Head
    name: str
    about: str
    sentence: str
    facts: tuple[tuple[str, Phrase], ...]
    thc: Chart
    cbd: Chart
    passing: Chart
    worth: Chart
    choices: tuple[Choice, ...]
    chosen: int
    reasons: tuple[Phrase, ...]
    trust: str
    strangers: tuple[Phrase, ...]
    if_read: Chart | None
    worth_of_test: Chart | None
    records: tuple[Record, ...]
    assumed: tuple[str, ...]
    limits: tuple[str, ...]


def lot_page(season: Season, outlook: xr.Dataset, plan: Plan, name: str, system: System) -> LotPage:
    """The view model of a lot; `NotHereError` when there is none of that name."""
    if name not in [lot.name for lot in season.lots]:
        raise NotHereError(name)
    lot_plan = plan.lot(name)
    lot = season.lots[season.lot_index(name)]
    choices = tuple(_choices(season, outlook, lot_plan))
    return LotPage(
        head=head(season, plan),
        name=name,
        about=_about(season, lot, system),
        sentence=_sentence(lot_plan, season.on),
        facts=tuple(_facts(season, outlook, lot, lot_plan)),
        thc=charts.potency(season, outlook, plan, name, "thc"),
        cbd=charts.potency(season, outlook, plan, name, "cbd"),
        passing=charts.passing(season, outlook, plan, name),
        worth=charts.stick_worth(season, outlook, plan, name),
        choices=choices,
        chosen=_chosen(choices, lot_plan),
        reasons=tuple(_reasons(plan, lot_plan)),
        trust=lot_plan.forecast.verdict if lot_plan.forecast else "",
        strangers=tuple(_strangers(lot_plan)),
        if_read=_if_read(lot_plan),
        worth_of_test=_worth_of_test(season, lot_plan),
        records=tuple(_records(season, lot_plan)),
        assumed=tuple(_assumed(season, lot)),
        limits=(REAL_LOTS, TOOL_LIMIT),
    )


def _about(season: Season, lot: Lot, system: System) -> str:
    field = season.field_of(lot)
    nights = words.offset(field.night_offset, system)
    return (
        f"{words.area(lot.area, system)} of {lot.variety} from {lot.stock}s, in "
        f"{field.name} (nights {nights}), set {words.short_day(lot.set_on)}."
    )


def _sentence(lot: LotPlan, on: date) -> str:
    cuts = _cut_words(lot)
    if lot.state is LotState.FAILED:
        return f"{lot.lot} is over the limit: leave it alone and choose its path."
    if lot.state is LotState.PASSED:
        return f"{lot.lot} has passed. {words.capital(cuts)}."
    if lot.state is LotState.SAMPLED:
        return f"{lot.lot} is sampled; wait for the result, then {cuts}."
    if lot.sample_on is None or lot.sample_on < on:
        return f"{lot.lot} is not worth sampling in this plan; {cuts}."
    return f"Have {lot.lot} sampled on {words.long_day(lot.sample_on)}, then {cuts}."


def _cut_words(lot: LotPlan) -> str:
    if not lot.cuts:
        return (
            "cut nothing more of it" if lot.sticks_standing >= 1 else "nothing of it is left to cut"
        )
    total = words.counted(sum(cut.sticks for cut in lot.cuts), "stick")
    return f"cut its {total} {words.span(lot.cuts[0].day, lot.cuts[-1].day)}"


def _facts(
    season: Season, outlook: xr.Dataset, lot: Lot, plan: LotPlan
) -> Iterator[tuple[str, Phrase]]:
    """The small facts under the sentence: each a label and a phrase."""
    thc = summarise(of_lot(outlook, "thc", lot.name)[:, season.today])
    now = Number(
        f"{100 * thc.median:.2f} %", f"plan/thc/{lot.name}", not has_test(season, lot.name)
    )
    yield "Total THC today", (now, f", {100 * thc.low:.2f} to {100 * thc.high:.2f} % in 8 of 10")
    if plan.p_pass is not None:
        yield "Chance to pass", (chance(season, lot.name, plan.p_pass),)
    if plan.p_buyer_pass is not None:
        yield "A buyer's test of trimmed flower passes", (
            chance(season, lot.name, plan.p_buyer_pass, "p_buyer_pass"),)  # fmt: skip
    if plan.state is LotState.GROWING and plan.sample_on is not None:
        cut = words.counted(plants_cut(season, season.lot_index(lot.name)), "plant")
        yield "The official sample", (f"one top of each of at least {cut}",)
    yield from _single_plants(plan)
    if plan.window is not None:
        days = Number(words.span(*plan.window), f"plan/window/{lot.name}")
        yield "May be cut", (days, _days_left(plan.window, season.on))
    yield "Standing", (sticks(lot, plan.sticks_standing),)
    if plan.cuts:
        flowers = np.median(of_lot(outlook, "flower_day", lot.name))
        leaf = leaf_share(np.array(season.index(plan.cuts[0].day) - flowers))
        leaf_said = (
            f"about {words.percent(float(leaf))} of flower and leaf, at the cut (assumed)",
        )
        yield "Leaf in what is stripped", leaf_said
    if plan.sticks_left >= 1:
        yield "Stay in the field", (sticks(lot, plan.sticks_left, "left"),)
    yield "Worth from here on", (_money(plan),)


def _single_plants(plan: LotPlan) -> Iterator[tuple[str, Phrase]]:
    """How many plants are over the limit by themselves on the day of the sample, if any are."""
    known, day = plan.forecast, plan.sample_on
    if known is None or day is None or day not in known.sample_days:
        return
    hundred = round(100 * float(known.plants_over[known.sample_days.index(day)]))
    if hundred >= 1:
        said = f"about {hundred} in 100 on {words.short_day(day)}; the mean of all tops decides"
        yield "Single plants over the limit", (f"{said}, so one top by itself says little",)


def _days_left(window: tuple[date, date], on: date) -> str:
    first, last = window
    return f", {words.counted((last - on).days + 1, 'day')} left" if first <= on <= last else ""


def _money(plan: LotPlan) -> Number:
    money = plan.money
    return Number(
        f"{words.dollars(money.mean)} ({words.dollars(money.low)} to {words.dollars(money.high)})",
        f"plan/money/{plan.lot}",
    )


def _choices(season: Season, outlook: xr.Dataset, plan: LotPlan) -> Iterator[Choice]:
    """The sample days still open to a lot, each with its chance and its window."""
    if plan.state is not LotState.GROWING:
        return
    for row in pass_rows(outlook, plan.lot):
        window = window_of(season, row["day"])
        yield Choice(
            row["day"], window.first, window.last,
            f"Sampled {words.long_day(row['day'])}: passes in {words.odds(row['p'])}; may be cut "
            f"{words.span(window.first, window.last)}.",
        )  # fmt: skip


def _chosen(choices: tuple[Choice, ...], plan: LotPlan) -> int:
    """Where the plan's own sample day stands among the choices."""
    return next((n for n, choice in enumerate(choices) if choice.day == plan.sample_on), 0)


def _reasons(whole: Plan, plan: LotPlan) -> Iterator[Phrase]:
    for reason in plan.reasons:
        when = reason.choice.split(" (")[0]
        yield reason_phrase(whole, plan.lot, f"Sampled {when}", reason)


def _strangers(plan: LotPlan) -> Iterator[Phrase]:
    """What off-type plants of a lot from seed may do to its sample, and what pulling them buys."""
    known, day = plan.forecast, plan.sample_on
    if known is None or known.off_types is None or day is None or day not in known.sample_days:
        return
    found, tops = known.off_types, words.spelled(known.off_types.plants, "top")
    tolerated = float(found.tolerated[known.sample_days.index(day)])
    before, after = (
        words.chance_percent(float(found.walked.chance_in_sample[walk])) for walk in (0, -1)
    )
    first, last = (_off_type(plan, words.percent(found.walked.share[walk])) for walk in (0, -1))
    may = f" of its plants may be off-type, with {found.multiple:.0f} times the THC. One or more is"
    yield "About ", first, f"{may} among the {tops} of the official sample in {before} of samples."
    if tolerated < 1 / found.plants:
        most = _off_type(plan, words.percent(tolerated))
        still = f"If every top were taken, the lot would still pass on {words.short_day(day)} with "
        yield still, most, f" of such plants; a sample of {tops} with one of them does not."
    else:
        yield (f"On {words.short_day(day)} one such plant among the {tops} would still pass.",)
    shown = words.percent(found.shown)
    missed = f"below {shown} of the plants it misses them more than once in twenty"
    yield (f"No sample of {tops} is sure to show them: {missed}. The walk finds them.",)
    walks, seen = words.spelled(len(found.walked.share) - 1, "time"), words.percent(found.seen)
    pulled = (
        f"Walking the lot {walks} and pulling what stands out, {seen} of them each time, leaves "
    )
    yield pulled, last, f": one is then among those tops in {after} of samples."


def _off_type(plan: LotPlan, text: str) -> Number:
    """A share of off-type plants: nobody has counted any, so it is assumed."""
    return Number(text, f"plan/off_types/{plan.lot}", assumed=True)


def _if_read(lot: LotPlan) -> Chart | None:
    """What the next test would mean; nothing for a lot whose sample is taken."""
    known = lot.forecast
    if known is None or lot.state is not LotState.GROWING:
        return None
    return charts.if_read(lot, known) if any(r.is_enough for r in known.if_read) else None


def _worth_of_test(season: Season, lot: LotPlan) -> Chart | None:
    return charts.worth_of_test(season, lot, lot.testing) if lot.testing else None


def _records(season: Season, plan: LotPlan) -> Iterator[Record]:
    """Everything recorded of a lot, oldest first; a test with what it changed."""
    lot, told = plan.lot, plan.forecast.told if plan.forecast else ()
    changed = {each.row: _told_words(each, plan) for each in told}
    rows = [
        (t.sampled_on, _test_words(t) + changed.get(row, ""))
        for row, t in enumerate(season.tests)
        if t.lot == lot
    ]
    rows += [(f.seen_on, f"{f.in_flower} of {f.looked_at} plants in flower")
             for f in season.flowering if f.lot == lot]  # fmt: skip
    rows += [(s.requested_on, f"sampler called for {words.day(s.sampled_on)}")
             for s in season.samples if s.lot == lot]  # fmt: skip
    rows += [(c.cut_on, f"{words.counted(c.sticks, 'stick')} cut")
             for c in season.cuts if c.lot == lot]  # fmt: skip
    rows += [(h.hung_on, f"{words.counted(h.sticks, 'stick')} hung in {h.place}")
             for h in season.hangings if h.lot == lot]  # fmt: skip
    for day, what in sorted(rows):
        yield Record(words.day(day), what)


def _told_words(told: Told, plan: LotPlan) -> str:
    """What a certificate changed, and when it is not fully believed, what it counts for."""
    change = math.expm1(told.moved)
    way, much = "raised" if change > 0 else "lowered", words.percent(abs(change))
    moved = f"it {way} the THC expected by {much}"
    said = moved if abs(change) >= SEEN else "it is what was expected"
    doubt = f" and counts {told.counts:.1f} of an ordinary test" if told.counts < DOUBTED else ""
    return f". {words.capital(said)}{doubt}{_without_words(told, plan)}"


def _without_words(told: Told, plan: LotPlan) -> str:
    """What the chance to pass on the plan's sample day would be without a certificate."""
    known, day = plan.forecast, plan.sample_on
    if told.p_pass_without is None or known is None or day is None or day not in known.sample_days:
        return ""
    at = known.sample_days.index(day)
    return (
        f". Without it a sample on {words.short_day(day)} would pass in "
        f"{words.odds(float(told.p_pass_without[at]))}, with it in "
        f"{words.odds(float(known.p_pass[at]))}"
    )


def _test_words(test: Test) -> str:
    cbd = "" if test.total_cbd is None else _content(test.total_cbd, test.cbd_below)
    error = "" if test.uncertainty is None else f" ± {100 * test.uncertainty:.2g}"
    kind = "official sample" if test.kind is TestKind.OFFICIAL else str(test.kind)
    who = f" by {test.laboratory}" if test.laboratory else ""
    noted = f" ({test.note})" if test.note else ""
    return (
        f"{kind}{who}: total THC {_content(test.total_thc, test.thc_below, error)}"
        f"{cbd and f', total CBD {cbd}'}, "
        f"{words.counted(test.plants, 'top')}{noted}"
    )


def _content(share: float, is_below: bool, error: str = "") -> str:
    return f"{'under ' if is_below else ''}{100 * share:.3g}{error} %"


def _assumed(season: Season, lot: Lot) -> Iterator[str]:
    """What of this lot nobody has measured, and what is taken instead."""
    if not is_counted(lot):
        yield f"Plants alive: 90 % of the {lot.plants_set:,} set. Count them to replace this."
    if "night_offset" not in season.field_of(lot).model_fields_set:
        yield f"Nights in {lot.field}: as cold as the station. A thermometer there would tell."
    variety = season.variety(lot)
    missing = [name for key, name in PARAMETERS.items() if getattr(variety, key) is None]
    if missing:
        yield f"{variety.name}: {words.listed(missing)} taken from its kind, with a wide spread."
    if "uncertainty" not in season.laboratory.model_fields_set:
        allowed = 100 * season.laboratory.uncertainty
        yield f"The laboratory's uncertainty: {allowed:.2g} %. Read it from your certificate."
    if not has_test(season, lot.name):
        yield "Potency: from the variety alone, no test of this lot is in."
