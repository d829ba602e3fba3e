"""What an acre leaves, crop beside crop: a bar of eight years in ten, and the usual one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from tierpole.charts import marks, words
from tierpole.charts.chart import Chart, Row, Table, finish, layer
from tierpole.charts.money import MONEY

ROW = 66  # pixels a crop
THICK = 14


@dataclass(frozen=True)
class AcreLeft:
    """What an acre of a crop leaves: usually, and in one year of ten below and above [USD]."""

    name: str
    usual: float
    low: float
    high: float
    is_own: bool = False


def acre_left(crops: Sequence[AcreLeft]) -> Chart:
    """Every crop on a line of its own, hemp first, over one axis of dollars with its zero."""
    rows: list[Row] = [
        {"low": one.low, "high": one.high, "usual": one.usual, "says": _said(one),
         "line": ROW * number + 44, "name": ROW * number + 16, "own": one.is_own}
        for number, one in enumerate(crops)
    ]  # fmt: skip
    height = ROW * len(rows)
    edges = [edge for row in rows for edge in (row["low"], row["high"], 0.0)]
    scale = alt.Scale(domain=[min(edges), max(edges)], nice=True)
    axis = alt.Axis(title=None, labelExpr=MONEY, tickCount=5, labelFlush=True)
    y = alt.Y("line:Q", axis=None, scale=alt.Scale(domain=[0, height], reverse=True, nice=False))
    start = max(scale.domain[0], 0.0) if min(edges) >= 0 else scale.domain[0]
    names = layer([{**row, "at": start, "line": row["name"]} for row in rows])
    span: dict[str, Any] = {"x": alt.X("low:Q", axis=axis, scale=scale), "x2": alt.X2("high:Q"),
                            "y": y, "tooltip": marks.SAYS}  # fmt: skip
    own, others = ([row for row in rows if row["own"] is is_own] for is_own in (True, False))
    layers = [
        layer(others).mark_rule(style="ink", strokeWidth=THICK, opacity=0.3).encode(**span),
        layer(own).mark_rule(style="accent", strokeWidth=THICK, opacity=0.7).encode(**span),
        layer(rows).mark_tick(style="ink", orient="vertical", thickness=3, height=26).encode(
            x=alt.X("usual:Q"), y=y),
        layer([{"zero": 0}]).mark_rule(style="ink", strokeWidth=2).encode(x=alt.X("zero:Q")),
        *marks.written(names, x=alt.X("at:Q"), y=alt.Y("line:Q"), align="left"),
    ]  # fmt: skip
    return finish(layers, height, _sentence(crops), _table(crops))


def _said(one: AcreLeft) -> str:
    usual = words.dollars(one.usual)
    return (
        f"{one.name}: {usual}" if one.high - one.low < 1 else f"{one.name}: {usual}, {_band(one)}"
    )


def _band(one: AcreLeft) -> str:
    return f"{words.dollars(one.low)} to {words.dollars(one.high)} in 8 of 10"


def _sentence(crops: Sequence[AcreLeft]) -> str:
    told = (f"{words.small(one.name)} {words.dollars(one.usual)}" for one in crops)
    return f"In the mean, its own costs paid: {words.listed(list(told))}."


def _table(crops: Sequence[AcreLeft]) -> Table:
    rows = tuple(
        (one.name, words.dollars(one.low), words.dollars(one.usual), words.dollars(one.high))
        for one in crops
    )
    return Table(("Crop", "One year of ten is below", "Usual", "One year of ten is above"), rows)
