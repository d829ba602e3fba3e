"""Charts of one lot: how its potency climbs, when it passes, what a stick is worth by cut day.

All share one time axis and one rule, the sample day a reader has chosen.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Literal

import altair as alt
import numpy as np
import xarray as xr
from scipy.special import ndtri

from tierpole.charts import marks, words
from tierpole.charts.chart import DAY, TO, Chart, Row, Table, finish, layer
from tierpole.charts.reading import chance, chance_over, dates, first_at, limit_of, of_lot
from tierpole.farm import Laboratory, Test, TestKind
from tierpole.outlook.summary import Summary, summarise
from tierpole.plan.result import LotPlan, Plan
from tierpole.season import Season

Analyte = Literal["cbd", "thc"]
NAMES: dict[Analyte, str] = {"cbd": "CBD", "thc": "THC"}
EVERY = 7  # days between the rows of a table
TENTH = float(ndtri(0.9))  # 8 of 10 lie within so many standard deviations


def lot_span(season: Season, outlook: xr.Dataset, plan: Plan, lot: str) -> tuple[date, date]:
    """The days a lot's charts show: from before flowering to after its window and last cut."""
    flowers = summarise(of_lot(outlook, "flower_day", lot))
    first = season.day(int(flowers.low)) - timedelta(days=4)
    lot_plan = plan.lot(lot)
    ends = [cut.day for cut in lot_plan.cuts] + list(lot_plan.window or ())
    last = max([season.on, *ends]) + timedelta(days=12)
    return first, min(last, season.day(len(season.days) - 1))


# --- potency ------------------------------------------------------------------------------------


def potency(
    season: Season, outlook: xr.Dataset, plan: Plan, lot: str, analyte: Analyte = "thc"
) -> Chart:
    """Total CBD or THC of a lot's tops day by day, with its tests and, for THC, the limit."""
    first, last = lot_span(season, outlook, plan, lot)
    days, draws = _between(season, of_lot(outlook, analyte, lot), first, last)
    tests = [t for t in season.tests if t.lot == lot and _result(t, analyte) is not None]
    rows = marks.band_rows(days, draws, 100)
    bars = [_bar(season.laboratory, test, analyte)[1] for test in tests]
    top = _top(max(*bars, *(row["high"] for row in rows)), analyte, season)
    y = marks.value_axis("low", marks.percent_label(2 if analyte == "thc" else 0), 0, top)
    layers = [
        *(_limit_layers(season) if analyte == "thc" else []),
        *marks.fan(rows, marks.days_axis(first, last), y),
        *_before_layers(season, plan.lot(lot), analyte, first, last),
        *_test_layers(season.laboratory, tests, analyte, first + (last - first) / 4),
        *marks.today(season.on),
        *marks.chosen(plan.lot(lot).sample_on),
    ]
    now = summarise(draws[:, max(0, (season.on - first).days)])
    return finish(layers, 300, _potency_sentence(season, outlook, lot, analyte, now),
                  _potency_table(analyte, rows, tests))  # fmt: skip


def _before_layers(
    season: Season, lot: LotPlan, analyte: Analyte, first: date, last: date
) -> list[alt.Chart]:
    """What was expected before the tests, as the outline of its band and its middle."""
    known = lot.forecast
    if known is None or not known.told:
        return []
    fan = known.thc_before if analyte == "thc" else known.cbd_before
    edges = {"low": fan.low, "middle": fan.median, "high": fan.high}
    rows: list[Row] = [
        {"day": season.day(n), **{name: 100 * float(edge[n]) for name, edge in edges.items()}}
        for n in range(season.index(first), season.index(last) + 1)
    ]
    base = layer(rows)
    lines = [
        base.mark_line(style="soft", strokeDash=dash, strokeWidth=1.2, clip=True).encode(
            x=DAY, y=alt.Y(f"{edge}:Q"))
        for edge, dash in (("low", [1, 3]), ("middle", [5, 4]), ("high", [1, 3]))
    ]  # fmt: skip
    named = layer([{**rows[-1], "says": "before the tests"}])
    return [
        *lines,
        *marks.written(
            named, x=DAY, y=alt.Y("middle:Q"), style="soft", align="right", dx=-4, dy=12
        ),
    ]


