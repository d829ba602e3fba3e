"""The plan of a small farm: what it conserves, what it explains, how it meets what is recorded."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest

from plan_solver_cases import small_farm
from small_farm import small_season
from tierpole.compliance import LotState
from tierpole.farm import Cut, Hanging, Sample, Test, TestKind
from tierpole.outlook import make_outlook
from tierpole.plan import Plan, Stop, make_plan
from tierpole.plan.harvest import Harvest, make_harvest, usual_drying
from tierpole.plan.keeping import kept
from tierpole.plan.problem import Schedule
from tierpole.plan.thumb import RULES, follow
from tierpole.plan.value import revalue

DRAWS = 120
QUICK = Stop(gap=0.01, seconds=2.0)
TABLES: dict = {}  # the drying table is the same for every season below


@cache
def outlook():
    return make_outlook(small_season(), DRAWS, 1, tables=TABLES)


@cache
def plan() -> Plan:
    return make_plan(small_season(), outlook(), QUICK)


@cache
def harvest() -> Harvest:
    return make_harvest(small_season(), outlook(), usual_drying(outlook()))


def planned(season) -> Plan:
    return make_plan(season, make_outlook(season, DRAWS, 1, tables=TABLES), QUICK, explain=False)


def test_sticks_are_conserved_limits():
    """Of every lot, what is cut and what is left make what stood; no place is over its room."""
    for lot in plan().lots:
        assert sum(cut.sticks for cut in lot.cuts) + lot.sticks_left == int(lot.sticks_standing)
    for place in plan().places:
        assert (place.hanging <= np.maximum(place.capacity, place.hanging[0]) + 1e-9).all()
        assert (place.taken_down >= 0).all()


def test_the_crew_is_not_asked_too_much_limits():
    """No day uses more hours than the crew has, nor a Sunday any."""
    crew = plan().crew
    used = crew.cut_and_hang + crew.take_down + crew.strip
    assert (used <= crew.available + 1e-6).all()
    sundays = [d.astype("datetime64[D]").item().weekday() == 6 for d in crew.days]
    assert used[sundays].sum() == 0


def test_cuts_lie_in_the_legal_window_limits():
    """Nothing is cut before its result or after its window, and the window is thirty days.

    Source: 7 CFR 990.26(a), harvest within 30 days of the sample.
    """
    for lot in plan().lots:
        for cut in lot.cuts:
            assert lot.window is not None
            assert lot.window[0] <= cut.day <= lot.window[1]
        if lot.sample_on and lot.window:
            assert lot.window[1] == lot.sample_on + timedelta(days=30)


def test_the_sampler_is_called_in_time_limits():
    """Every future visit is called for at least the lead before it, on a day of his week."""
    for lot in plan().lots:
        if lot.request_on is None:
            continue
        assert lot.request_on >= plan().made_for
        assert (lot.sample_on - lot.request_on).days >= small_season().sampler.lead
        assert lot.sample_on.weekday() < 5


def test_money_adds_up_limits():
    """The season's draws are the lots' draws and the money nothing changes."""
    best = plan()
    fixed = float(outlook()["fixed_money"].mean())
    assert best.money.mean == pytest.approx(
        fixed + sum(lot.money.mean for lot in best.lots), rel=1e-6
    )
    assert best.draws.mean() == pytest.approx(best.money.mean)


def test_reasons_add_up_to_the_dollar_limits():
    """The pieces of every reason add to the exact difference of the two plans."""
    reasons = [reason for lot in plan().lots for reason in lot.reasons]
    assert reasons
    for reason in reasons:
        assert reason.total == pytest.approx(sum(d for _, d in reason.pieces), abs=0.01)


def test_no_rule_of_thumb_beats_the_plan_by_its_own_measure_simulated():
    """Valued on the same draws and drying, no rule of thumb has more of mean and worst tail."""
    problem = harvest().problem

    def measure(dollars: np.ndarray) -> float:
        worst = np.sort(dollars)[: DRAWS // 5].mean()
        return 0.7 * float(dollars.mean()) + 0.3 * float(worst)

    best = make_plan(small_season(), outlook(), QUICK, explain=False)
    for rule in RULES.values():
        thumb = follow(harvest(), rule(outlook()))
        assert measure(revalue(problem, thumb).dollars) <= measure(best.draws) + 0.02 * abs(
            measure(best.draws)
        )


def test_a_rule_of_thumb_keeps_the_farm_s_limits():
    """Rules of thumb keep to room, crew, window and sticks as a real crew would have to."""
    problem = harvest().problem
    for rule in RULES.values():
        thumb = follow(harvest(), rule(outlook()))
        assert (thumb.sticks.sum(axis=(1, 2)) + thumb.left == problem.sticks_standing).all()
        hours = (thumb.sticks.sum(axis=2) * problem.hours_hang[:, None]).sum(axis=0)
        hours += thumb.take_down.sum(axis=0) * problem.hours_take_down
        assert (hours <= problem.crew_hours + 1e-6).all()
        hung = thumb.sticks.sum(axis=0).T
        for place in range(len(problem.places)):
            up = problem.hanging_in(place) + np.cumsum(hung[place] - thumb.take_down[place])
            assert (up <= np.maximum(problem.capacity[place], problem.hanging_in(place))).all()


def test_the_same_seed_gives_the_same_plan():
    """Same season, draws and seed: the same cuts and the same dollars."""
    again = make_plan(small_season(), outlook(), QUICK, explain=False)
    once_more = make_plan(small_season(), outlook(), QUICK, explain=False)
    assert again.cuts == once_more.cuts
    assert again.money == once_more.money


# --- a season already under way ------------------------------------------------------------------


def official(lot: str, sampled: date, thc: float) -> Test:
    return Test(
        lot=lot,
        kind=TestKind.OFFICIAL,
        sampled_on=sampled,
        reported_on=sampled + timedelta(days=3),
        plants=3,
        total_cbd=0.05,
        total_thc=thc,
        uncertainty=0.0004,
    )


def with_official(thc: float):
    season = small_season()
    sampled = date(2026, 8, 28)
    sample = Sample(lot="2 Barn field", requested_on=date(2026, 8, 20), sampled_on=sampled)
    return replace(
        season,
        samples=(*season.samples, sample),
        tests=(*season.tests, official("2 Barn field", sampled, thc)),
    )


def test_a_passed_lot_needs_no_further_call_limits():
    """A lot that passed is cut under its own sample, certain to pass, within its window."""
    lot = planned(with_official(0.0021)).lot("2 Barn field")
    assert lot.state is LotState.PASSED
    if lot.request_on is None:
        assert lot.p_pass == 1.0
        assert all(cut.day <= date(2026, 9, 27) for cut in lot.cuts)


def test_a_failed_lot_is_not_cut_for_sale_limits():
    """A hot lot is left out of the cuts, and the plan names its fail path."""
    lot = planned(with_official(0.0061)).lot("2 Barn field")
    assert lot.state is LotState.FAILED
    assert lot.cuts == ()
    assert lot.fail_path


def test_a_pending_sample_fixes_the_sample_day_limits():
    """A lot whose result is out keeps that sample or takes a later one, never an earlier one."""
    season = small_season()
    sample = Sample(
        lot="6 South bottom", requested_on=date(2026, 8, 25), sampled_on=date(2026, 8, 31)
    )
    lot = planned(replace(season, samples=(*season.samples, sample))).lot("6 South bottom")
    assert lot.state is LotState.SAMPLED
    assert lot.sample_on >= date(2026, 8, 31)


def test_sticks_already_hanging_take_room_limits():
    """What hangs is in its place on day 0 and comes down only when it is dry."""
    season = small_season()
    up = sum(h.sticks for h in season.hanging_now() if h.place == "Frame")
    frame = next(place for place in plan().places if place.place == "Frame")
    new_today = sum(c.sticks for c in plan().cuts if c.place == "Frame" and c.day == season.on)
    assert frame.hanging[0] + frame.taken_down[0] == up + new_today


def test_broken_rules_are_named_and_the_rest_is_planned_limits():
    """A cut before any official sample is named with the rule; the other lots are planned."""
    season = small_season()
    early = Cut(lot="2 Barn field", cut_on=date(2026, 8, 30), sticks=20)
    hung = Hanging(lot="2 Barn field", place="Fan shed", hung_on=date(2026, 8, 30), sticks=20)
    found = planned(replace(season, cuts=(*season.cuts, early), hangings=(*season.hangings, hung)))
    assert any("2 Barn field" in text and "sample" in text for text in found.broken_rules)
    assert found.cuts


def test_worthless_hemp_is_left_standing_limits():
    """When nothing pays its own cutting, the plan cuts nothing and says so."""
    season = small_season()
    cheap = season.market.model_copy(update={"price": season.market.price / 50})
    found = planned(replace(season, market=cheap))
    assert found.cuts == ()
    assert sum(lot.sticks_left for lot in found.lots) > 0


def test_room_is_free_when_it_is_counted_on_limits():
    """With its hangings re-simulated, no place holds more than it can on any day.

    Counted from the cuts themselves: a stick is there from its day until it is dry, as most are.
    """
    found = plan()
    for place in found.places:
        start = place.days[0].astype("datetime64[D]").item()
        up = np.zeros(len(place.days))
        for cut in (cut for cut in found.cuts if cut.place == place.place):
            first, last = ((day - start).days for day in (cut.day, cut.dry_on))
            up[first:last] += cut.sticks
        assert (up <= place.capacity.max()).all(), place.place
        taken = np.cumsum(place.taken_down)
        hung = place.hanging[0] + np.zeros_like(taken)
        assert (taken <= hung + up.sum()).all()


def test_sticks_wait_for_room_and_are_left_at_last():
    """One place for 10: dry in two days, the second ten wait a day for it; in nine, they stay."""
    problem = small_farm(
        1, lots=1, places=1, days=6, options=2, hanging=(), capacity=np.full((1, 6), 10),
        hold_days=np.full((1, 6), 2), sticks_standing=np.array([20]), max_cut_days=np.array([2]),
        crew_hours=np.full(6, 50.0),
    )  # fmt: skip
    sticks = np.zeros((1, 6, 1), dtype=np.int64)
    sticks[0, 1], sticks[0, 2] = 10, 10
    schedule = Schedule(
        lots=problem.lots, places=problem.places, sample=np.array([1]), sticks=sticks,
        left=np.array([0]), take_down=np.zeros((1, 6), np.int64), strip=np.zeros(6, np.int64),
        objective=0.0, before_rounding=0.0, bound=0.0, gap=0.0, seconds=0.0, rounds=0, status="",
    )  # fmt: skip
    found = kept(problem, schedule)
    assert found.sticks[0, :, 0].tolist() == [0, 10, 0, 10, 0, 0]
    assert found.take_down[0].tolist() == [0, 0, 0, 10, 0, 10]
    assert found.left.tolist() == [0]
    slow = kept(replace(problem, hold_days=np.full((1, 6), 9)), schedule)
    assert slow.sticks[0, :, 0].tolist() == [0, 10, 0, 0, 0, 0]
    assert slow.left.tolist() == [10]


def test_the_buyers_test_is_of_what_is_cut():
    """Chances of the sample days nearest to each cut, by sticks, in plain loops."""
    days = [d.astype("datetime64[D]").item() for d in outlook()["sample_day"].values]
    for lot in (lot for lot in plan().lots if lot.cuts):
        chances = outlook()["p_buyer_pass"].sel(lot=lot.lot).values.mean(axis=0)
        total = 0.0
        for cut in lot.cuts:
            nearest = min(range(len(days)), key=lambda n: abs((days[n] - cut.day).days))
            total += cut.sticks * chances[nearest]
        assert lot.p_buyer_pass == pytest.approx(total / sum(cut.sticks for cut in lot.cuts))
