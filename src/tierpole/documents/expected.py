"""What a lot may yield to sell, draw by draw: pounds and what is in them, if it passes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import xarray as xr

from tierpole.charts.reading import dates, limit_of, of_lot
from tierpole.farm import Hanging
from tierpole.outlook.summary import Summary, summarise
from tierpole.plan.harvest import usual_drying
from tierpole.plan.result import Plan
from tierpole.season import Season

Array = np.ndarray


@dataclass(frozen=True)
class Expected:
    """Mass at the selling moisture [kg], CBD and THC of what is sold [share of dry weight].

    `is_legal` says in which draws that THC is at or under the limit; a laboratory's error comes on
    top.
    """

    mass: Summary
    cbd: Summary
    thc: Summary
    is_legal: Summary


@dataclass(frozen=True)
class Yielded:
    """The same by draw: mass [kg], and CBD and THC of it [share of dry weight]."""

    mass: Array  # [draw]
    cbd: Array  # [draw]
    thc: Array  # [draw]


def expected(season: Season, outlook: xr.Dataset, plan: Plan, lot: str) -> Expected | None:
    """What a lot yields if it passes: sticks hanging now and planned; None when there are none."""
    found = yielded(season, outlook, plan, lot, season.hanging_now())
    if found is None:
        return None
    return Expected(
        mass=summarise(found.mass),
        cbd=summarise(found.cbd),
        thc=summarise(found.thc),
        is_legal=summarise(found.thc <= limit_of(season)),
    )


def yielded(
    season: Season, outlook: xr.Dataset, plan: Plan, lot: str, hangings: Iterable[Hanging]
) -> Yielded | None:
    """What those of some hangings that are a lot's, and its planned cuts, yield if it passes."""
    batches = [
        *((h.sticks, h.hung_on, h.place) for h in hangings if h.lot == lot),
        *((cut.sticks, cut.day, cut.place) for cut in plan.lot(lot).cuts),
    ]
    if not batches:
        return None
    sticks = np.array([batch[0] for batch in batches])
    days = np.array([season.index(batch[1]) for batch in batches])
    places = np.array([season.place_index(batch[2]) for batch in batches])
    dry = sticks * _stick_mass(season, outlook, lot, days)
    dry = dry * (1.0 - _drying_loss(season, outlook, days, places))
    spread = of_lot(outlook, "top_to_plant", lot)
    return Yielded(
        mass=dry.sum(axis=1) / (1.0 - season.market.moisture),
        cbd=_mean(of_lot(outlook, "cbd", lot)[:, days], dry) / spread,
        thc=_mean(of_lot(outlook, "thc", lot)[:, days], dry) / spread,
    )


def _stick_mass(season: Season, outlook: xr.Dataset, lot: str, days: Array) -> Array:
    """Dry biomass of a stick that the field leaves [draw, batch], kg."""
    plants = season.lots[season.lot_index(lot)].plants_per_stick
    kept = 1.0 - of_lot(outlook, "frost_loss", lot)[:, days]
    kept = kept * (1.0 - of_lot(outlook, "field_loss", lot)[:, days])
    return plants * of_lot(outlook, "flower_mass", lot)[:, days] * kept


def _drying_loss(season: Season, outlook: xr.Dataset, days: Array, places: Array) -> Array:
    """Share lost while hanging [draw, batch]; what hangs already dries like what is cut first."""
    first = season.index(dates(outlook, "cut_day")[0])
    return usual_drying(outlook).loss[:, np.maximum(days - first, 0), places]


def _mean(content: Array, weight: Array) -> Array:
    """Mean [draw] of a content over batches by their mass."""
    return (content * weight).sum(axis=1) / weight.sum(axis=1)