def _between(
    season: Season, draws: np.ndarray, first: date, last: date
) -> tuple[list[date], np.ndarray]:
    start, stop = season.index(first), season.index(last) + 1
    return [season.day(number) for number in range(start, stop)], draws[:, start:stop]


def _result(test: Test, analyte: Analyte) -> float | None:
    return test.total_thc if analyte == "thc" else test.total_cbd


def _read(test: Test, analyte: Analyte) -> str:
    """What a test reads, or the limit that it stayed under."""
    is_below = test.thc_below if analyte == "thc" else test.cbd_below
    return f"{'under ' if is_below else ''}{100 * (_result(test, analyte) or 0):.3g} %"


def _bar(laboratory: Laboratory, test: Test, analyte: Analyte) -> tuple[float, float]:
    """Where 8 of 10 results of other laboratories on the same tops would fall [%]."""
    result = 100 * (_result(test, analyte) or 0.0)
    spread = TENTH * float(np.hypot(laboratory.repeatability, laboratory.between_labs))
    return result * (1 - spread), result * (1 + spread)


def _top(highest: float, analyte: Analyte, season: Season) -> float:
    if analyte == "thc":
        return max(highest, 100 * (limit_of(season) + season.laboratory.uncertainty)) * 1.12
    return highest * 1.1


def _limit_layers(season: Season) -> list[alt.Chart]:
    limit, allowed = 100 * limit_of(season), 100 * season.laboratory.uncertainty
    line = layer([{"limit": limit, "says": f"limit {limit:g} %"}])
    passes = f"still passes, up to {limit + allowed:.3g} % as printed"
    upper = layer([{"limit": limit, "upper": limit + allowed, "says": passes}])
    left: dict[str, Any] = {"x": alt.XValue(6), "align": "left", "style": "risk"}
    return [
        upper.mark_rect(style="risk", opacity=0.14).encode(
            y=alt.Y("limit:Q"), y2=alt.Y2("upper:Q")
        ),
        upper.mark_rule(style="risk", strokeDash=[2, 3]).encode(y=alt.Y("upper:Q")),
        line.mark_rule(style="risk", strokeWidth=2).encode(y=alt.Y("limit:Q")),
        *marks.written(line, y=alt.Y("limit:Q"), dy=11, **left),
        *marks.written(upper, y=alt.Y("upper:Q"), dy=-10, **left),
    ]


def _test_layers(
    laboratory: Laboratory, tests: list[Test], analyte: Analyte, quarter: date
) -> list[alt.Chart]:
    """Tests with their bars; a name stands to the right of those in the first quarter."""
    rows: list[Row] = []
    for test in tests:
        low, high = _bar(laboratory, test, analyte)
        value = 100 * (_result(test, analyte) or 0.0)
        shape = "triangle-up" if test.kind is TestKind.OFFICIAL else "circle"
        rows.append({"day": test.sampled_on, "value": value, "bar": low, "top": high,
                     "shape": shape, "side": "left" if test.sampled_on < quarter else "right",
                     "says": f"{test.kind} {_read(test, analyte)}"})  # fmt: skip
    base = layer(rows)
    shape = alt.Shape("shape:N", scale=None)
    return [
        base.mark_rule(style="ink", strokeWidth=1.5).encode(
            x=DAY, y=alt.Y("bar:Q"), y2=alt.Y2("top:Q")),
        base.mark_point(style="ink", size=80, strokeWidth=2, filled=True).encode(
            x=DAY, y=alt.Y("value:Q"), shape=shape),
        *marks.written(base, x=DAY, y=alt.Y("value:Q"), align=alt.ExprRef("datum.side"),
                       dx=alt.ExprRef("datum.side === 'left' ? 9 : -9")),
    ]  # fmt: skip


def _potency_sentence(
    season: Season, outlook: xr.Dataset, lot: str, analyte: Analyte, now: Summary
) -> str:
    digits = 2 if analyte == "thc" else 1
    low, middle, high = (f"{100 * x:.{digits}f}" for x in (now.low, now.median, now.high))
    said = (
        f"Total {NAMES[analyte]} in the tops of {lot} is about {middle} % today, between {low} and "
        f"{high} % in 8 of 10 seasons"
    )
    if analyte == "cbd":
        return said + "."
    half = first_at(chance_over(season, outlook, lot), 0.5, dates(outlook, "day"))
    crosses = f"crosses the limit by {words.long_day(half)} in half of them" if half else (
        "stays under the limit in more than half of them")  # fmt: skip
    return f"{said}; it {crosses}."


