"""Charts of the whole season: what it may earn, and the crew's hours."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import altair as alt
import numpy as np

from tierpole.charts import marks, words
from tierpole.charts.chart import DAY, TO, Chart, Row, Table, finish, layer
from tierpole.charts.reading import as_dates
from tierpole.outlook.summary import Summary
from tierpole.plan.result import CrewPlan, Plan
from tierpole.season import Season

BARS = 24  # bars, about, in the picture of the money
NICE = (1.0, 2.0, 2.5, 5.0, 10.0)


def money_spread(plan: Plan) -> Chart:
    """How the season's money falls over the draws; seasons that lose are hatched and named."""
    rows = _bars(plan.draws)
    money = plan.money
    top = max(row["share"] for row in rows) * 1.25
    x = alt.X("low:Q", axis=alt.Axis(title=None, labelExpr=MONEY, tickCount=6, labelFlush=True))
    y = alt.Y("share:Q", axis=None, scale=alt.Scale(domain=[0, top], nice=False))
    loses = [row for row in rows if row["high"] <= 0]
    earns = [row for row in rows if row["high"] > 0]
    means = layer([{"low": money.mean, "share": top * 0.94,
                    "says": f"mean {words.dollars(money.mean)}"}])  # fmt: skip
    box: dict[str, Any] = {
        "x": x,
        "x2": alt.X2("high:Q"),
        "y": y,
        "y2": alt.Y2("floor:Q"),
        "tooltip": marks.SAYS,
    }
    layers = [
        layer(earns).mark_rect(style="accent", opacity=0.6).encode(**box),
        layer(loses).mark_rect(style="risk", opacity=0.25).encode(**box),
        layer(_lines(loses, top)).mark_rule(style="risk", strokeWidth=1.2).encode(
            x=alt.X("low:Q"), x2=alt.X2("high:Q"), y=alt.Y("line:Q")),
        layer([{"zero": 0}]).mark_rule(style="ink", strokeWidth=2).encode(x=alt.X("zero:Q")),
        means.mark_rule(style="ink", strokeDash=[5, 3]).encode(x=alt.X("low:Q")),
        *marks.written(means, x=alt.X("low:Q"), y=alt.Y("share:Q"), align="left", dx=6),
        *_side_words(money, top),
    ]  # fmt: skip
    return finish(layers, 220, money_sentence(money), _money_table(money))


MONEY = "(datum.value < 0 ? '−$' : '$') + format(abs(datum.value), ',.0f')"


def _bars(draws: np.ndarray) -> list[Row]:
    """Counts of draws in equal steps of money, one edge at zero."""
    step = _step(float(np.ptp(draws)) / BARS)
    edges = np.arange(np.floor(draws.min() / step), np.floor(draws.max() / step) + 2) * step
    counts, _ = np.histogram(draws, edges)
    return [
        {"low": float(low), "high": float(low + step), "share": count / len(draws), "floor": 0,
         "says": f"{words.dollars(low)} to {words.dollars(low + step)}: "
                 f"{words.odds(count / len(draws))}"}
        for low, count in zip(edges[:-1], counts, strict=True) if count
    ]  # fmt: skip


def _step(raw: float) -> float:
    """The next larger of 1, 2, 2.5, 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(max(raw, 1.0)))
    return next(nice * power for nice in NICE if nice * power >= raw * 0.999)


def _lines(bars: list[Row], top: float) -> list[Row]:
    """Level lines across the bars that lose, so that they differ in grey as well."""
    heights = [top * k / 30 for k in range(1, 31)]
    return [{**bar, "line": y} for bar in bars for y in heights if y < bar["share"]]


def _side_words(money: Summary, top: float) -> list[alt.Chart]:
    loss = layer([{"low": 0, "share": top * 0.78,
                   "says": f"loses in {words.short_odds(money.p_loss)}"}])  # fmt: skip
    return marks.written(
        loss, x=alt.X("low:Q"), y=alt.Y("share:Q"), style="risk", align="right", dx=-8
    )


def money_sentence(money: Summary) -> str:
    """The season's money in words: loss first, then the mean with its band."""
    return (
        f"The season loses money in {words.odds(money.p_loss)}; its mean is "
        f"{words.dollars(money.mean)}, between {words.dollars(money.low)} and "
        f"{words.dollars(money.high)} in 8 of 10 seasons."
    )


