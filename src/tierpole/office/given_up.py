"""What an acre of hemp left, beside what other crops would have: one partial budget a crop.

Until everything is sold the hemp's side is the plan's, draw by draw; then it is what the books say.
What another crop would have brought is what the farmer wrote down. Chances take its good and bad
years to fall apart from those of hemp.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tierpole.charts import AcreLeft, Chart, acre_left, words
from tierpole.farm.books import OtherCrop
from tierpole.money import partial_budget, two_piece_normal
from tierpole.outlook.summary import Summary, summarise
from tierpole.records import Store, Wanted, nouns
from tierpole.units import ACRE

if TYPE_CHECKING:
    from tierpole.office.acres import Acres
    from tierpole.office.sales import Sold
    from tierpole.plan.result import Plan
    from tierpole.season import Season

_YEARS = (np.arange(20) + 0.5) / 20  # of another crop, from the worst of twenty to the best


@dataclass(frozen=True)
class HempAcre:
    """An acre of hemp: what it leaves [draw], what it costs, and whether the books say so."""

    left: np.ndarray
    costs: float
    is_settled: bool

    @property
    def returns(self) -> float:
        """What it sells for in the mean, after what is not among its costs."""
        return float(self.left.mean()) + self.costs


@dataclass(frozen=True)
class Instead:
    """Hemp instead of another crop, dollars an acre.

    `change` is the partial budget of the usual figures; `spread` what good and bad years of both
    make of it, its `p_loss` the chance that hemp leaves less.
    """

    crop: str
    added_returns: float
    reduced_costs: float
    added_costs: float
    reduced_returns: float
    change: float
    spread: Summary

    @property
    def odds(self) -> str:
        """In how many seasons hemp leaves less."""
        return words.odds(self.spread.p_loss)


@dataclass(frozen=True)
class GivenUp:
    """The comparison as a page shows it, the crop that would have left most first."""

    is_settled: bool
    sentence: str
    instead: tuple[Instead, ...]
    chart: Chart | None


def given_up(
    store: Store, season: Season, plan: Plan | None, acres: Acres, sales: Sequence[Sold]
) -> GivenUp:
    """Hemp beside every other crop that is written down for the season."""
    crops: list[OtherCrop] = _said(store, season, "other_crop")
    crops.sort(key=lambda crop: -_usual(crop, season.crew.wage))
    hemp = _hemp(store, season, plan, acres, sales)
    if hemp is None or not crops:
        return GivenUp(False, "", (), None)
    instead = tuple(instead_of(hemp, crop, season.crew.wage) for crop in crops)
    return GivenUp(
        hemp.is_settled, _sentence(hemp, instead[0]), instead,
        acre_left(list(_rows(hemp, crops, season.crew.wage))),
    )  # fmt: skip


def instead_of(hemp: HempAcre, crop: OtherCrop, wage: float) -> Instead:
    """The partial budget of an acre of hemp in the place of another crop."""
    lines = {
        "added_returns": hemp.returns,
        "reduced_costs": _costs(crop, wage),
        "added_costs": hemp.costs,
        "reduced_returns": crop.returns * ACRE,
    }
    apart = hemp.left[:, None] - crop_left(crop, wage)
    return Instead(
        crop=crop.name, change=partial_budget(**lines), spread=summarise(apart.ravel()), **lines
    )


def crop_left(crop: OtherCrop, wage: float) -> np.ndarray:
    """What an acre of another crop leaves in twenty equally likely years [USD], rising [year]."""
    low = crop.returns if crop.returns_low is None else crop.returns_low
    high = crop.returns if crop.returns_high is None else crop.returns_high
    returns = np.maximum(two_piece_normal(_YEARS, low, crop.returns, high), 0.0)
    return returns * ACRE - _costs(crop, wage)


def _costs(crop: OtherCrop, wage: float) -> float:
    return crop.costs * ACRE + crop.hours * wage


def _usual(crop: OtherCrop, wage: float) -> float:
    return crop.returns * ACRE - _costs(crop, wage)


# --- hemp -----------------------------------------------------------------------------------------


def _hemp(
    store: Store, season: Season, plan: Plan | None, acres: Acres, sales: Sequence[Sold]
) -> HempAcre | None:
    whole = acres.whole
    if plan is None or not whole.acres:
        return None
    if is_settled(store, season, plan, sales):
        return HempAcre(np.array([whole.left_per_acre]), whole.cost / whole.acres, True)
    return HempAcre(plan.draws / whole.acres, acres.budget / whole.acres, False)


def is_settled(store: Store, season: Season, plan: Plan, sales: Sequence[Sold]) -> bool:
    """Whether all of the season's hemp is sold or gone, and every buyer has said what he owes."""
    if not sales or plan.cuts or season.hanging_now():
        return False
    gone = {name for one in sales for load in one.deliveries for name in load.bags}
    gone |= {name for one in _said(store, season, "disposal") for name in one.bags}
    stored = {bag.name for bag in _said(store, season, "bag")} - gone
    return not stored and all(one.settlement for one in sales)


def _said(store: Store, season: Season, kind: str) -> list[Any]:
    return [one.noun for one in nouns(store, Wanted(kind, season=season.year))]


# --- words ----------------------------------------------------------------------------------------


def _sentence(hemp: HempAcre, best: Instead) -> str:
    """What the best of the others would have left, chance of regret first."""
    spread, crop = best.spread, words.small(best.crop)
    more = "more" if best.change >= 0 else "less"
    amount = words.dollars(abs(best.change))
    band = f"between {words.dollars(spread.low)} and {words.dollars(spread.high)} in 8 of 10"
    if not hemp.is_settled:
        return (
            f"An acre of hemp leaves less than an acre of {crop} in {words.odds(spread.p_loss)}; "
            f"its mean is {amount} {more}, {band}."
        )
    said = f"An acre of hemp left {amount} {more} than an acre of {crop} would have"
    is_sure = spread.high - spread.low < 1
    return f"{said}." if is_sure else f"{said} in a usual year; {band} of its years."


def _rows(hemp: HempAcre, crops: Iterable[OtherCrop], wage: float) -> Iterable[AcreLeft]:
    name = "Hemp (books)" if hemp.is_settled else "Hemp (plan)"
    own = summarise(hemp.left)
    yield AcreLeft(name, own.mean, own.low, own.high, is_own=True)
    for crop in crops:
        years = summarise(crop_left(crop, wage))
        yield AcreLeft(words.capital(crop.name), _usual(crop, wage), years.low, years.high)