def _potency_table(analyte: Analyte, rows: list[Row], tests: list[Test]) -> Table:
    digits = 3 if analyte == "thc" else 1
    body = [
        (
            words.day(row["day"]),
            *(f"{row[name]:.{digits}f} %" for name in ("low", "middle", "high")),
        )
        for row in rows[::EVERY]
    ]
    body += [
        (
            f"{words.day(t.sampled_on)}, {t.kind}",
            "",
            _read(t, analyte),
            "",
        )
        for t in tests
    ]
    return Table(
        ("Day", "1 season in 10 is below", "Middle", "1 season in 10 is above"), tuple(body)
    )


# --- passing ------------------------------------------------------------------------------------


def passing(season: Season, outlook: xr.Dataset, plan: Plan, lot: str) -> Chart:
    """Chance to pass by official sample day, and that the buyer's own test then passes too."""
    first, last = lot_span(season, outlook, plan, lot)
    rows = pass_rows(outlook, lot)
    buyer = [{**row, "p": row["buyer"]} for row in rows]
    y = marks.value_axis("p", "format(datum.value * 20, '.0f') + ' of 20'", 0, 1.06,
                         (0, 0.25, 0.5, 0.75, 1))  # fmt: skip
    base = layer(rows)
    layers = [
        layer(buyer).mark_line(style="soft", strokeDash=[5, 4], clip=True).encode(
            x=DAY, y=alt.Y("p:Q")),
        base.mark_line(style="accent", strokeWidth=2.5, clip=True).encode(
            x=marks.days_axis(first, last), y=y),
        base.mark_point(style="accent", size=36, filled=True, clip=True).encode(
            x=DAY, y=alt.Y("p:Q"), tooltip=marks.SAYS),
        *_line_names(rows, last),
        *_planned_sample(plan.lot(lot)),
        *marks.today(season.on),
        *marks.chosen(plan.lot(lot).sample_on),
    ]  # fmt: skip
    return finish(layers, 240, _pass_sentence(plan.lot(lot), rows), _pass_table(rows))


def pass_rows(outlook: xr.Dataset, lot: str) -> list[Row]:
    """For each sample day the chance to pass (`p`) and that the buyer's test passes (`buyer`)."""
    official = chance(of_lot(outlook, "p_pass", lot))
    buyer = chance(of_lot(outlook, "p_buyer_pass", lot))
    return [
        {"day": day, "p": float(p), "buyer": float(q),
         "says": f"sampled {words.day(day)}: passes in {words.odds(float(p))}"}
        for day, p, q in zip(dates(outlook, "sample_day"), official, buyer, strict=True)
    ]  # fmt: skip


