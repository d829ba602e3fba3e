"""Every kind of paper by its name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import xarray as xr

from tierpole.documents.buyer_sheet import buyer_sheet
from tierpole.documents.crew_sheet import crew_sheet
from tierpole.documents.hanging_map import hanging_map
from tierpole.documents.labels import bag_labels, lot_labels, stick_labels
from tierpole.documents.lender_summary import lender_summary
from tierpole.documents.lot_packet import lot_packet
from tierpole.documents.parts import Order
from tierpole.documents.season_plan import season_plan
from tierpole.documents.typeset import Draft, Paper, typeset
from tierpole.plan.result import Plan
from tierpole.season import Season

Maker = Callable[[Season, xr.Dataset, Plan, Order], Draft]

PAPERS: Mapping[str, Maker] = MappingProxyType(
    {
        "season": season_plan,
        "crew": crew_sheet,
        "map": hanging_map,
        "packet": lot_packet,
        "buyer": buyer_sheet,
        "lender": lender_summary,
        "lot-labels": lot_labels,
        "stick-labels": stick_labels,
        "bag-labels": bag_labels,
    }
)


def make_paper(
    kind: str, season: Season, outlook: xr.Dataset, plan: Plan, order: Order | None = None
) -> Paper:
    """A finished paper of a kind; `KeyError` for a kind there is none of."""
    return typeset(PAPERS[kind](season, outlook, plan, order or Order()))
