"""What hangs where in a place, tier by tier: today, when it is fullest, and what comes and goes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import Any

import numpy as np
import xarray as xr

from tierpole.barn.geometry import COEFFICIENTS, place_capacity
from tierpole.charts import words
from tierpole.charts.places import fullest, open_from, place_plan
from tierpole.charts.reading import as_dates
from tierpole.documents.parts import Grid, Order, chosen, head, warnings
from tierpole.documents.tiers import RULE, Bundle, TierDay, tier_days, tier_room
from tierpole.documents.typeset import Draft, file_name
from tierpole.farm import Place
from tierpole.plan.harvest import HARVEST
from tierpole.plan.result import Plan, PlannedCut
from tierpole.season import Season
from tierpole.units import System, show


@dataclass(frozen=True)
class Row:
    """One tier of a drawing: its name, how full it is, its lots in order, its weight when green."""

    tier: str
    room: int
    free: int
    lots: tuple[tuple[str, int, int], ...]  # name, its pattern, sticks
    weight: str


def hanging_map(season: Season, outlook: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """The map of one place, for the day asked for, else for today and its fullest day."""
    name = chosen(order.of, [place.name for place in season.places], "place")
    place = season.places[season.place_index(name)]
    days = tier_days(season, plan, name)
    shown = [order.day] if order.day else _days(season, plan, name)
    return Draft(
        template="hanging_map",
        name=file_name("hanging-map", name, shown[0].isoformat()),
        title=f"Hanging map: {name}",
        made_on=season.on,
        size=order.size,
        data={
            "head": head(season),
            "sentence": _sentence(season, plan, place),
            "drawings": [
                _drawing(season, place, day, order.system) for day in days if day.day in shown
            ],
            "to_hang": _to_hang(plan, name, days),
            "to_take_down": _to_take_down(days, _dry_by(season, outlook, plan, name)),
            "hung_total": f"{sum(cut.sticks for cut in plan.cuts if cut.place == name):,}",
            "down_total": f"{sum(b.sticks for day in days for b in day.taken):,}",
            "notes": [RULE, _weight_note(order.system)],
            "cautions": warnings("barn"),
        },
    )


def _days(season: Season, plan: Plan, place: str) -> list[date]:
    load = place_plan(plan, place)
    most = as_dates(load.days)[int(np.argmax(load.hanging))]
    return sorted({season.on, most})


def _sentence(season: Season, plan: Plan, place: Place) -> str:
    load, opening = place_plan(plan, place.name), open_from(season, place.name)
    held = ""
    if opening > season.on:
        held = f" It holds {place.occupied_by or 'something else'} until {words.long_day(opening)}."
    room = words.counted(place_capacity(place), "stick")
    tiers = words.counted(place.tiers, "tier")
    return f"{place.name} {fullest(load)}. It has {tiers} and room for {room}.{held}"


def _drawing(season: Season, place: Place, day: TierDay, system: System) -> dict[str, Any]:
    rows = [
        _row(season, place, tier, room, day.hanging, system)
        for tier, room in tier_room(place).items()
    ]
    held = open_from(season, place.name)
    elsewhere = sum(bundle.sticks for bundle in day.hanging if bundle.tier is None)
    hanging = sum(bundle.sticks for bundle in day.hanging)
    said = "; ".join(f"{row.tier}: {_lots_said(row)}" for row in rows)
    return {
        "heading": words.long_day(day.day),
        "total": words.counted(hanging, "stick"),
        "rows": rows,
        "elsewhere": elsewhere,
        "held": f"{words.capital(place.occupied_by or 'something else')} hangs here until "
        f"{words.long_day(held)}."
        if held > day.day
        else "",
        "alt": f"{place.name} on {words.long_day(day.day)}, from the top. {said}.",
    }


def _lots_said(row: Row) -> str:
    return ", ".join(f"{name} {sticks:,}" for name, _, sticks in row.lots) or "empty"


def _row(
    season: Season, place: Place, tier: int, room: int, hanging: Iterable[Bundle], system: System
) -> Row:
    by_lot: Counter[str] = Counter()
    for bundle in hanging:
        if bundle.tier == tier:
            by_lot[bundle.lot] += bundle.sticks
    sticks = sum(by_lot.values())
    top = " (top)" if tier == place.tiers > 1 else ""
    return Row(
        tier=f"Tier {tier}{top}",
        room=room,
        free=room - sticks,
        lots=tuple((lot, season.lot_index(lot), count) for lot, count in by_lot.items()),
        weight=show(sticks * COEFFICIENTS["stick_weight"], "a mass", system, 2),
    )


def _to_hang(plan: Plan, place: str, days: tuple[TierDay, ...]) -> Grid:
    hung = {day.day: day.hung for day in days}
    cuts = [cut for cut in plan.cuts if cut.place == place]
    rows = tuple(
        (words.day(cut.day), cut.lot, f"{cut.sticks:,}", _tiers(cut, hung[cut.day]),
         words.day(cut.dry_on))
        for cut in cuts
    )  # fmt: skip
    return Grid(("Day", "Lot", "Sticks", "Tier: sticks", "Dry by, 8 of 10"), rows, (2,))


def _tiers(cut: PlannedCut, hung: Iterable[Bundle]) -> str:
    mine = [bundle for bundle in hung if bundle.lot == cut.lot]
    return ", ".join(f"{b.tier or 'none free'}: {b.sticks:,}" for b in mine)


def _to_take_down(days: tuple[TierDay, ...], dry_by: dict[tuple[str, date], date]) -> Grid:
    """What comes down when, and whether it is dry by then in 8 of 10 seasons."""
    rows = [
        (words.day(day.day), lot, f"{sticks:,}", f"hung {words.short_day(hung_on)}",
         _dry_words(day.day, dry_by[lot, hung_on]))
        for day in days
        for (lot, hung_on), sticks in _by_hanging(day.taken).items()
    ]  # fmt: skip
    return Grid(("Day", "Lot", "Sticks", "Which", "Dry by, 8 of 10"), tuple(rows), (2,))


def _dry_words(down: date, dry: date) -> str:
    return f"{words.day(dry)}{', later: check' if dry > down else ''}"


def _dry_by(
    season: Season, outlook: xr.Dataset, plan: Plan, place: str
) -> dict[tuple[str, date], date]:
    """The day by which four hangings in five of each lot and day are dry in a place."""
    found = {(cut.lot, cut.day): cut.dry_on for cut in plan.cuts if cut.place == place}
    free = np.quantile(outlook["free_day"].values, HARVEST["hold_share"], axis=0)
    for hanging, day in zip(season.hanging_now(), free, strict=True):
        if hanging.place == place:
            found[hanging.lot, hanging.hung_on] = season.day(ceil(day))
    return found


def _by_hanging(bundles: Iterable[Bundle]) -> Counter[tuple[str, date]]:
    found: Counter[tuple[str, date]] = Counter()
    for bundle in bundles:
        found[bundle.lot, bundle.hung_on] += bundle.sticks
    return found


def _weight_note(system: System) -> str:
    stick = show(COEFFICIENTS["stick_weight"], "a mass", system, 2)
    return (
        f"Weights are of green sticks at {stick} each, assumed; weigh some. They say what hangs, "
        "not what a rail bears: that is for you and a carpenter to say."
    )
