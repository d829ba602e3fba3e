"""A place under watch as a JSON document with a published schema: shares, °C, farm-local time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import Field

from tierpole._version import __version__
from tierpole.barn.advice import Hours, Rule
from tierpole.charts.watch import when
from tierpole.office.document import BandDocument, Document
from tierpole.office.views.barn import (
    BarnNow,
    barn_now,
    elevation_of,
    room_notes,
    rule_words,
)
from tierpole.office.views.parts import plain
from tierpole.outlook.summary import bands
from tierpole.outlook.watch import HangingWatch, Watch, watch
from tierpole.rulebook import cautions
from tierpole.units import System

if TYPE_CHECKING:
    import xarray as xr

    from tierpole.season import Season

FORMAT = "tierpole-dry-1"
BAND = (0.1, 0.5, 0.9)


class WindowDocument(Document):
    """Hours in which flower is likely in case, to strip."""

    starts: datetime
    ends: datetime
    chance: float = Field(ge=0, le=1, description="the best hour's")


class DryHangingDocument(Document):
    """What hangs in a place, and how it dries; moistures are wet basis."""

    lot: str
    hung_on: date
    sticks: int
    tiers: list[int] = Field(description="tier 1 is the lowest")
    moisture_now: BandDocument
    dry_on: date = Field(description="half of the draws are dry enough by then")
    dry_by: date = Field(description="nine in ten of the draws are dry enough by then")
    p_mould_now: float = Field(ge=0, le=1, description="in its worst tier")
    p_mould_ahead: float = Field(ge=0, le=1, description="by the last of `hours`")
    bag_activity_now: BandDocument = Field(description="water activity a bag would settle at")
    p_brittle: float = Field(ge=0, le=1, description="the highest in `hours`")
    in_case: list[WindowDocument]


class HourDocument(Document):
    """The air of a place in an hour to come, on average over its tiers."""

    starts: datetime
    temperature_c: BandDocument
    humidity: BandDocument
    humidity_outside: float


class AlarmDocument(Document):
    """The chance of mould passes a tenth."""

    lot: str
    in_hours: int
    if_shut: bool = Field(description="only if vents and fans stay shut")
    says: str


class RuleDocument(Document):
    """How to air; where a place has no vents, its fans are meant."""

    vents: Hours
    open_up_to_humidity: float = Field(description="outside; 1 when it does not matter")
    fans: Hours
    heat_above_humidity: float = Field(description="outside, at night; 1 when never")
    says: str


class AdviceDocument(Document):
    """The best rule of airing found for the days ahead; gains are means until all is dry."""

    best: RuleDocument
    simple: RuleDocument = Field(description="the best of those everybody knows")
    is_worth_it: bool = Field(description="whether it gains more than chance could; else simple")
    gain_over_simple_usd: float
    gain_error_usd: float = Field(description="standard error of the gain over the simple rule")
    gain_over_as_it_is_usd: float
    fuel_and_power_usd: float
    at_stake_usd: float = Field(description="what hangs here is worth")
    says: list[str]


class WatchDocument(Document):
    """A place in which something hangs, by its readings."""

    hangings: list[DryHangingDocument]
    hours: list[HourDocument]
    alarm: AlarmDocument | None
    advice: AdviceDocument
    findings: list[str] = Field(description="readings that were hard to believe")


class DryDocument(Document):
    """What hangs in a place, how it dries, how to air it, and what to take care of."""

    format: Literal["tierpole-dry-1"] = FORMAT
    version: str = __version__
    farm: str
    season: int
    seen_on: date
    place: str
    room_sticks: int
    hanging_sticks: int
    watch: WatchDocument | None = Field(description="null where nothing hangs")
    notes: list[str]
    cautions: list[str]


def dry_document(
    season: Season, outlook: xr.Dataset, name: str, system: System = "us"
) -> DryDocument:
    """A place as its document; sentences are in the units asked for, numbers always SI."""
    side, _ = elevation_of(season, name)
    found, said = watch(season, outlook, name), barn_now(season, outlook, name, system)
    return DryDocument(
        farm=season.farm.name,
        season=season.year,
        seen_on=season.on,
        place=name,
        room_sticks=int(side.room.sum()),
        hanging_sticks=sum(hanging.sticks for hanging in side.hangings),
        watch=_watched(season, found, said) if found and said else None,
        notes=list(room_notes(season, outlook, side, system)),
        cautions=[one.says for one in cautions("barn")],
    )


def _watched(season: Season, found: Watch, said: BarnNow) -> WatchDocument:
    alarm = found.alarm
    return WatchDocument(
        hangings=[_hanging(season, found, one) for one in found.hangings],
        hours=list(_hours(season, found)),
        alarm=AlarmDocument(
            lot=alarm.lot, in_hours=alarm.hours, if_shut=alarm.is_shut, says=said.alarm
        )
        if alarm
        else None,
        advice=_advice(found, [plain(phrase) for phrase in said.advice]),
        findings=list(said.findings),
    )


def _hanging(season: Season, found: Watch, one: HangingWatch) -> DryHangingDocument:
    mould = one.mould_worst.mean(axis=0)
    dry, late = (float(np.quantile(one.dry_day, share)) for share in (0.5, 0.9))
    return DryHangingDocument(
        lot=one.hanging.lot,
        hung_on=one.hanging.hung_on,
        sticks=one.hanging.sticks,
        tiers=list(one.tiers),
        moisture_now=_band(one.moisture[:, found.now]),
        dry_on=season.day(round(dry)),
        dry_by=season.day(round(late)),
        p_mould_now=float(mould[found.now]),
        p_mould_ahead=float(np.nanmax(mould)),
        bag_activity_now=_band(one.bagged),
        p_brittle=one.brittle,
        in_case=[
            WindowDocument(
                starts=_at(season, window.first_hour), ends=_at(season, window.last_hour + 1),
                chance=window.chance,
            )
            for window in one.windows
            if window.last_hour >= found.now_hour
        ],
    )  # fmt: skip


def _hours(season: Season, found: Watch) -> Iterator[HourDocument]:
    """Each hour from now on."""
    for column in range(found.now + 1, found.humidity.shape[1]):
        yield HourDocument(
            starts=_at(season, found.first_hour + column),
            temperature_c=_band(found.temperature[:, column]),
            humidity=_band(found.humidity[:, column]),
            humidity_outside=float(np.median(found.humidity_outside[:, column])),
        )


def _advice(found: Watch, says: list[str]) -> AdviceDocument:
    advice = found.advice
    return AdviceDocument(
        best=_rule(advice.rule, found),
        simple=_rule(advice.simple, found),
        is_worth_it=advice.is_worth_it,
        gain_over_simple_usd=advice.gain,
        gain_error_usd=advice.error,
        gain_over_as_it_is_usd=found.over_now,
        fuel_and_power_usd=advice.energy,
        at_stake_usd=found.at_stake,
        says=says,
    )


def _rule(rule: Rule, found: Watch) -> RuleDocument:
    return RuleDocument(
        vents=rule.vents,
        open_up_to_humidity=rule.most,
        fans=rule.fans,
        heat_above_humidity=rule.heat_above,
        says=rule_words(rule, found.has_vents),
    )


def _band(draws: np.ndarray) -> BandDocument:
    low, median, high = bands(draws, BAND)
    return BandDocument(low=float(low), median=float(median), high=float(high))


def _at(season: Season, hour: float) -> datetime:
    """An hour on the farm's own clock."""
    return when(season, hour).replace(tzinfo=None)
