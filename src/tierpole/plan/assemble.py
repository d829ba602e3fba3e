"""A schedule and its value as the Plan a person reads: dates for days, names for numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil

import numpy as np

from tierpole.compliance import LotState, rule_breaches
from tierpole.outlook.forecast import Forecast
from tierpole.outlook.legal import ruling_book
from tierpole.outlook.report import LotForecast, report
from tierpole.outlook.summary import summarise
from tierpole.plan.harvest import Drying, Harvest
from tierpole.plan.problem import NO_SAMPLE, Schedule
from tierpole.plan.reasons import reasons
from tierpole.plan.result import (
    Comparison,
    CrewPlan,
    LotPlan,
    PlacePlan,
    Plan,
    PlannedCut,
    Reason,
    Round,
    Worth,
)
from tierpole.plan.risk import Risk
from tierpole.plan.testing import Testing, worth_of_tests
from tierpole.plan.thumb import RULES, follow
from tierpole.plan.value import Valuation, revalue
from tierpole.plan.worth import (
    Change,
    FasterDrying,
    LongerWindow,
    MoreCrew,
    MoreRoom,
    MoreSticks,
    worth,
    worth_trying,
)
from tierpole.progress import Tick
from tierpole.rulebook import rule_changes, rulebook_on
from tierpole.season import DAYS, Season

Array = np.ndarray
SETTLED_SHARE = 0.005  # of the money decided on, by which a plan may come out otherwise
MOST_CHANGES = 5  # shown; each takes two searches


@dataclass(frozen=True, eq=False)
class Settled:
    """A schedule with its drying re-simulated, and what it is worth then, draw by draw."""

    harvest: Harvest
    schedule: Schedule
    valuation: Valuation
    drying: Drying
    report: Round

    @property
    def value(self) -> float:
        """Mean dollars over the draws, re-simulated."""
        return self.report.resimulated

    @property
    def holds(self) -> bool:
        """True when all found room and the money the plan decides on came out as planned."""
        decided = self.value - float(self.valuation.pieces["fixed"].mean())
        off = abs(self.value - self.report.planned)
        return not self.report.no_room and off < SETTLED_SHARE * abs(decided)


def assemble(
    settled: Settled,
    rounds: tuple[Round, ...],
    risk: Risk,
    explain: bool,
    stopped: bool,
    tick: Tick,
    forecast: Forecast | None = None,
) -> Plan:
    """The plan of a schedule; `explain` adds reasons, worth, rules of thumb and tests to take."""
    harvest, schedule, valuation = settled.harvest, settled.schedule, settled.valuation
    why = _reasons(settled, risk, tick) if explain else {}
    potency = _potency(harvest, forecast) if forecast else ()
    tests = _testing(harvest, schedule, forecast, tick) if explain and forecast else {}
    return Plan(
        made_for=harvest.season.on,
        lots=tuple(
            replace(
                _lot_plan(harvest, schedule, valuation, lot, why.get(lot, ())),
                forecast=potency[lot] if potency else None,
                testing=tests.get(lot),
            )
            for lot in range(len(harvest.season.lots))
        ),
        places=_places(harvest, schedule),
        crew=_crew(harvest, schedule),
        money=summarise(valuation.dollars, risk.tail),
        draws=valuation.dollars,
        bound=schedule.bound,
        gap=schedule.gap,
        rounds=rounds,
        worth=_worth(harvest, schedule, risk, tick) if explain else (),
        rules_of_thumb=_thumbs(harvest, risk) if explain else (),
        broken_rules=tuple(broken_rules(harvest.season)),
        notes=tuple(_notes(harvest, schedule)),
        stopped_early=stopped,
    )


def broken_rules(season: Season) -> list[str]:
    """Recorded facts that already break a hard rule, lot by lot, named with the rule."""
    return [
        str(breach)
        for lot in season.lots
        for breach in rule_breaches(
            [s for s in season.samples if s.lot == lot.name],
            [t for t in season.tests if t.lot == lot.name],
            [c for c in season.cuts if c.lot == lot.name],
            ruling_book(season, lot),
        )
    ]


def _reasons(settled: Settled, risk: Risk, tick: Tick) -> dict[int, tuple[Reason, ...]]:
    harvest, schedule, drying = settled.harvest, settled.schedule, settled.drying
    lots = range(len(harvest.season.lots))
    found = {}
    for lot in lots:
        tick("reasons", 0.7 * lot / len(lots))
        found[lot] = reasons(harvest, schedule, drying, risk, lot)
    return found


def _potency(harvest: Harvest, forecast: Forecast) -> tuple[LotForecast, ...]:
    """What the forecast says of each lot, on the sample days of the outlook."""
    season, outlook = harvest.season, harvest.outlook
    days = [season.index(d.astype("datetime64[D]").item()) for d in outlook["sample_day"].values]
    chances = {name: outlook[name].values for name in ("p_pass", "p_buyer_pass")}
    return report(forecast, np.array(days), chances)


def _testing(
    harvest: Harvest, schedule: Schedule, forecast: Forecast, tick: Tick
) -> dict[int, Testing | None]:
    tick("what a test is worth", 0.7)
    lots = range(len(harvest.season.lots))
    return {lot: worth_of_tests(harvest, schedule, forecast, lot) for lot in lots}


def _lot_plan(
    harvest: Harvest, schedule: Schedule, valuation: Valuation, lot: int, why: tuple[Reason, ...]
) -> LotPlan:
    season, status = harvest.season, harvest.status[lot]
    option = int(schedule.sample[lot])
    sample_on = harvest.sample_days[option] if option > 0 else status.sampled_on
    window = harvest.window(lot, option)
    return LotPlan(
        lot=season.lots[lot].name,
        state=status.state,
        sticks_standing=float(harvest.problem.sticks_standing[lot]),
        request_on=_request_by(season, sample_on) if option > 0 and sample_on else None,
        sample_on=sample_on if option != NO_SAMPLE else None,
        window=(window.first, window.last) if window else None,
        p_pass=_chance(harvest, "p_pass", lot, option),
        p_buyer_pass=_buyer_passes(harvest, schedule, lot),
        cuts=tuple(_cuts(harvest, schedule, lot)),
        sticks_left=int(schedule.left[lot]),
        money=summarise(valuation.by_lot[:, lot]),
        fail_path=_fail_path(harvest, lot, option),
        reasons=why,
    )


def _request_by(season: Season, sample_on: date) -> date:
    """The last day to call the sampler for a visit; the sooner the surer."""
    book = rulebook_on(season.farm.jurisdiction, sample_on)
    lead = ceil(max(season.sampler.lead, book.request_lead_days.value))
    return max(season.on, sample_on - timedelta(days=lead))


def _chance(harvest: Harvest, name: str, lot: int, option: int) -> float | None:
    """Mean chance over the draws under a sample option; None without a sample."""
    status = harvest.status[lot]
    if option == NO_SAMPLE:
        return None
    if option == 0 and name == "p_pass" and status.state is LotState.PASSED:
        return 1.0
    day = harvest.sample_days[option] if option > 0 else status.sampled_on
    days = [d.astype("datetime64[D]").item() for d in harvest.outlook["sample_day"].values]
    if day not in days:
        return None
    return float(harvest.outlook[name].values[:, lot, days.index(day)].mean())


def _buyer_passes(harvest: Harvest, schedule: Schedule, lot: int) -> float | None:
    """Mean chance that a buyer's test of what is cut passes; it ripens on after its sample.

    Chances are on file for the days on which a sample could be taken: of each cut day the nearest.
    """
    sticks = schedule.sticks[lot].sum(axis=1)
    option = int(schedule.sample[lot])
    if not sticks.any() or not harvest.outlook["sample_day"].size:
        return _chance(harvest, "p_buyer_pass", lot, option)
    chances = harvest.outlook["p_buyer_pass"].values[:, lot].mean(axis=0)
    days = harvest.outlook["sample_day"].values.astype("datetime64[D]").astype(int)
    cut = _days(harvest)[sticks > 0].astype(int)
    nearest = np.abs(days[:, None] - cut).argmin(axis=0)
    return float(np.average(chances[nearest], weights=sticks[sticks > 0]))


def _fail_path(harvest: Harvest, lot: int, option: int) -> str:
    day = harvest.sample_days[option] if option > 0 else harvest.status[lot].sampled_on
    days = [d.astype("datetime64[D]").item() for d in harvest.outlook["sample_day"].values]
    return str(harvest.outlook["fail_path"].values[lot, days.index(day)]) if day in days else ""


def _cuts(harvest: Harvest, schedule: Schedule, lot: int) -> list[PlannedCut]:
    problem = harvest.problem
    return [
        PlannedCut(
            lot=problem.lots[lot],
            place=problem.places[place],
            day=harvest.cut_days[day],
            sticks=int(schedule.sticks[lot, day, place]),
            hours=float(schedule.sticks[lot, day, place] * problem.hours_hang[lot]),
            dry_on=harvest.cut_days[day] + timedelta(days=int(problem.hold_days[place, day])),
        )
        for day, place in np.argwhere(schedule.sticks[lot])
    ]


def _days(harvest: Harvest) -> Array:
    return np.array(harvest.cut_days, dtype="datetime64[D]")


def _places(harvest: Harvest, schedule: Schedule) -> tuple[PlacePlan, ...]:
    problem = harvest.problem
    hung = schedule.sticks.sum(axis=0).T  # [place, day]
    plans = []
    for number, name in enumerate(problem.places):
        standing = problem.hanging_in(number) + np.cumsum(hung[number])
        hanging = standing - np.cumsum(schedule.take_down[number])
        plans.append(
            PlacePlan(
                name, _days(harvest), hanging, problem.capacity[number], schedule.take_down[number]
            )
        )
    return tuple(plans)


def _crew(harvest: Harvest, schedule: Schedule) -> CrewPlan:
    problem = harvest.problem
    cut = (schedule.sticks.sum(axis=2) * problem.hours_hang[:, None]).sum(axis=0)
    share = problem.sticks_standing / max(problem.sticks_standing.sum(), 1)
    strip = schedule.strip * float(problem.hours_strip @ share)
    return CrewPlan(
        days=_days(harvest),
        cut_and_hang=cut,
        take_down=schedule.take_down.sum(axis=0) * problem.hours_take_down,
        strip=strip,
        available=np.asarray(problem.crew_hours),
    )


def _worth(harvest: Harvest, schedule: Schedule, risk: Risk, tick: Tick) -> tuple[Worth, ...]:
    """What one more of each of the scarcest things would bring, dearest first."""
    tick("what more room and hours are worth", 0.7)
    changes = worth_trying(harvest.problem, schedule, risk)[:MOST_CHANGES]
    gains = worth(harvest.problem, schedule, changes, risk, seconds=1.0)
    told = [
        Worth(_change_words(harvest, gain.change), gain.dollars)
        for gain in gains
        if gain.dollars >= 1
    ]
    return tuple(sorted(told, key=lambda each: -each.dollars))


def _change_words(harvest: Harvest, change: Change) -> str:
    """A change in words that go before "would be worth"."""
    problem, days = harvest.problem, harvest.cut_days
    match change:
        case MoreRoom():
            return f"{change.sticks} more stick places in {problem.places[change.place]}"
        case MoreCrew():
            span = f"{days[change.first]:%-d %b} to {days[change.last]:%-d %b}"
            return f"{change.hours:.0f} more crew hour a day, {span}"
        case LongerWindow():
            return f"{change.days} more day of window for {problem.lots[change.lot]}"
        case MoreSticks():
            return f"{change.sticks} more sticks owned"
        case FasterDrying():
            place = problem.places[change.place]
            return f"{place} drying {100 * change.share:.0f} % faster"


def _thumbs(harvest: Harvest, risk: Risk) -> tuple[Comparison, ...]:
    found = []
    standing = float(harvest.problem.sticks_standing.sum())
    for name, rule in RULES.items():
        schedule = follow(harvest, rule(harvest.outlook))
        money = summarise(revalue(harvest.problem, schedule).dollars, risk.tail)
        found.append(
            Comparison(name, money, float(schedule.sticks.sum()), standing, _hot(harvest, schedule))
        )
    return tuple(found)


def _hot(harvest: Harvest, schedule: Schedule) -> float:
    """Lots expected to fail under a schedule's samples."""
    chances = [
        _chance(harvest, "p_pass", lot, int(option)) for lot, option in enumerate(schedule.sample)
    ]
    return float(sum(1.0 - chance for chance in chances if chance is not None))


def _sticks(count: int) -> str:
    return "1 stick" if count == 1 else f"{count:,} sticks"


def _notes(harvest: Harvest, schedule: Schedule) -> list[str]:
    """What the plan leaves short, and what changes under it."""
    notes = [
        f"Left standing: {_sticks(schedule.left[lot])} of {name}."
        for lot, name in enumerate(harvest.problem.lots)
        if schedule.left[lot] > 0
    ]
    season = harvest.season
    changes = rule_changes(season.farm.jurisdiction, season.on, season.day(DAYS - 1))
    notes += [
        f"The rules change on {change.on}: {change.after.title}. Confirm it with the department "
        "before you sell or ship after that day."
        for change in changes
    ]
    return notes
