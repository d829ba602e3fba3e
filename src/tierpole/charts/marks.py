"""Marks that several charts share: bands of a forecast, today, the day chosen, words on a halo."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import altair as alt
import numpy as np

from tierpole.charts.chart import DAY, WORDS, Row, layer
from tierpole.outlook.summary import bands

SAYS = alt.Tooltip("says:N", title=" ")
LEFT = 58  # pixels kept for the labels of a vertical axis, so that charts below each other align
QUANTILES = ("low", "lower", "middle", "upper", "high")  # 10, 25, 50, 75, 90 %


def days_axis(first: date, last: date) -> alt.X:
    """Days from `first` to `last`, read as UTC so that no day slips."""
    axis = alt.Axis(
        title=None, labelFlush=True, tickCount=7, labelSeparation=8,
        labelExpr="utcFormat(datum.value, '%-d %b')",
    )  # fmt: skip
    scale = alt.Scale(type="utc", domain=[first.isoformat(), last.isoformat()], nice=False)
    return alt.X("day:T", axis=axis, scale=scale)


def value_axis(
    field: str, label: str, low: float, high: float, values: Sequence[float] = ()
) -> alt.Y:
    """A vertical axis whose labels are made by a Vega expression over `datum.value`."""
    ticks: dict[str, Any] = {"values": list(values)} if values else {"tickCount": 5}
    axis = alt.Axis(title=None, labelExpr=label, minExtent=LEFT, maxExtent=LEFT, **ticks)
    return alt.Y(
        f"{field}:Q", axis=axis, scale=alt.Scale(domain=[low, high], nice=False, clamp=True)
    )


def band_rows(days: Sequence[date], draws: np.ndarray, scale: float = 1.0) -> list[Row]:
    """One row a day with the five quantiles of [draw, day] values."""
    levels = bands(draws) * scale
    return [
        {"day": day, **{name: float(levels[k, n]) for k, name in enumerate(QUANTILES)}}
        for n, day in enumerate(days)
    ]


def fan(rows: Sequence[Row], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """8 of 10 seasons in the light band, half of them in the darker one, the middle as a line."""
    base = layer(rows)
    outer = base.mark_area(style="accent", opacity=0.16, clip=True).encode(
        x=x, y=_retitled(y, "low"), y2=alt.Y2("high:Q"))  # fmt: skip
    inner = base.mark_area(style="accent", opacity=0.24, clip=True).encode(
        x=DAY, y=alt.Y("lower:Q"), y2=alt.Y2("upper:Q"))  # fmt: skip
    middle = base.mark_line(style="accent", strokeWidth=2.5, clip=True).encode(
        x=DAY, y=alt.Y("middle:Q"))  # fmt: skip
    return [outer, inner, middle]


def _retitled(y: alt.Y, field: str) -> alt.Y:
    moved = y.copy()
    moved.shorthand = f"{field}:Q"
    return moved


def today(on: date, x: alt.X = DAY) -> list[alt.Chart]:
    """The rule of today; it may carry the axis where all other marks span days."""
    rule = layer([{"day": on, "says": "today"}])
    return [
        rule.mark_rule(style="ink", strokeWidth=1.2, clip=True).encode(x=x),
        *written(rule, x=DAY, y=alt.YValue(8), align="left", dx=5),
    ]


def chosen(start: date | None) -> list[alt.Chart]:
    """A rule on the day the reader has chosen with the slider (`chosen`, milliseconds of UTC)."""
    at = np.datetime64(start or "1970-01-01", "ms").astype(int).item()
    rule = layer([{}]).transform_calculate(day="chosen").add_params(
        alt.param(name="chosen", value=at)
    )  # fmt: skip
    return [
        rule.mark_rule(style="accent", strokeWidth=2, strokeDash=[5, 3], clip=True).encode(x=DAY)
    ]


def written(base: alt.Chart, x: Any, y: Any, style: str = "ink", **more: Any) -> list[alt.Chart]:
    """Words (`says`) on a halo of the page's ground, so that no line runs through them."""
    look: dict[str, Any] = {"baseline": "middle", "fontSize": 13, **more}
    place: dict[str, Any] = {"x": x, "y": y, "text": WORDS}
    return [
        base.mark_text(style="halo", **look).encode(**place),
        base.mark_text(style=style, **look).encode(**place),
    ]


def percent_label(digits: int) -> str:
    """Axis labels for percents already multiplied by 100."""
    return f"format(datum.value, '.{digits}f') + ' %'"