def _money_table(money: Summary) -> Table:
    rows = (
        ("Seasons that lose", words.odds(money.p_loss)),
        ("Mean of the worst fifth", words.dollars(money.cvar)),
        ("One season in ten is below", words.dollars(money.low)),
        ("Middle season", words.dollars(money.median)),
        ("Mean", words.dollars(money.mean)),
        ("One season in ten is above", words.dollars(money.high)),
    )
    return Table(("What", "How much"), rows)


# --- crew ---------------------------------------------------------------------------------------

WORK = (("cut_and_hang", "cut and hang"), ("take_down", "take down"), ("strip", "strip"))


def crew_hours(season: Season, plan: Plan) -> Chart:
    """Crew hours used week by week against the hours there are."""
    rows = week_hours(plan.crew)
    last = max((row["to"] for row in rows if row["used"] > 0), default=season.on)
    rows = [row for row in rows if row["day"] <= last]
    stacked = [piece for row in rows for piece in _stack(row)]
    top = max(1.0, *(max(row["available"], row["used"]) for row in rows)) * 1.15
    y = marks.value_axis("low", "format(datum.value, ',') + ' h'", 0, top)
    opacity = alt.FillOpacity("weight:Q", scale=None)
    box: dict[str, Any] = {
        "x": DAY,
        "x2": TO,
        "y": y,
        "y2": alt.Y2("high:Q"),
    }
    layers = [
        layer(stacked).mark_rect(style="accent", clip=True).encode(
            **box, fillOpacity=opacity, tooltip=marks.SAYS),
        layer(stacked).mark_rect(style="accent", filled=False, clip=True).encode(**box),
        layer(rows).mark_rule(style="ink", strokeWidth=2.5, clip=True).encode(
            x=DAY, x2=TO, y=alt.Y("available:Q")),
        *marks.written(layer([{**rows[0], "says": "hours there are"}]), x=DAY,
                       y=alt.Y("available:Q"), align="left", dx=4, dy=-10),
        *marks.today(season.on, marks.days_axis(season.on - timedelta(days=1), last)),
    ]  # fmt: skip
    return finish(layers, 220, _crew_sentence(rows), _crew_table(rows))


def week_hours(crew: CrewPlan) -> list[Row]:
    """Hours by kind of work, in all (`used`) and there are (`available`), week by week."""
    days = as_dates(crew.days)
    weeks: dict[date, Row] = {}
    for number, day in enumerate(days):
        monday = day - timedelta(days=day.weekday())
        start = max(monday, days[0])
        row = weeks.setdefault(monday, {
            "day": start, "to": monday + timedelta(days=7), "available": 0.0, "used": 0.0,
            **{key: 0.0 for key, _ in WORK},
        })  # fmt: skip
        row["available"] += float(crew.available[number])
        for key, _ in WORK:
            row[key] += float(getattr(crew, key)[number])
            row["used"] += float(getattr(crew, key)[number])
    return list(weeks.values())


def _stack(row: Row) -> list[Row]:
    """The kinds of work of one week on top of each other, darkest first."""
    pieces, low = [], 0.0
    for (key, name), weight in zip(WORK, (0.85, 0.4, 0.1), strict=True):
        if row[key] > 0:
            pieces.append({"day": row["day"], "to": row["to"], "low": low, "high": low + row[key],
                           "weight": weight, "says": f"{name}: {row[key]:.0f} h"})  # fmt: skip
            low += row[key]
    return pieces


def _crew_sentence(rows: list[Row]) -> str:
    busiest = max(rows, key=lambda row: row["used"] / max(row["available"], 1.0))
    return (
        f"The crew is busiest in the week of {words.long_day(busiest['day'])}: "
        f"{busiest['used']:.0f} of {busiest['available']:.0f} hours."
    )


def _crew_table(rows: list[Row]) -> Table:
    body = tuple(
        (words.day(row["day"]), *(f"{row[key]:.0f}" for key, _ in WORK), f"{row['available']:.0f}")
        for row in rows
    )
    return Table(("Week from", *(words.capital(name) for _, name in WORK), "Hours there are"), body)
