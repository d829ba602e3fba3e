"""A place seen from the side, bay by bay: each lot by its pattern and its name, not by colour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import altair as alt
import numpy as np

from tierpole.charts import marks, words
from tierpole.charts.chart import Chart, Row, Table, finish, layer
from tierpole.outlook.stowing import Elevation
from tierpole.season import Season

PATTERNS = ("rising", "falling", "upright", "level", "crossed", "dotted")
STROKES = 5  # of a pattern in a full bay
TIER_HEIGHT = 56  # pixels


def elevation_chart(season: Season, found: Elevation, says: Sequence[str]) -> Chart:
    """The side of a place; `says` stands beside each hanging's lot, as its moisture."""
    tiers, bents = found.room.shape
    x = alt.X("x:Q", axis=_axis(bents, "door", "bent"), scale=_scale(bents))
    y = alt.Y("y:Q", axis=_axis(tiers, "lowest", "tier"), scale=_scale(tiers))
    box: dict[str, Any] = {"x": x, "y": y, "x2": alt.X2("x2:Q"), "y2": alt.Y2("y2:Q")}
    lots = list(dict.fromkeys(hanging.lot for hanging in found.hangings))
    pattern = {lot: PATTERNS[number % len(PATTERNS)] for number, lot in enumerate(lots)}
    bays = list(_bays(found))
    held = _held_by(season, found)
    strokes = [stroke for bay in bays for stroke in _strokes(bay, pattern[bay["lot"]])]
    strokes += [stroke for bay in _frames(found) if held for stroke in _strokes(bay, "rising")]
    layers = [
        layer(_frames(found)).mark_rect(style="faint", opacity=0.35, clip=True).encode(**box),
        layer(_frames(found)).mark_rect(
            style="ink", fillOpacity=0, filled=False, strokeWidth=1).encode(**box),
        layer(strokes).mark_rule(style="soft", strokeWidth=1).encode(**box),
        layer(bays).mark_rect(
            style="ink", fillOpacity=0, filled=False, strokeWidth=2).encode(**box),
        *_labels(found, bays, says),
        *_free_words(found, held),
    ]  # fmt: skip
    return finish(layers, TIER_HEIGHT * tiers, _sentence(season, found), _table(found))


def _axis(count: int, first: str, noun: str) -> alt.Axis:
    middles = [number + 0.5 for number in range(count)]
    label = f"datum.value < 1 ? '{first}' : '{noun} ' + ceil(datum.value)"
    return alt.Axis(
        title=None, values=middles, labelExpr=label, grid=False, ticks=False, domain=False,
        labelFlush=False, minExtent=marks.LEFT,
    )  # fmt: skip


def _scale(count: int) -> alt.Scale:
    return alt.Scale(domain=[0, count], nice=False)


def _frames(found: Elevation) -> list[Row]:
    """Every bay, whether anything hangs in it or not."""
    return [
        {"x": bent, "x2": bent + 1, "y": tier, "y2": tier + 1}
        for tier, bent in np.ndindex(*found.room.shape)
        if found.room[tier, bent]
    ]


def _bays(found: Elevation) -> Iterator[Row]:
    """What of each bay is taken, lot beside lot, as wide as its share of the bay's room."""
    used = np.zeros(found.room.shape)
    for number, one in enumerate(found.stowed):
        for tier, bent in np.argwhere(one.sticks > 0):
            start = used[tier, bent]
            share = one.sticks[tier, bent] / max(found.room[tier, bent], 1)
            used[tier, bent] += share
            yield {
                "x": bent + start, "x2": bent + min(start + share, 1.0), "y": int(tier),
                "y2": int(tier) + 1, "lot": one.lot, "number": number,
            }  # fmt: skip


