"""Pictures of the proof, as small SVG files in the project's own look."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import altair as alt
import numpy as np
import vl_convert
from scipy.stats import binom

import forecast_scores as scores
from tierpole.charts.theme import PAPER, theme

WIDTH, HEIGHT = 560, 260
BINS = 10
STOCK_COLOURS = alt.Scale(domain=["clone", "seed"], range=[PAPER["accent"], PAPER["risk"]])


def ranks(found: dict[str, np.ndarray], path: Path) -> None:
    """Histogram of ranks, and how far their shares stray from an even law, by stock."""
    panels = [_histogram(ranks, stock) | _strays(ranks) for stock, ranks in found.items()]
    _save(alt.vconcat(*panels), path)


def _histogram(ranks: np.ndarray, stock: str) -> alt.LayerChart:
    """Counts in tenths, with what 95 of 100 even counts stay within."""
    counts, edges = np.histogram(ranks, bins=BINS, range=(0.0, 1.0))
    low, high = binom.ppf([0.025, 0.975], ranks.size, 1.0 / BINS)
    bars = [
        {"from": start, "to": end, "none": 0, "farms": int(count), "low": low, "high": high}
        for start, end, count in zip(edges[:-1].tolist(), edges[1:].tolist(), counts, strict=True)
    ]
    start = alt.X("from:Q", title="rank of the truth among the draws", axis=alt.Axis(format="%"))
    end, farms = alt.X2("to:Q"), alt.Y("farms:Q", title=f"farms, {stock}")
    drawn = _rows(bars).mark_rect(color=PAPER["accent"], opacity=0.7)
    drawn = drawn.encode(start, end, farms, alt.Y2("none:Q"))
    chance = _rows(bars).mark_rect(color=PAPER["faint"])
    chance = chance.encode(start, end, alt.Y("low:Q"), alt.Y2("high:Q"))
    return alt.layer(chance, drawn).properties(width=WIDTH // 2, height=HEIGHT // 2)


def _strays(ranks: np.ndarray) -> alt.LayerChart:
    """Share of ranks less an even share, with the band that holds 95 of 100 even sets whole."""
    levels = np.linspace(0.02, 0.98, 49)
    stray, reach = scores.stray(ranks, levels), scores.reach(ranks.size, levels)
    lines = [
        {"rank": level, "stray": by, "low": -width, "high": width}
        for level, by, width in zip(levels.tolist(), stray.tolist(), reach.tolist(), strict=True)
    ]
    rank = alt.X("rank:Q", title="rank of the truth among the draws", axis=alt.Axis(format="%"))
    low = alt.Y("low:Q", title="share below, less even")
    band = _rows(lines).mark_area(color=PAPER["faint"]).encode(rank, low, alt.Y2("high:Q"))
    drawn = _rows(lines).mark_line(color=PAPER["accent"]).encode(rank, alt.Y("stray:Q"))
    return alt.layer(band, drawn).properties(width=WIDTH // 2, height=HEIGHT // 2)


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
    _save(_sized(alt.layer(line, bars, dots)), path)


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
    _save(_sized(_rows(bars).mark_bar().encode(guess, score, colour)), path)


def _by_stock() -> alt.Color:
    return alt.Color("stock:N", title=None, scale=STOCK_COLOURS, legend=alt.Legend(orient="top"))


def _rows(values: Sequence[dict[str, Any]]) -> alt.Chart:
    short = [
        {key: round(value, 4) if isinstance(value, float) else value for key, value in row.items()}
        for row in values
    ]
    return alt.Chart(alt.InlineData(values=short))


def _sized(chart: alt.Chart | alt.LayerChart) -> alt.Chart | alt.LayerChart:
    return chart.properties(width=WIDTH, height=HEIGHT)


def _save(chart: alt.Chart | alt.LayerChart | alt.VConcatChart, path: Path) -> None:
    svg = vl_convert.vegalite_to_svg({**chart.to_dict(), "config": theme()})
    path.write_text(svg, encoding="utf-8")
