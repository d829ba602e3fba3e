"""Pictures of the proof, as small SVG files in the project's own look."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import altair as alt
import numpy as np
import vl_convert

from tierpole.charts.theme import PAPER, theme

WIDTH, HEIGHT = 560, 260
STOCK_COLOURS = alt.Scale(domain=["clone", "seed"], range=[PAPER["accent"], PAPER["risk"]])


def ranks(found: dict[str, np.ndarray], path: Path) -> None:
    """How far shares of ranks stray from an even law, with the band that chance leaves."""
    levels = np.linspace(0.0, 1.0, 51)
    lines = [
        {"rank": level, "stray": float(np.mean(ranks <= level) - level), "stock": stock}
        for stock, ranks in found.items()
        for level in levels.tolist()
    ]
    fewest = min(ranks.size for ranks in found.values()) / 4  # four lots of a farm are not alone
    reach = 1.96 * np.sqrt(levels * (1.0 - levels) / fewest)
    band = [
        {"rank": level, "low": -width, "high": width}
        for level, width in zip(levels.tolist(), reach.tolist(), strict=True)
    ]
    rank = alt.X("rank:Q", title="rank of the truth among the draws", axis=alt.Axis(format="%"))
    stray = alt.Y("low:Q", title="share of lots below, less an even share")
    by_chance = _rows(band).mark_area(color=PAPER["faint"]).encode(rank, stray, alt.Y2("high:Q"))
    drawn = _rows(lines).mark_line(strokeWidth=2).encode(rank, alt.Y("stray:Q"), _by_stock())
    _save(alt.layer(by_chance, drawn), path)


def reliability(rows: Sequence[dict[str, Any]], path: Path) -> None:
    """Shares that passed by what was said, beside the line of perfect agreement."""
    points = [
        {
            "said": row["said, mean"],
            "passed": row["passed"],
            "low": max(row["passed"] - 1.96 * row["standard error"], 0.0),
            "high": min(row["passed"] + 1.96 * row["standard error"], 1.0),
            "stock": row["stock"],
        }
        for row in rows
    ]
    said = alt.X("said:Q", title="P(pass) said", axis=alt.Axis(format="%"))
    came = alt.Y("passed:Q", title="share that passed", axis=alt.Axis(format="%"))
    even = _rows([{"said": 0.0, "passed": 0.0}, {"said": 1.0, "passed": 1.0}])
    line = even.mark_line(color=PAPER["soft"], strokeDash=[4, 4]).encode(said, came)
    bars = _rows(points).mark_rule().encode(said, alt.Y("low:Q"), alt.Y2("high:Q"), _by_stock())
    dots = _rows(points).mark_point(filled=True, size=70).encode(said, came, _by_stock())
    _save(alt.layer(line, bars, dots), path)


def skill(rows: Sequence[dict[str, Any]], path: Path) -> None:
    """Brier scores of the forecast and of simpler ways to guess, clones only."""
    bars = [
        {
            "guess": row["guess"],
            "score": row["Brier score"],
            "colour": PAPER["accent" if row["guess"] == "this forecast" else "soft"],
        }
        for row in rows
        if row["stock"] == "clone"
    ]
    order = alt.EncodingSortField("score")
    guess = alt.Y("guess:N", sort=order, title=None, axis=alt.Axis(labelLimit=260))
    score = alt.X("score:Q", title="Brier score (less is better)")
    colour = alt.Color("colour:N", scale=None)
    _save(_rows(bars).mark_bar().encode(guess, score, colour), path)


def _by_stock() -> alt.Color:
    return alt.Color("stock:N", title=None, scale=STOCK_COLOURS, legend=alt.Legend(orient="top"))


def _rows(values: Sequence[dict[str, Any]]) -> alt.Chart:
    short = [
        {key: round(value, 4) if isinstance(value, float) else value for key, value in row.items()}
        for row in values
    ]
    return alt.Chart(alt.InlineData(values=short))


def _save(chart: alt.Chart | alt.LayerChart, path: Path) -> None:
    spec = chart.properties(width=WIDTH, height=HEIGHT).to_dict()
    path.write_text(vl_convert.vegalite_to_svg({**spec, "config": theme()}), encoding="utf-8")
