"""A chart as this project hands it out: a Vega-Lite spec, its sentence and its table."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import altair as alt
import numpy as np

from tierpole.charts.theme import Look, theme
from tierpole.charts.words import rounded

Row = dict[str, Any]
DIGITS = 4  # significant digits a spec keeps
DAY = alt.X("day:T")  # channels that nearly every mark uses
TO = alt.X2("to:T")
WORDS = alt.Text("says:N")
WIDTH = 760  # in a notebook; a page gives the chart the width it has


@dataclass(frozen=True)
class Table:
    """The content of a chart as text: one header, rows of the same length."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        if any(len(row) != len(self.header) for row in self.rows):
            raise ValueError("every row of a table has as many cells as its header")


@dataclass(frozen=True)
class Chart:
    """A picture three ways: drawn (`spec`), said (`sentence`) and written out (`table`)."""

    spec: dict[str, Any]
    sentence: str
    table: Table

    def looking(self, look: Look) -> dict[str, Any]:
        """The spec in a look: `paper` by itself, `page` with the page's own colours and width."""
        width = "container" if look == "page" else WIDTH
        return {**self.spec, "width": width, "config": theme(look)}

    @cached_property
    def page_json(self) -> str:
        """The spec for a page, safe to stand inside a script element."""
        text = json.dumps(self.looking("page"), separators=(",", ":"), ensure_ascii=False)
        return text.replace("<", "\\u003c")

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {"application/vnd.vegalite.v6+json": self.spec, "text/plain": self.sentence}


def finish(layers: Sequence[alt.Chart], height: int, sentence: str, table: Table) -> Chart:
    """Lay the parts of a picture over each other and hand it out as a `Chart`."""
    sized = alt.layer(*layers).properties(
        height=height, width=WIDTH, description=sentence,
        autosize=alt.AutoSizeParams(type="fit-x", contains="padding"),
    )  # fmt: skip
    return Chart({**sized.to_dict(validate=False), "config": theme()}, sentence, table)


def layer(rows: Iterable[Mapping[str, Any]]) -> alt.Chart:
    """An empty chart over rows of plain values: dates as ISO days, numbers kept short."""
    return alt.Chart(alt.InlineData(values=[_plain(row) for row in rows]))


def _plain(row: Mapping[str, Any]) -> Row:
    return {key: _value(value) for key, value in row.items()}


def _value(value: Any) -> Any:
    if isinstance(value, np.datetime64):
        return str(value.astype("datetime64[D]"))
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float | np.floating):
        return rounded(float(value), DIGITS)
    return int(value) if isinstance(value, np.integer) else value
