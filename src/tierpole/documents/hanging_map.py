"""What hangs where in a place, bay by bay: today, when it is fullest, and what comes and goes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from math import ceil
from typing import Any

import numpy as np
import xarray as xr

from tierpole.barn import room
from tierpole.barn.geometry import COEFFICIENTS, place_capacity
from tierpole.charts import words
from tierpole.charts.places import open_from, place_plan
from tierpole.charts.reading import as_dates
from tierpole.documents.crew_words import (
    Say,
    crew_cautions,
    crew_head,
    crew_words,
    said_date,
    said_sticks,
    said_tiers,
    short_date,
)
from tierpole.documents.parts import Grid, Order, chosen
from tierpole.documents.tiers import Bundle, TierDay, tier_days, tier_room
from tierpole.documents.typeset import Draft, file_name
from tierpole.farm import Place
from tierpole.outlook.stowing import elevation
from tierpole.plan.harvest import HARVEST
from tierpole.plan.result import Plan
from tierpole.season import Season
from tierpole.units import System, show


@dataclass(frozen=True)
class Part:
    """Sticks side by side on a tier: whose they are, its pattern; free room bears no name."""

    lot: str
    pattern: int
    sticks: int


@dataclass(frozen=True)
class Row:
    """One tier of a drawing: its name, its room, its parts from the door on, its weight green."""

    tier: str
    room: int
    free: int
    parts: tuple[Part, ...]
    weight: str

    @property
    def lots(self) -> dict[str, int]:
        """Sticks on the tier, lot by lot."""
        found: Counter[str] = Counter()
        for part in self.parts:
            if part.lot:
                found[part.lot] += part.sticks
        return dict(found)


def hanging_map(season: Season, outlook: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """The map of one place, for the day asked for, else for today and its fullest day."""
    name = chosen(order.of, [place.name for place in season.places], "place")
    place, say = season.places[season.place_index(name)], crew_words(order.language)
    days = tier_days(season, plan, name)
    shown = [order.day] if order.day else _days(season, plan, name)
    hung = sum(cut.sticks for cut in plan.cuts if cut.place == name)
    down = sum(bundle.sticks for day in days for bundle in day.taken)
    head = crew_head(season, say)
    return Draft(
        template="hanging_map",
        name=file_name("hanging-map", name, shown[0].isoformat()),
        title=say["map_title"].format(place=name),
        made_on=season.on,
        size=order.size,
        language=order.language,
        data={
            "head": {**head, "invented_long": head["invented"]},
            "say": say,
            "place": name,
            "sentence": _sentence(season, plan, place, say),
            "drawings": [
                _drawing(season, place, day, order.system, say)
                for day in days if day.day in shown
            ],
            "to_hang": _to_hang(plan, place, days, say),
            "to_hang_title": say["map_to_hang"].format(sticks=said_sticks(say, hung)),
            "to_take_down": _to_take_down(days, _dry_by(season, outlook, plan, name), say),
            "to_take_title": say["map_to_take"].format(sticks=said_sticks(say, down)),
            "notes": _notes(season, name, order.system, say),
            "cautions": list(crew_cautions(order.language)),
        },
    )  # fmt: skip


def _days(season: Season, plan: Plan, place: str) -> list[date]:
    load = place_plan(plan, place)
    most = as_dates(load.days)[int(np.argmax(load.hanging))]
    return sorted({season.on, most})


def _sentence(season: Season, plan: Plan, place: Place, say: Say) -> str:
    sticks = said_sticks(say, place_capacity(place))
    said = [
        _fullest(plan, place.name, say),
        say["map_room_one" if place.tiers == 1 else "map_room"].format(
            tiers=place.tiers, sticks=sticks
        ),
    ]
    opening = open_from(season, place.name)
    if opening > season.on:
        what = place.occupied_by or say["something"]
        said.append(say["map_held"].format(what=what, day=said_date(say, opening)))
    return " ".join(said)


def _fullest(plan: Plan, place: str, say: Say) -> str:
    load = place_plan(plan, place)
    most = int(np.argmax(load.hanging))
    sticks, room_then = float(load.hanging[most]), float(load.capacity[most])
    if sticks < 1:
        return say["map_empty"].format(place=place)
    return say["map_fullest"].format(
        place=place, day=said_date(say, as_dates(load.days)[most]),
        sticks=said_sticks(say, sticks), room=f"{room_then:,.0f}",
    )  # fmt: skip


def _notes(season: Season, place: str, system: System, say: Say) -> list[str]:
    """In which order it is filled, what was written down, and what weights do not say."""
    found = elevation(season, place)
    total = sum(hanging.sticks for hanging in found.hangings)
    drawn = "map_recorded" if found.is_recorded else "map_partly"
    drawn = drawn if found.recorded else "map_unrecorded"
    today = say[drawn].format(all=said_sticks(say, total), known=f"{found.recorded:,}")
    stick = show(COEFFICIENTS["stick_weight"], "a mass", system, 2)
    return [
        f"{say['filling']} {say['tiers_note']}",
        f"{today if total else ''} {say['map_planned']}".strip(),
        say["map_weight"].format(stick=stick),
    ]


# --- drawings -------------------------------------------------------------------------------------


def _drawing(
    season: Season, place: Place, day: TierDay, system: System, say: Say
) -> dict[str, Any]:
    tiers = {*tier_room(place), *(bundle.tier for bundle in day.hanging if bundle.tier)}
    rows = [
        _row(season, place, tier, day.hanging, system, say) for tier in sorted(tiers, reverse=True)
    ]
    held, heading = open_from(season, place.name), said_date(say, day.day)
    elsewhere = sum(bundle.sticks for bundle in day.hanging if bundle.tier is None)
    what = words.capital(place.occupied_by or say["something"])
    tiers_said = "; ".join(f"{row.tier}: {_lots_said(row, say)}" for row in rows)
    return {
        "heading": words.capital(heading),
        "total": said_sticks(say, sum(bundle.sticks for bundle in day.hanging)),
        "rows": rows,
        "elsewhere": say["map_elsewhere"].format(sticks=said_sticks(say, elsewhere))
        if elsewhere
        else "",
        "held": say["map_hangs"].format(what=what, day=said_date(say, held))
        if held > day.day
        else "",
        "alt": say["map_alt"].format(place=place.name, day=heading, tiers=tiers_said),
    }


def _lots_said(row: Row, say: Say) -> str:
    return ", ".join(f"{lot} {n:,}" for lot, n in row.lots.items()) or say["map_is_empty"]


def _row(
    season: Season, place: Place, tier: int, hanging: Iterable[Bundle], system: System, say: Say
) -> Row:
    own = [bundle for bundle in hanging if bundle.tier == tier]
    rooms = [int(count) for count in room.bays(place)[tier - 1]]
    parts = _parts(season, own, rooms)
    sticks = sum(part.sticks for part in parts if part.lot)
    key = "map_tier_top" if tier == place.tiers > 1 else "map_tier"
    return Row(
        tier=say[key].format(tier=tier),
        room=sum(rooms),
        free=sum(part.sticks for part in parts if not part.lot),
        parts=parts,
        weight=show(sticks * COEFFICIENTS["stick_weight"], "a mass", system, 2),
    )


def _parts(season: Season, own: Sequence[Bundle], rooms: Sequence[int]) -> tuple[Part, ...]:
    """A tier from the door to the far end; in a bent the free room is nearer to the door."""
    parts: list[Part] = []
    for bent, here in enumerate(rooms, 1):
        hung = [bundle for bundle in own if bundle.bent == bent]
        free = here - sum(bundle.sticks for bundle in hung)
        parts += [Part("", 0, free)] if free > 0 else []
        parts += [Part(one.lot, season.lot_index(one.lot), one.sticks) for one in hung]
    return tuple(
        Part(lot, pattern, sum(part.sticks for part in group))
        for (lot, pattern), group in groupby(parts, key=lambda part: (part.lot, part.pattern))
    )


# --- what comes and goes --------------------------------------------------------------------------


def _to_hang(plan: Plan, place: Place, days: tuple[TierDay, ...], say: Say) -> Grid:
    hung = {day.day: day.hung for day in days}
    rows = tuple(
        (
            short_date(say, cut.day), cut.lot, f"{cut.sticks:,}",
            ", ".join(said_tiers(say, (b for b in hung[cut.day] if b.lot == cut.lot), place.tiers)),
            short_date(say, cut.dry_on),
        )
        for cut in plan.cuts if cut.place == place.name
    )  # fmt: skip
    return Grid(tuple(say["map_hang_header"]), rows, (2,))


def _to_take_down(
    days: tuple[TierDay, ...], dry_by: dict[tuple[str, date], date], say: Say
) -> Grid:
    """What comes down when, and whether it is dry by then in 8 of 10 seasons."""
    rows = [
        (short_date(say, day.day), lot, f"{sticks:,}",
         say["map_hung"].format(day=short_date(say, hung_on).split(" ", 1)[1]),
         _dry_words(day.day, dry_by[lot, hung_on], say))
        for day in days
        for (lot, hung_on), sticks in _by_hanging(day.taken).items()
    ]  # fmt: skip
    return Grid(tuple(say["map_take_header"]), tuple(rows), (2,))


def _dry_words(down: date, dry: date, say: Say) -> str:
    later = f", {say['map_later']}" if dry > down else ""
    return f"{short_date(say, dry)}{later}"


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
