"""How each thing on the season strip is drawn. Rows come in as plain values; no farm is known here.

Every kind of mark has its own shape, so that the strip reads in grey and without a legend.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import altair as alt

from tierpole.charts import words
from tierpole.charts.chart import DAY, TO, WORDS, layer

Row = dict[str, Any]

NARROW = 620  # pixels; below it the axis begins in August
SAYS = alt.Tooltip("says:N", title=" ")
Y = alt.Y("y:Q", axis=None)
LETTER = 7.6  # pixels, about the width of a bold letter in a name


def _x(first: date, last: date) -> alt.X:
    """The shared axis. On a narrow page the quiet months before August give way."""
    july = f"utc({first.year}, 7, 1)"
    start, end = (f"utc({day.year}, {day.month - 1}, {day.day})" for day in (first, last))
    axis = alt.Axis(
        format="%b", tickCount="month", orient="top", title=None, labelAlign="left",
        labelFlush=False, domain=False, tickSize=0, labelOffset=2, labelPadding=22,
    )  # fmt: skip
    scale = alt.Scale(
        type="utc", nice=False, domainMax={"expr": end},
        domainMin={"expr": f"width < {NARROW} ? max({start}, {july}) : {start}"},
    )  # fmt: skip
    return alt.X("day:T", axis=axis, scale=scale)


def ground(first: date, last: date, on: date) -> list[alt.Chart]:
    """Month rules and the rule of today through every row."""
    months = [date(first.year, month, 1) for month in range(first.month + 1, 13)]
    rules = layer([{"day": month} for month in months if month <= last])
    today = layer([{"day": on, "says": f"today, {words.short_day(on)}"}])
    return [
        rules.mark_rule(style="faint", clip=True).encode(x=_x(first, last)),
        today.mark_rule(style="ink", strokeWidth=1.5, clip=True).encode(x=DAY),
        today.mark_text(style="ink", fontWeight=700, baseline="bottom", dy=-6).encode(
            x=DAY, y=alt.YValue(0), text=WORDS
        ),
    ]


def growing(rows: Sequence[Row], height: float) -> list[alt.Chart]:
    """A thin line from setting on; a short thick stretch where it comes into flower."""
    lines = layer(rows)
    down = Y.scale(domain=[0, height], reverse=True, nice=False)
    return [
        lines.mark_rule(style="soft", clip=True).encode(x=DAY, x2=TO, y=down),
        lines.mark_rule(style="ink", strokeWidth=5, clip=True).encode(
            x=alt.X("low:T"), x2=alt.X2("high:T"), y=Y, tooltip=SAYS
        ),
    ]


def ribbon(rows: Sequence[Row]) -> alt.Chart:
    """Shading that darkens with the chance to be over the limit."""
    return layer(rows).mark_rect(style="risk", clip=True).encode(
        x=DAY, x2=TO, y=Y, y2=alt.Y2("y2:Q"), tooltip=SAYS,
        fillOpacity=alt.FillOpacity("shade:Q", scale=None),
    )  # fmt: skip


def crossings(rows: Sequence[Row]) -> list[alt.Chart]:
    """A tick and words where half the seasons are over the limit."""
    base = layer(rows)
    text: dict[str, Any] = {"align": "right", "baseline": "top", "dx": -5, "dy": 6}
    tick = base.mark_rule(style="risk", strokeWidth=2, clip=True)
    return [
        tick.encode(x=DAY, y=Y, y2=alt.Y2("up:Q")),
        *_said(base, "risk", "up:Q", "day:T", **text),
    ]


def _said(base: alt.Chart, style: str, y: str, x: Any, **text: Any) -> list[alt.Chart]:
    """Words on a halo: `says` where there is room, `short` on a narrow page."""
    look: dict[str, Any] = {"fontSize": 13, "clip": True, **text,
            "text": alt.ExprRef(f"width < {NARROW} ? datum.short : datum.says")}  # fmt: skip
    place: dict[str, Any] = {"x": x, "y": alt.Y(y, axis=None)}
    return [base.mark_text(style=way, **look).encode(**place) for way in ("halo", style)]


def brackets(rows: Sequence[Row]) -> list[alt.Chart]:
    """The days on which cutting is lawful."""
    window = layer(rows)
    ends = [{**row, "day": row[end]} for row in rows for end in ("day", "to")]
    return [
        window.mark_rule(style="ink", strokeWidth=1.5, clip=True).encode(
            x=DAY, x2=TO, y=Y, tooltip=SAYS),
        layer(ends).mark_rule(style="ink", strokeWidth=1.5, clip=True).encode(
            x=DAY, y=Y, y2=alt.Y2("y2:Q")),
    ]  # fmt: skip


def tails(rows: Sequence[Row]) -> list[alt.Chart]:
    """From hanging until dry, ending in a small square: take down and strip."""
    return [
        layer(rows).mark_rule(style="accent", strokeWidth=4, opacity=0.35, clip=True).encode(
            x=DAY, x2=TO, y=Y, tooltip=SAYS),
        layer(rows).mark_point(style="accent", shape="square", size=34, strokeWidth=1.5,
                               clip=True).encode(x=alt.X("to:T"), y=Y, tooltip=SAYS),
    ]  # fmt: skip


def blocks(rows: Sequence[Row]) -> list[alt.Chart]:
    """A block a day of cutting, as high as its sticks; hollow when it is done."""
    planned = [row for row in rows if not row["done"]]
    done = [row for row in rows if row["done"]]
    hover = alt.selection_point(name="hovered", on="pointerover", fields=["id"], empty=False)
    box: dict[str, Any] = {
        "x": DAY,
        "x2": TO,
        "y": Y,
        "y2": alt.Y2("y2:Q"),
        "tooltip": SAYS,
    }
    return [
        layer(done).mark_rect(style="ink", filled=False, strokeWidth=1.2, clip=True).encode(**box),
        layer(planned).mark_rect(style="accent", clip=True).encode(**box).add_params(hover),
    ]


def samples(rows: Sequence[Row]) -> list[alt.Chart]:
    """A triangle standing on the line: filled while it is to come, hollow when taken."""
    look: dict[str, Any] = {"style": "accent", "shape": "triangle-up", "size": 90, "clip": True}
    to_come = [row for row in rows if not row["done"]]
    return [
        layer(rows).mark_point(strokeWidth=2, **look).encode(x=DAY, y=Y, tooltip=SAYS),
        layer(to_come).mark_point(filled=True, opacity=1, **look).encode(x=DAY, y=Y),
    ]


def rooms(load: Sequence[Row], capacity: Sequence[Row], taken: Sequence[Row]) -> list[alt.Chart]:
    """Sticks hanging as an area under the line of the room; other crops hatched."""
    return [
        layer(taken).mark_rule(style="soft", strokeWidth=1, clip=True).encode(
            x=DAY, x2=TO, y=Y, y2=alt.Y2("y2:Q")),
        layer(load).mark_area(
            style="accent", opacity=0.55, interpolate="step-after", clip=True).encode(
            x=DAY, y=Y, y2=alt.Y2("y2:Q"), detail=alt.Detail("place:N")),
        layer(capacity).mark_rule(style="ink", strokeWidth=2, clip=True).encode(
            x=DAY, x2=TO, y=Y, tooltip=SAYS),
    ]  # fmt: skip


def hatch(first: date, last: date, floor: float, top: float) -> list[Row]:
    """Slanted strokes over a stretch of days: something else hangs there."""
    slant, step = timedelta(days=3), 3
    starts = [first + timedelta(days=k) for k in range(0, max(0, (last - first).days - 2), step)]
    return [{"day": start, "to": start + slant, "y": floor, "y2": top} for start in starts]


def names(rows: Sequence[Row]) -> list[alt.Chart]:
    """The name of a row at its left end, and what more there is to say of it."""
    rows = [{**row, "shift": LETTER * len(row["name"]) + 8} for row in rows]
    left: dict[str, Any] = {"x": alt.XValue(0), "y": Y}
    return [
        layer(rows).mark_text(style="ink", fontWeight=700, align="left").encode(
            text=alt.Text("name:N"), **left),
        layer(rows).mark_text(
            style="soft", fontSize=13, align="left", clip=True,
            dx=alt.ExprRef("datum.shift")).encode(text=alt.Text("more:N"), **left),
    ]  # fmt: skip


def frost(rows: Sequence[Row], labels: Sequence[Row], floor: float) -> list[alt.Chart]:
    """The chance that a freeze has come, rising: one line a level, the second one dashed."""
    dash = alt.StrokeDash("kind:O", legend=None).scale(domain=[0, 1], range=[[1, 0], [6, 3]])
    ground_line = layer([{"y": floor}]).mark_rule(style="faint").encode(y=Y)
    lines = layer(rows).mark_line(style="ink", strokeWidth=2, interpolate="step-after",
                                  clip=True).encode(x=DAY, y=Y, strokeDash=dash)  # fmt: skip
    keys = layer(labels).mark_rule(style="ink", strokeWidth=2).encode(
        x=alt.XValue(0), x2=alt.X2Value(26), y=Y, strokeDash=dash)  # fmt: skip
    said = _said(layer(labels), "ink", "y:Q", alt.XValue(34), align="left")
    return [ground_line, lines, keys, *said]


def links(rows: Sequence[Row]) -> list[alt.Chart]:
    """A line from a cut to its place, seen while the cut is pointed at or `picked` in a list."""
    picked = alt.param(name="picked", value="")
    shown = {"or": [{"param": "hovered", "empty": False}, "datum.id === picked"]}
    return [
        layer(rows).mark_rule(style="accent", strokeWidth=2, clip=True).encode(
            x=DAY, x2=TO, y=Y, y2=alt.Y2("y2:Q"),
            opacity=alt.OpacityValue(0, condition={"test": shown, "value": 1})).add_params(picked),
    ]  # fmt: skip
