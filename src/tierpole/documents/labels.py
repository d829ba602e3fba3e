"""Labels with a QR code: for lots in the field, sticks in the barn, bags in the store.

A code leads to an address that outlives the pages' own (`/scan/...`), or, where no address is
given, holds the plain words of the label.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Literal
from urllib.parse import quote

import segno
import xarray as xr

from tierpole.charts import words
from tierpole.documents.parts import Order, chosen, head
from tierpole.documents.typeset import Draft, file_name
from tierpole.plan.result import Plan, PlannedCut
from tierpole.season import Season

Kind = Literal["lots", "sticks", "bags"]


@dataclass(frozen=True)
class Label:
    """One label: what it is of, large; two lines below; its code as a drawing."""

    large: str
    lines: tuple[str, ...]
    code: str
    holds: str


def lot_labels(season: Season, _: xr.Dataset, __: Plan, order: Order) -> Draft:
    """A label for each lot, or for the one asked for."""
    names = [lot.name for lot in season.lots]
    wanted = [chosen(order.of, names, "lot")] if order.of else names
    return _sheet("lots", season, order, [_lot_label(season, name, order) for name in wanted])


def stick_labels(season: Season, _: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """A label for each bundle the plan hangs on a day; without one, on the next day of cutting."""
    day = order.day or next((cut.day for cut in plan.cuts), season.on)
    cuts = [cut for cut in plan.cuts if cut.day == day and order.of in ("", cut.lot)]
    return _sheet("sticks", season, order, [_stick_label(season, cut, order) for cut in cuts])


def bag_labels(season: Season, _: xr.Dataset, __: Plan, order: Order) -> Draft:
    """So many numbered labels for the bags of a lot, weight and moisture to be written in."""
    lot = chosen(order.of, [lot.name for lot in season.lots], "lot")
    numbers = range(1, order.count + 1)
    return _sheet(
        "bags", season, order, [_bag_label(season, lot, number, order) for number in numbers]
    )


def scan_path(kind: str, *names: str) -> str:
    """The path a label leads to: `/scan/lots/4%20Lane`."""
    return "/".join(["/scan", kind, *(quote(name, safe="") for name in names)])


def code_drawing(text: str) -> str:
    """A QR code as an SVG drawing; error correction that stands a smear or a tear."""
    drawn = io.BytesIO()
    code = segno.make(text, error="q", micro=False)
    code.save(drawn, kind="svg", border=4, xmldecl=False, svgns=True)
    return drawn.getvalue().decode()


def _sheet(kind: Kind, season: Season, order: Order, labels: list[Label]) -> Draft:
    return Draft(
        template="labels",
        name=file_name("labels", kind, order.of, season.on.isoformat()),
        title=f"Labels for {kind}: {season.farm.name}",
        made_on=season.on,
        size=order.size,
        data={"head": head(season), "labels": labels},
    )


def _label(large: str, lines: tuple[str, ...], order: Order, kind: Kind, *names: str) -> Label:
    plain = " / ".join((kind.removesuffix("s"), *names))
    holds = order.address.rstrip("/") + scan_path(kind, *names) if order.address else plain
    return Label(large, lines, code_drawing(holds), holds)


def _lot_label(season: Season, name: str, order: Order) -> Label:
    lot = season.lots[season.lot_index(name)]
    lines = (f"{lot.variety}, {lot.field}", f"{lot.plants_set:,} set {words.short_day(lot.set_on)}")
    return _label(name, lines, order, "lots", name)


def _stick_label(season: Season, cut: PlannedCut, order: Order) -> Label:
    lot = season.lots[season.lot_index(cut.lot)]
    lines = (
        f"{cut.sticks:,} sticks in {cut.place}",
        f"cut {words.day(cut.day)} {cut.day.year}, {lot.variety}",
    )
    return _label(cut.lot, lines, order, "sticks", cut.lot, cut.day.isoformat(), cut.place)


def _bag_label(season: Season, name: str, number: int, order: Order) -> Label:
    lot = season.lots[season.lot_index(name)]
    mass = "lb" if order.system == "us" else "kg"
    lines = (f"{lot.variety}, bag {number}", f"________ {mass}   ______ % moisture")
    return _label(f"{name} #{number}", lines, order, "bags", name, str(number))
