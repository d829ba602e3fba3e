"""A plan as a JSON document with a published schema: units in the keys, farm-local dates."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from tierpole._version import __version__
from tierpole.outlook.summary import Summary
from tierpole.plan.result import LotPlan, Plan
from tierpole.season import Season

FORMAT = "tierpole-plan-1"


class Document(BaseModel):
    """What a published schema describes: nothing is left out of it, nothing added."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class BandDocument(Document):
    """What the draws say of a quantity: 10 and 90 % of them are below `low` and `high`."""

    low: float
    median: float
    high: float


class MoneyDocument(Document):
    """What the draws say of an amount of money."""

    mean_usd: float
    median_usd: float
    low_usd: float = Field(description="10 % of the draws are below it")
    high_usd: float = Field(description="10 % of the draws are above it")
    worst_fifth_usd: float = Field(description="mean of the worst fifth of the draws (CVaR)")
    p_loss: float = Field(ge=0, le=1)
    draws: int


class CutDocument(Document):
    """Sticks of a lot to cut and hang on a day in one place."""

    cut_on: date
    sticks: int
    place: str
    crew_hours: float
    dry_by: date = Field(description="four hangings in five are dry by then")


class ReasonDocument(Document):
    """What another choice would change; the pieces add up to the total."""

    choice: str
    total_usd: float
    pieces_usd: dict[str, float]


class LotDocument(Document):
    """What to do with one lot."""

    lot: str
    state: str
    sticks_standing: float
    call_sampler_by: date | None
    sample_on: date | None
    cut_from: date | None
    cut_until: date | None
    p_pass: float | None
    p_buyer_pass: float | None
    if_it_fails: str
    cuts: list[CutDocument]
    sticks_left: int
    money: MoneyDocument
    reasons: list[ReasonDocument]


class RoundDocument(Document):
    """One pass of planning and re-simulated drying."""

    round: int
    planned_usd: float
    resimulated_usd: float
    largest_move_days: float
    no_room_sticks: int = Field(description="meant to hang, but no place was free in time")


class WorthDocument(Document):
    """What one more unit of something scarce would add."""

    what: str
    usd: float


class RuleOfThumbDocument(Document):
    """A rule of thumb on the same draws."""

    rule: str
    sticks_hung: float
    sticks_total: float
    expected_hot_lots: float
    money: MoneyDocument


class PlanDocument(Document):
    """The plan of a season as seen on a day."""

    format: Literal["tierpole-plan-1"] = FORMAT
    version: str = __version__
    farm: str
    is_invented: bool
    season: int
    on: date
    stand_in_year: int | None
    stopped_early: bool
    gap: float = Field(description="how much more the best plan could be worth, as a share")
    money: MoneyDocument
    lots: list[LotDocument]
    rounds: list[RoundDocument]
    worth: list[WorthDocument]
    rules_of_thumb: list[RuleOfThumbDocument]
    broken_rules: list[str]
    notes: list[str]


def plan_document(season: Season, plan: Plan) -> PlanDocument:
    """The document of a plan."""
    return PlanDocument(
        farm=season.farm.name,
        is_invented=season.farm.is_invented,
        season=season.year,
        on=plan.made_for,
        stand_in_year=season.stand_in_year,
        stopped_early=plan.stopped_early,
        gap=plan.gap,
        money=_money(plan.money),
        lots=[_lot(lot) for lot in plan.lots],
        rounds=[
            RoundDocument(
                round=r.number,
                planned_usd=r.planned,
                resimulated_usd=r.resimulated,
                largest_move_days=r.largest_move,
                no_room_sticks=r.no_room,
            )
            for r in plan.rounds
        ],
        worth=[WorthDocument(what=w.what, usd=w.dollars) for w in plan.worth],
        rules_of_thumb=[
            RuleOfThumbDocument(
                rule=c.name,
                sticks_hung=c.sticks_hung,
                sticks_total=c.sticks_total,
                expected_hot_lots=c.hot_lots,
                money=_money(c.money),
            )
            for c in plan.rules_of_thumb
        ],
        broken_rules=list(plan.broken_rules),
        notes=list(plan.notes),
    )


def _lot(lot: LotPlan) -> LotDocument:
    first, last = lot.window or (None, None)
    return LotDocument(
        lot=lot.lot,
        state=lot.state.value,
        sticks_standing=lot.sticks_standing,
        call_sampler_by=lot.request_on,
        sample_on=lot.sample_on,
        cut_from=first,
        cut_until=last,
        p_pass=lot.p_pass,
        p_buyer_pass=lot.p_buyer_pass,
        if_it_fails=lot.fail_path,
        cuts=[
            CutDocument(
                cut_on=c.day, sticks=c.sticks, place=c.place, crew_hours=c.hours, dry_by=c.dry_on
            )
            for c in lot.cuts
        ],
        sticks_left=lot.sticks_left,
        money=_money(lot.money),
        reasons=[
            ReasonDocument(choice=r.choice, total_usd=r.total, pieces_usd=dict(r.pieces))
            for r in lot.reasons
        ],
    )


def _money(money: Summary) -> MoneyDocument:
    return MoneyDocument(
        mean_usd=money.mean,
        median_usd=money.median,
        low_usd=money.low,
        high_usd=money.high,
        worst_fifth_usd=money.cvar,
        p_loss=money.p_loss,
        draws=money.n,
    )
