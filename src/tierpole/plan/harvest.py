"""From a season and its Outlook to the arrays of a schedule problem, and what they stand for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import xarray as xr

from tierpole.barn.geometry import place_capacity
from tierpole.compliance import (
    CutWindow,
    LotState,
    LotStatus,
    cut_window,
    result_delay,
)
from tierpole.evidence import Mark, Table, Value
from tierpole.money import interest_operating, stick_work
from tierpole.outlook.curing import at_one_load
from tierpole.outlook.legal import lot_states
from tierpole.plan.problem import Draws, Hanging, Problem
from tierpole.plan.value import averages
from tierpole.rulebook import rulebook_on
from tierpole.season import Season

Array = np.ndarray
HOUR = 3600.0

HARVEST = Table(
    "Harvest",
    (
        Value(
            "hold_share", 0.8, "share", Mark.INFERENCE,
            "our choice: a place is reckoned busy for as long as four hangings in five take to dry",
        ),
        Value(
            "result_share", 0.8, "share", Mark.INFERENCE,
            "our choice: the plan waits as long as four results in five take",
        ),
        Value(
            "rain_stops", 2.5, "mm", Mark.PRACTICE,
            "a day with a tenth of an inch of rain is a wet day for the crew",
        ),
        Value(
            "first_sample", 14.0, "d", Mark.INFERENCE,
            "a flowering top long enough to cut needs two weeks from initiation",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Drying:
    """What a plan reckons with in the barn, [draw, cut_day, place] and [place, cut_day]."""

    loss: Array
    hold_days: Array


@dataclass(frozen=True, eq=False)
class Harvest:
    """A schedule problem with what its numbers stand for."""

    season: Season
    outlook: xr.Dataset
    status: tuple[LotStatus, ...]
    problem: Problem
    cut_days: tuple[date, ...]
    sample_days: tuple[date | None, ...]  # of each option; None for the sample already taken
    windows: tuple[CutWindow | None, ...]  # of each option

    @property
    def draws(self) -> Draws:
        """Chances and dollars draw by draw."""
        if self.problem.draws is None:
            raise ValueError("a harvest is made with draws")
        return self.problem.draws

    def window(self, lot: int, option: int) -> CutWindow | None:
        """The days a lot may be cut under a sample option."""
        if option > 0:
            return self.windows[option]
        status = self.status[lot]
        if option < 0 or status.sampled_on is None:
            return None
        return window_of(self.season, status.sampled_on, _reported(status))


def usual_drying(outlook: xr.Dataset) -> Drying:
    """What to reckon with before anything is chosen: losses at the usual fill, days at a full one.

    A plan fills its places, and a full one dries slower: it must not be counted on too soon.
    """
    loss = at_one_load(outlook["drying_loss"].values)
    days = outlook["drying_days"].values[..., -1]
    of_draw = loss[outlook["barn_row"].values].transpose(0, 2, 1)
    return Drying(of_draw, hold_days(days))


def hold_days(drying_days: Array) -> Array:
    """Whole days a place is reckoned busy [...], from drying days [barn_draw, ...]."""
    held = np.quantile(drying_days, HARVEST["hold_share"], axis=0)
    return np.maximum(np.ceil(held), 1).astype(np.int64)


def make_harvest(season: Season, outlook: xr.Dataset, drying: Drying) -> Harvest:
    """The schedule problem of what is left of a season."""
    cut_days = _dates(outlook["cut_day"])
    samples = _sample_options(season, outlook)
    windows = tuple(None if d is None else window_of(season, d) for d in samples)
    status = lot_states(season)
    allowed = _allowed(season, outlook, status, samples, windows, cut_days)
    draws = _draws(season, outlook, status, samples, drying)
    problem = _problem(season, outlook, status, cut_days, allowed, draws, drying)
    return Harvest(season, outlook, status, problem, cut_days, samples, windows)


def window_of(season: Season, sampled_on: date, reported_on: date | None = None) -> CutWindow:
    """The days a lot sampled on a day may be cut; a result not yet in comes late."""
    sampler = season.sampler
    delay = result_delay(HARVEST["result_share"], sampler.result_delay, sampler.result_delay_late)
    result = reported_on or sampled_on + timedelta(days=delay)
    book = rulebook_on(season.farm.jurisdiction, sampled_on)
    return cut_window(sampled_on, result, book, sampler.cut_before_result)


def _reported(status: LotStatus) -> date | None:
    return status.certificate.reported_on if status.certificate else None


def _dates(days: xr.DataArray) -> tuple[date, ...]:
    return tuple(day.astype("datetime64[D]").item() for day in days.values)


def _sample_options(season: Season, outlook: xr.Dataset) -> tuple[date | None, ...]:
    """Option 0 is the sample a lot has; the rest are the days the sampler can still come."""
    future = [day for day in _dates(outlook["sample_day"]) if day > season.on]
    return (None, *future)


def _allowed(
    season: Season,
    outlook: xr.Dataset,
    status: tuple[LotStatus, ...],
    samples: tuple[date | None, ...],
    windows: tuple[CutWindow | None, ...],
    cut_days: tuple[date, ...],
) -> Array:
    """Whether a lot may be cut on a day under a sample option [lot, sample, day]."""
    allowed = np.zeros((len(status), len(samples), len(cut_days)), dtype=bool)
    ready = np.median(outlook["flower_day"].values, axis=0) + HARVEST["first_sample"]
    for lot, state in enumerate(status):
        if state.state in (LotState.FAILED, LotState.CLOSED):
            continue
        if state.state in (LotState.SAMPLED, LotState.PASSED) and state.sampled_on:
            allowed[lot, 0] = _inside(
                window_of(season, state.sampled_on, _reported(state)), cut_days
            )
        for option, (sampled_on, window) in enumerate(zip(samples, windows, strict=True)):
            if sampled_on is None or window is None:
                continue
            agreed = state.visit_on is None or sampled_on == state.visit_on
            if agreed and (season.index(sampled_on) >= ready[lot] or state.visit_on):
                allowed[lot, option] = _inside(window, cut_days)
    return allowed


def _inside(window: CutWindow, days: tuple[date, ...]) -> list[bool]:
    return [window.first <= day <= window.last for day in days]


def _draws(
    season: Season,
    outlook: xr.Dataset,
    status: tuple[LotStatus, ...],
    samples: tuple[date | None, ...],
    drying: Drying,
) -> Draws:
    """Chances and dollars draw by draw, by sample option."""
    value = value_at(season, outlook, drying.loss)
    base = value.mean(axis=3)
    p_pass, fail = _by_option(outlook, status, samples)
    left = outlook["value_left"].values.astype(float)
    for lot, state in enumerate(status):
        if state.state is LotState.FAILED:
            left[:, lot] = fail[:, lot, 0]
    return Draws(
        p_pass=p_pass,
        cut=base,
        place=value - base[..., None],
        fail=fail,
        left=left,
        fixed=outlook["fixed_money"].values.astype(float),
    )


def value_at(season: Season, outlook: xr.Dataset, loss: Array) -> Array:
    """Dollars of a passed stick [draw, lot, cut_day, place] at another drying loss.

    What a stick sells for, and the hours to strip it, go with what is left to sell; the hours to
    cut, haul, hang and take it down do not.
    """
    work = stick_work(season.crew)
    hands = work.cut + work.haul + work.hang + work.take_down
    interest = interest_operating(hands, season.costs.interest, season.costs.months_to_sale)
    harvest = hands + float(interest)
    kept = (1.0 - loss) / (1.0 - usual_drying(outlook).loss)
    value = outlook["value_pass"].values.astype(float)
    return (value + harvest) * kept[:, None] - harvest


def _by_option(
    outlook: xr.Dataset,
    status: tuple[LotStatus, ...],
    samples: tuple[date | None, ...],
) -> tuple[Array, Array]:
    """`p_pass` and `value_fail` [draw, lot, option]; a passed lot passes for certain."""
    days = _dates(outlook["sample_day"])
    future = [days.index(day) for day in samples if day is not None]
    chance = outlook["p_pass"].values.astype(float)
    value = outlook["value_fail"].values.astype(float)
    p_pass = np.concatenate([np.ones_like(chance[..., :1]), chance[..., future]], axis=2)
    fail = np.concatenate([value[..., :1], value[..., future]], axis=2)
    for lot, state in enumerate(status):
        if state.sampled_on in days and state.state is not LotState.PASSED:
            at = days.index(state.sampled_on)
            is_failed = state.state is LotState.FAILED
            p_pass[:, lot, 0] = 0.0 if is_failed else chance[:, lot, at]
            fail[:, lot, 0] = value[:, lot, at]
    return p_pass, fail


def _problem(
    season: Season,
    outlook: xr.Dataset,
    status: tuple[LotStatus, ...],
    cut_days: tuple[date, ...],
    allowed: Array,
    draws: Draws,
    drying: Drying,
) -> Problem:
    lots, options, days = allowed.shape
    value, place_value, left = averages(draws, allowed, len(season.places))
    fee = np.tile(outlook["sample_fee"].values[:, None], (1, options)).astype(float)
    fee[:, 0] = 0.0
    for lot, state in enumerate(status):
        if state.visit_on is not None:
            fee[lot] = 0.0  # the visit is agreed and will be paid
    crew = season.crew
    standing = [math.floor(season.sticks_standing(lot)) for lot in season.lots]
    return Problem(
        lots=tuple(lot.name for lot in season.lots),
        places=tuple(place.name for place in season.places),
        sticks_standing=np.array(standing, dtype=np.int64),
        allowed=allowed,
        value=value,
        place_value=place_value,
        value_left=left,
        sample_fee=fee,
        hold_days=drying.hold_days,
        capacity=room(season, cut_days),
        hanging=_hanging(season, outlook, cut_days),
        hours_hang=np.full(lots, (crew.cut + crew.haul + crew.hang) / HOUR),
        hours_take_down=crew.take_down / HOUR,
        hours_strip=np.array([_strip_hours(season, number) for number in range(lots)]),
        crew_hours=crew_hours(season, outlook, cut_days),
        bulk_room=np.inf if crew.bulk_room is None else float(crew.bulk_room),
        sticks_owned=crew.sticks_owned,
        haul_limit=np.full(days, float(crew.haul_limit)),
        max_cut_days=np.full(lots, crew.cut_days_per_lot, dtype=np.int64),
        cut_day_cost=crew.cut_day_cost,
        draws=draws,
    )


def _strip_hours(season: Season, number: int) -> float:
    lot = season.lots[number]
    return lot.plant_yield * lot.plants_per_stick / season.crew.strip / HOUR


def room(season: Season, days: tuple[date, ...]) -> Array:
    """Sticks of room in every place [place, day]; none until it is free of what hangs there."""
    table = np.zeros((len(season.places), len(days)), dtype=np.int64)
    for number, place in enumerate(season.places):
        is_free = np.array([place.free_from is None or day >= place.free_from for day in days])
        table[number, is_free] = place_capacity(place)
    return table


def crew_hours(season: Season, outlook: xr.Dataset, days: tuple[date, ...]) -> Array:
    """Worker hours to be had on each day [day], rain taken at its chance."""
    workdays = {weekday.number for weekday in season.crew.workdays}
    index = np.array([season.index(day) for day in days])
    wet = (outlook["rain"].values[:, index] >= HARVEST["rain_stops"]).mean(axis=0)
    dry_share = 1.0 - wet * (1.0 - season.crew.rainy_day_share)
    works = np.array([day.weekday() in workdays for day in days])
    return np.array([_hours_on(season, day) for day in days]) * works * dry_share


def _hours_on(season: Season, day: date) -> float:
    before = [span.hours for span in season.crew.hours if span.starting <= day]
    return before[-1] / HOUR if before else 0.0


def _hanging(season: Season, outlook: xr.Dataset, days: tuple[date, ...]) -> tuple[Hanging, ...]:
    free = outlook["free_day"].values
    first = season.index(days[0])
    rows = []
    for number, hung in enumerate(season.hanging_now()):
        ready = math.ceil(float(np.quantile(free[:, number], HARVEST["hold_share"]))) - first
        rows.append(Hanging(season.place_index(hung.place), hung.sticks, max(ready, 0)))
    return tuple(rows)
