"""A buyer's sheet of one lot: what was tested, how much may come when, where it stands in law."""

from __future__ import annotations

from collections.abc import Iterator

import xarray as xr

from tierpole.charts import words
from tierpole.charts.ground import has_test, is_counted
from tierpole.charts.reading import limit_of
from tierpole.compliance import LotState, last_verdicts
from tierpole.documents.expected import Expected, expected
from tierpole.documents.grids import certificate_grid, panel_grid
from tierpole.documents.parts import (
    Cell,
    Grid,
    Order,
    Said,
    chosen,
    head,
    percent,
    warnings,
)
from tierpole.documents.typeset import Draft, file_name
from tierpole.farm import Lot
from tierpole.plan.result import LotPlan, Plan
from tierpole.season import Season
from tierpole.units import System, show

CAUTIONS = ("uncertainty-differs", "dry-flower-tests-higher", "definition-of-2026",
            "papers-in-transport")  # fmt: skip


def buyer_sheet(season: Season, outlook: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """The sheet of a lot for whoever may buy it; it names no price."""
    name = chosen(order.of, [lot.name for lot in season.lots], "lot")
    lot, planned = season.lots[season.lot_index(name)], plan.lot(name)
    crop = expected(season, outlook, plan, name)
    return Draft(
        template="buyer_sheet",
        name=file_name("lot-sheet", name, season.on.isoformat()),
        title=f"Lot sheet: {name}, {season.farm.name}",
        made_on=season.on,
        size=order.size,
        data={
            "head": head(season),
            "lot": name,
            "sentence": _offer(season, planned, crop, order),
            "facts": list(_facts(season, lot, order.system)),
            "tests": certificate_grid(season, name),
            "panels": panel_grid(order.filed, name),
            "crop": list(_crop(season, lot, planned, crop, order.system)),
            "dry": _dry(planned),
            "law": list(_law(season, planned)),
            "cautions": warnings("rules", CAUTIONS),
        },
    )


def _offer(season: Season, lot: LotPlan, crop: Expected | None, order: Order) -> str:
    """What is offered; nothing of a lot that failed a panel."""
    told = last_verdicts(order.filed.panels, lot.lot, season.on)
    failed = [str(group) for group, (_, passed) in told.items() if not passed]
    if failed:
        return f"Nothing of {lot.lot} is offered: {words.listed(failed)} failed its last panel."
    return _sentence(season, lot, crop, order.system)


def _sentence(season: Season, lot: LotPlan, crop: Expected | None, system: System) -> str:
    variety = season.variety(season.lots[season.lot_index(lot.lot)])
    if crop is None or lot.state is LotState.FAILED:
        return f"Nothing of {lot.lot} ({variety.name}) is offered."
    low, high = (show(mass, "a mass", system, 2) for mass in (crop.mass.low, crop.mass.high))
    when = f", dry by {words.short_day(max(c.dry_on for c in lot.cuts))}" if lot.cuts else ""
    return (
        f"{low} to {high} of dry {variety.name} biomass at {100 * crop.cbd.low:.1f} to "
        f"{100 * crop.cbd.high:.1f} % total CBD{when}, in 8 of 10 seasons."
    )


def _facts(season: Season, lot: Lot, system: System) -> Iterator[tuple[str, Cell]]:
    yield "Variety", f"{lot.variety}, from {lot.stock}s"
    yield "Grown on", f"{show(lot.area, 'an area', system, 2)} in {lot.field}"
    yield "Set", f"{words.day(lot.set_on)} {lot.set_on.year}"
    alive = lot.plants_counted
    count = f"{lot.plants_set:,} set" if alive is None else f"{alive:,} alive of {lot.plants_set:,}"
    yield "Plants", count
    yield "Cured", words.listed(sorted(_places(season, lot.name))) or "not hung yet"


def _places(season: Season, lot: str) -> set[str]:
    return {f"in {h.place}" for h in season.hangings if h.lot == lot}


def _crop(
    season: Season, lot: Lot, plan: LotPlan, crop: Expected | None, system: System
) -> Iterator[tuple[str, Cell]]:
    if crop is None:
        return
    low, high = (show(m, "a mass", system, 2) for m in (crop.mass.low, crop.mass.high))
    moisture = f"at {100 * season.market.moisture:.0f} % moisture, stripped from the stalk"
    yield "Biomass", Said(f"{low} to {high} in 8 of 10 seasons, {moisture}", not is_counted(lot))
    untested = not has_test(season, lot.name)
    yield "Total CBD, dry basis", Said(_band(crop.cbd.low, crop.cbd.high), untested)
    yield "Total THC, dry basis", Said(_band(crop.thc.low, crop.thc.high, 2), untested)
    if plan.p_pass is not None and plan.state is not LotState.PASSED:
        yield "Passes its official sample in", Said(words.odds(plan.p_pass), untested)
    limit = percent(limit_of(season))
    yield f"That THC at or under {limit} in", Said(words.odds(crop.is_legal.mean), untested)


def _band(low: float, high: float, digits: int = 1) -> str:
    return f"{100 * low:.{digits}f} to {100 * high:.{digits}f} % in 8 of 10 seasons"


def _dry(lot: LotPlan) -> Grid:
    """When how much is dry: sticks by the place they hang in."""
    rows = tuple(
        (cut.place, words.day(cut.day), f"{cut.sticks:,}", words.day(cut.dry_on))
        for cut in lot.cuts
    )
    return Grid(("Place", "Cut", "Sticks", "Dry by, 8 of 10"), rows, (2,))


def _law(season: Season, lot: LotPlan) -> Iterator[str]:
    state = {
        LotState.PASSED: "Its official sample passed.",
        LotState.CLOSED: "Its official sample passed and it is all cut.",
        LotState.FAILED: "Its official sample failed. It may not be sold as it stands.",
        LotState.SAMPLED: "It is sampled; the result is awaited. It may not be sold before.",
        LotState.GROWING: "It has no official sample yet. It may not be sold before one passes.",
    }
    yield state[lot.state]
    if lot.sample_on is not None and lot.window is not None:
        verb = "Sampled" if lot.sample_on < season.on else "To be sampled"
        yield (
            f"{verb} {words.day(lot.sample_on)}; to be cut by {words.day(lot.window[1])}, the end "
            "of that sample's window."
        )
    yield "The certificate of the official sample goes with every load."