def _line_names(rows: list[Row], last: date) -> list[alt.Chart]:
    shown = [row for row in rows if row["day"] <= last]
    if not shown:
        return []
    middle = shown[len(shown) // 2]
    at = {"day": middle["day"]}
    official = layer([{**at, "p": middle["p"], "says": "official sample"}])
    buyer = layer([{**at, "p": middle["buyer"], "says": "buyer's test"}])
    return [
        *marks.written(official, DAY, alt.Y("p:Q"), style="accent", align="left", dx=6, dy=-13),
        *marks.written(buyer, DAY, alt.Y("p:Q"), style="soft", align="right", dx=-6, dy=13),
    ]


def _planned_sample(lot: LotPlan) -> list[alt.Chart]:
    if lot.sample_on is None or lot.p_pass is None:
        return []
    at = layer([{"day": lot.sample_on, "p": lot.p_pass, "says": "the plan's day"}])
    return [
        at.mark_point(style="accent", filled=True, opacity=1, shape="triangle-up", size=160,
                      clip=True).encode(x=DAY, y=alt.Y("p:Q")),
    ]  # fmt: skip


def _pass_sentence(lot: LotPlan, rows: list[Row]) -> str:
    if lot.sample_on is None or lot.p_pass is None:
        best = max(rows, key=lambda row: row["p"])
        return f"{lot.lot} passes best if sampled on {words.long_day(best['day'])}: {best['says']}."
    said = (
        f"Sampled on {words.long_day(lot.sample_on)}, {lot.lot} passes in {words.odds(lot.p_pass)}"
    )
    later = [row for row in rows if row["day"] >= lot.sample_on + timedelta(days=7)]
    return f"{said}; a week later in {words.odds(later[0]['p'])}." if later else f"{said}."


def _pass_table(rows: list[Row]) -> Table:
    body = tuple(
        (words.day(row["day"]), words.odds(row["p"]), words.odds(row["buyer"])) for row in rows
    )
    return Table(("Sampled on", "Official sample passes", "Buyer's test passes"), body)


# --- dollars ------------------------------------------------------------------------------------


def stick_worth(season: Season, outlook: xr.Dataset, plan: Plan, lot: str) -> Chart:
    """Dollars a stick brings by the day it is cut, its sample passed and costs to come off."""
    first, last = lot_span(season, outlook, plan, lot)
    place = _main_place(season, plan.lot(lot))
    draws = of_lot(outlook.sel(place=place), "value_pass", lot)
    rows = marks.band_rows(dates(outlook, "cut_day"), draws)
    shown = [row for row in rows if row["day"] <= last] or rows
    low, high = min(0.0, *(row["low"] for row in shown)), max(1.0, *(row["high"] for row in shown))
    y = marks.value_axis("low", "(datum.value < 0 ? '−$' : '$') + format(abs(datum.value), ',.0f')",
                         low * 1.08, high * 1.08)  # fmt: skip
    zero = layer([{"zero": 0}])
    layers = [
        *_window_layers(plan.lot(lot)),
        *marks.fan(rows, marks.days_axis(first, last), y),
        zero.mark_rule(style="risk", strokeWidth=1.5).encode(y=alt.Y("zero:Q")),
        *marks.today(season.on),
        *marks.chosen(plan.lot(lot).sample_on),
    ]
    best = max(_after(rows, season.on), key=lambda row: row["middle"])
    sentence = (
        f"A stick of {lot} hung in {place} is worth most cut about {words.long_day(best['day'])}: "
        f"{_range(best)} in 8 of 10 seasons if the sample passed."
    )
    return finish(layers, 260, sentence, _worth_table(rows))


def _after(rows: list[Row], on: date) -> list[Row]:
    return [row for row in rows if row["day"] >= on] or rows


def _main_place(season: Season, lot: LotPlan) -> str:
    """The place that takes most of a lot's planned sticks; the first place when none is planned."""
    sticks: dict[str, int] = {}
    for cut in lot.cuts:
        sticks[cut.place] = sticks.get(cut.place, 0) + cut.sticks
    return max(sticks, key=sticks.__getitem__) if sticks else season.places[0].name


def _range(row: Row) -> str:
    return f"{words.dollars(row['low'])} to {words.dollars(row['high'])}"


def _window_layers(lot: LotPlan) -> list[alt.Chart]:
    """The days on which cutting is lawful for the sample day chosen (`opens`, `closes`)."""
    first, last = lot.window or (date(1970, 1, 1), date(1970, 1, 1))
    at = {
        name: np.datetime64(day, "ms").astype(int).item()
        for name, day in (("opens", first), ("closes", last))
    }
    base = layer([{"says": "may be cut"}]).transform_calculate(day="opens", to="closes")
    base = base.add_params(*(alt.param(name=name, value=value) for name, value in at.items()))
    return [
        base.mark_rect(style="faint", opacity=0.5, clip=True).encode(x=DAY, x2=TO),
        *marks.written(base, x=DAY, y=alt.YValue(10), align="left", dx=6),
    ]


def _worth_table(rows: list[Row]) -> Table:
    body = tuple(
        (words.day(row["day"]), *(words.dollars(row[k]) for k in ("low", "middle", "high")))
        for row in rows[::EVERY]
    )
    return Table(("Cut on", "1 season in 10 is below", "Middle", "1 season in 10 is above"), body)
