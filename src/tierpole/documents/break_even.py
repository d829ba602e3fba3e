"""At which price a season pays its costs: by what it yields, and by the CBD in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from tierpole.charts import words
from tierpole.compliance import LotState
from tierpole.documents.expected import Yielded, yielded
from tierpole.documents.parts import Grid
from tierpole.farm import Market, PriceForm
from tierpole.money import break_even_price, break_even_table, stick_work, stripping_cost
from tierpole.outlook.dollars import before_harvest
from tierpole.outlook.summary import summarise
from tierpole.plan.result import LotPlan, Plan
from tierpole.season import Season
from tierpole.units import System, show, to_unit

NAMES = ("Poor yield", "Middling", "Good")


@dataclass(frozen=True)
class BreakEven:
    """The table with a sentence before it and a note below."""

    sentence: str
    grid: Grid
    note: str


def break_even(season: Season, outlook: xr.Dataset, plan: Plan, system: System) -> BreakEven | None:
    """The table of a season; None when nothing of it hangs or is to be cut.

    Rows are a poor, a middling and a good yield (10, 50 and 90 % of the draws); columns likewise
    the CBD, where the price is by the point.
    """
    lots = list(_lots(season, outlook, plan))
    if not lots:
        return None
    masses, contents = _crop([found for _, found in lots])
    pounds = [to_unit(one, "a mass", system)[0] for one in masses]
    cost, p_sold = season_cost(season, plan, float(masses[1])), _p_sold(season, lots)
    weight = "pound" if system == "us" else "kilogram"
    if season.market.form is PriceForm.POINT:
        table = break_even_table(cost, pounds, contents)
        middle = float(break_even_price(cost, pounds[1] * contents[1], p_sold))
        heads, per = [f"at {one:.1f} % CBD" for one in contents], "for each percent of CBD"
    else:
        table = break_even_price(cost, pounds)[:, None]
        middle = float(break_even_price(cost, pounds[1], p_sold))
        heads, per = [f"a {weight}"], ""
    sold = [
        f"{name}: {show(one, 'a mass', system, 3)}" for name, one in zip(NAMES, masses, strict=True)
    ]
    rows = zip(sold, ([f"${cell:.2f}" for cell in row] for row in table), strict=True)
    return BreakEven(
        sentence=(
            f"If all of it passes and is paid, its costs of {words.dollars(cost, 3)} are met at "
            f"these prices a {weight} {per}".rstrip() + f". {_price(season.market, system)}"
        ),
        grid=Grid(
            ("Sold", *heads), tuple((name, *cells) for name, cells in rows),
            tuple(range(1, len(heads) + 1)),
        ),
        note=(
            f"With the chance that a lot passes and its buyer pays ({words.percent(p_sold)} of the "
            f"crop), the middle one is ${middle:.2f}. One season in ten yields less than the poor "
            "one, one in ten more than the good one."
        ),
    )  # fmt: skip


def _lots(season: Season, outlook: xr.Dataset, plan: Plan) -> Iterator[tuple[LotPlan, Yielded]]:
    """Lots that may be sold, with what they have yielded and will."""
    for lot in plan.lots:
        found = yielded(season, outlook, plan, lot.lot, season.hangings)
        if found is not None and lot.state is not LotState.FAILED:
            yield lot, found


def _crop(lots: Sequence[Yielded]) -> tuple[np.ndarray, np.ndarray]:
    """Poor, middling and good: mass of all lots [kg], CBD of it [%]."""
    masses = np.array([one.mass for one in lots])
    cbd = np.average([one.cbd for one in lots], axis=0, weights=masses)
    found = summarise(masses.sum(axis=0)), summarise(100 * cbd)
    mass, content = (np.array([one.low, one.median, one.high]) for one in found)
    return mass, content


def season_cost(season: Season, plan: Plan, mass: float) -> float:
    """All that a season costs: before harvest, and to cut, hang, take down and strip [USD].

    `mass` is what is stripped [kg, at the selling moisture].
    """
    work, crew = stick_work(season.crew), season.crew
    sticks = sum(cut.sticks for cut in (*season.cuts, *plan.cuts))
    handled = sticks * (work.cut + work.haul + work.hang + work.take_down)
    stripped = float(stripping_cost(mass, crew.strip, crew.wage))
    return sum(before_harvest(season).values()) + handled + stripped


def _p_sold(season: Season, lots: list[tuple[LotPlan, Yielded]]) -> float:
    """Share of the crop that passes and is paid for, lots weighed by what they yield."""
    mass = np.array([found.mass.mean() for _, found in lots])
    passes = np.array(
        [1.0 if lot.p_pass is None or lot.state is LotState.PASSED else lot.p_pass
         for lot, _ in lots]
    )  # fmt: skip
    market = season.market
    return float((mass * passes).sum() / mass.sum()) * (market.paid_full + market.paid_half / 2)


def _price(market: Market, system: System) -> str:
    """What the table is to be held against; nothing where no price is known."""
    known = "The price now expected is" if market.price_sd else "The contract pays"
    if market.form is PriceForm.POINT and market.price is not None:
        return f"{known} ${to_unit(market.price, 'a price a point', system)[0]:.2f}."
    if market.form is PriceForm.FLAT and market.flat_price is not None:
        return f"{known} ${to_unit(market.flat_price, 'money a mass', system)[0]:.2f}."
    return ""