def _strokes(bay: Row, pattern: str) -> Iterator[Row]:
    """The lines of a pattern inside a bay."""
    left, right, low = bay["x"], bay["x2"], bay["y"]
    wide = right - left
    count = max(1, round(STROKES * wide))
    for number in range(count):
        at, step = left + wide * (number + 0.5) / count, wide / count / 2
        if pattern in ("rising", "crossed"):
            yield {"x": at - step, "x2": at + step, "y": low, "y2": low + 1}
        if pattern in ("falling", "crossed"):
            yield {"x": at - step, "x2": at + step, "y": low + 1, "y2": low}
        if pattern == "upright":
            yield {"x": at, "x2": at, "y": low, "y2": low + 1}
    if pattern in ("level", "dotted"):
        dashes = count if pattern == "dotted" else 1
        for row in (0.2, 0.5, 0.8):
            for dash in range(dashes):
                start = left + wide * dash / dashes
                end = start + wide / dashes * (0.4 if pattern == "dotted" else 1)
                yield {"x": start, "x2": end, "y": low + row, "y2": low + row}


def _labels(found: Elevation, bays: list[Row], says: Sequence[str]) -> list[alt.Chart]:
    """Each hanging's lot in the middle of its largest bay, with what is said of it below."""
    named: list[Row] = []
    for number, hanging in enumerate(found.hangings):
        own = [bay for bay in bays if bay["number"] == number]
        if own:
            best = max(own, key=lambda bay: (bay["x2"] - bay["x"], bay["y"]))
            at = {"x": (best["x"] + best["x2"]) / 2, "y": best["y"]}
            named.append({**at, "y": best["y"] + 0.66, "says": _short(hanging.lot)})
            named.append({**at, "y": best["y"] + 0.3, "says": says[number]})
    return marks.written(layer(named), x=alt.X("x:Q"), y=alt.Y("y:Q"), fontWeight=700)


def _short(lot: str) -> str:
    """A lot's number when it has one, else what fits into a bay."""
    first = lot.split(maxsplit=1)[0]
    return f"Lot {first}" if first.isdecimal() else lot[:10]


def _held_by(season: Season, found: Elevation) -> str:
    """What else hangs in a place today, such as tobacco; empty when it is free."""
    until = found.place.free_from
    held = until is not None and until > season.on
    return (found.place.occupied_by or "something else") if held else ""


def _free_words(found: Elevation, held: str) -> list[alt.Chart]:
    """Tiers kept free as a whole, and what else holds the place, in words."""
    tiers, bents = found.room.shape
    free = [
        {"x": bents / 2, "y": tier + 0.5, "says": "kept free"}
        for tier in range(tiers)
        if not found.room[tier].any()
    ]
    free += [{"x": bents / 2, "y": tiers / 2, "says": held}] if held else []
    return marks.written(layer(free), x=alt.X("x:Q"), y=alt.Y("y:Q"))


def _sentence(season: Season, found: Elevation) -> str:
    place = found.place
    held = _held_by(season, found)
    if held and place.free_from is not None:
        return f"{place.name} is full of {held} until {words.long_day(place.free_from)}."
    if not found.hangings:
        return f"Nothing hangs in {place.name}."
    sticks = sum(hanging.sticks for hanging in found.hangings)
    lots = words.listed(list(dict.fromkeys(hanging.lot for hanging in found.hangings)))
    drawn = "" if found.is_recorded else (
        " Nobody wrote down on which tiers, so it is drawn filled from the far end, top to bottom."
    )  # fmt: skip
    return f"{words.counted(sticks, 'stick')} of {lots} hang in {place.name}.{drawn}"


def _table(found: Elevation) -> Table:
    tiers, bents = found.room.shape
    rows = [
        (str(tier + 1), str(bent + 1), _hung(found, tier, bent), f"{found.room[tier, bent]:,}")
        for tier in reversed(range(tiers))
        for bent in range(bents)
    ]
    return Table(("Tier", "Bent from the door", "Hangs there", "Room for"), tuple(rows))


def _hung(found: Elevation, tier: int, bent: int) -> str:
    parts = [
        f"{int(one.sticks[tier, bent]):,} of {one.lot}"
        for one in found.stowed
        if one.sticks[tier, bent]
    ]
    return ", ".join(parts) or "nothing"
