"""Charts of the next test of a lot: what each reading would mean, and what the test is worth."""

from __future__ import annotations

import altair as alt
import numpy as np

from tierpole.charts import marks, words
from tierpole.charts.chart import Chart, Row, Table, finish, layer
from tierpole.outlook.report import IfRead, LotForecast
from tierpole.plan.result import LotPlan
from tierpole.plan.testing import Testing, TestWorth
from tierpole.season import Season

SAFE = 0.75  # chance from which a lot is said to pass
TWENTIETHS = "format(datum.value * 20, '.0f') + ' of 20'"


def if_read(lot: LotPlan, known: LotForecast) -> Chart:
    """Chance to pass on the chosen sample day, by what the next test may read."""
    reads = [read for read in known.if_read if read.is_enough]
    rows = [
        {"day": day, "thc": 100 * read.thc, "p": float(p), "now": float(now)}
        for read in reads
        for day, p, now in zip(known.sample_days, read.p_pass, known.p_pass, strict=True)
    ]
    at_chosen = "datum.day_at == chosen"
    base = layer(rows).transform_calculate(day_at="time(datum.day)").transform_filter(at_chosen)
    ticks = [100 * read.thc for read in reads]
    label = marks.percent_label(2)
    axis = alt.Axis(title="total THC it reads", labelExpr=label, values=ticks, labelOverlap=True)
    x = alt.X("thc:Q", axis=axis, scale=alt.Scale(zero=False, nice=False))
    y = marks.value_axis("p", TWENTIETHS, 0, 1.06, (0, 0.25, 0.5, 0.75, 1))
    layers = [
        base.mark_line(style="accent", strokeWidth=2.5).encode(x=x, y=y),
        base.mark_point(style="accent", filled=True, size=50).encode(
            x=alt.X("thc:Q"), y=alt.Y("p:Q")
        ),
        base.mark_rule(style="soft", strokeDash=[5, 4]).encode(y=alt.Y("mean(now):Q")),
        _chosen_day(lot, known),
    ]
    return finish(layers, 220, _read_sentence(lot, known), _read_table(lot, known))


def _chosen_day(lot: LotPlan, known: LotForecast) -> alt.Chart:
    """Carries the day that the reader has chosen, as the other pictures of the lot do."""
    at = np.datetime64(lot.sample_on or known.sample_days[-1], "ms").astype(int).item()
    return layer([]).mark_point().add_params(alt.param(name="chosen", value=at))


def _place(lot: LotPlan, known: LotForecast) -> int:
    """Where the plan's sample day stands among the sample days."""
    days = known.sample_days
    return days.index(lot.sample_on) if lot.sample_on in days else len(days) - 1


def _read_sentence(lot: LotPlan, known: LotForecast) -> str:
    at, reads = _place(lot, known), [read for read in known.if_read if read.is_enough]
    test = f"{lot.lot} ({words.short_day(known.next_day)}, {known.next_plants} tops)"
    day, (low, high) = words.short_day(known.sample_days[at]), (reads[0], reads[-1])
    return (
        f"If the next test of {test} reads {_thc(low)}, a sample on {day} passes in "
        f"{words.odds(float(low.p_pass[at]))}; if it reads {_thc(high)}, in "
        f"{words.odds(float(high.p_pass[at]))}. Now it is {words.odds(float(known.p_pass[at]))}."
    )


def _thc(read: IfRead) -> str:
    return f"{100 * read.thc:.2f} %"


def _read_table(lot: LotPlan, known: LotForecast) -> Table:
    at = _place(lot, known)
    day = words.short_day(known.sample_days[at])
    head = ("If it reads", f"A sample on {day} passes in", "Passes in 15 of 20 or more until")
    body = ((_thc(r), _read_odds(r, at), _safe_until(known, r)) for r in known.if_read)
    return Table(head, tuple(body))


def _read_odds(read: IfRead, at: int) -> str:
    if not read.is_enough:
        return "too far from what is known to say before it happens"
    return words.odds(float(read.p_pass[at]))


def _safe_until(known: LotForecast, read: IfRead) -> str:
    """The last of the sample days, from the first on, on which it passes in three of four."""
    passes = np.asarray(read.p_pass) >= SAFE
    if not read.is_enough or not passes[0]:
        return "–"
    until = len(passes) - 1 if passes.all() else int(np.argmin(passes)) - 1
    return words.short_day(known.sample_days[until])


def worth_of_test(season: Season, lot: LotPlan, testing: Testing) -> Chart:
    """Dollars that one more test of a lot brings before its fee, by the day it is cut."""
    rows: list[Row] = [
        {"day": each.day, "gain": max(each.gain, 0.0), "says": _said(each)}
        for each in testing.by_day
    ]
    fee = testing.best.fee
    top = 1.15 * max(fee, *(row["gain"] for row in rows))
    first, last = testing.by_day[0].day, testing.by_day[-1].day
    price = layer([{"fee": fee, "says": f"its fee, {words.dollars(fee)}"}])
    y = marks.value_axis("gain", "'$' + format(datum.value, ',.0f')", 0, top)
    layers = [
        layer(rows).mark_bar(style="accent", width=9).encode(
            x=marks.days_axis(first, max(last, season.day(season.index(first) + 7))), y=y,
            tooltip=marks.SAYS),
        price.mark_rule(style="risk", strokeDash=[5, 3]).encode(y=alt.Y("fee:Q")),
        *marks.written(price, x=alt.XValue(6), y=alt.Y("fee:Q"), align="left", dy=-9, style="risk"),
    ]  # fmt: skip
    body = tuple(
        (words.day(each.day), words.day(each.result_on), words.dollars(max(each.gain, 0.0)))
        for each in testing.by_day
    )
    table = Table(("Cut on", "Result on", "Worth before its fee"), body)
    return finish(layers, 200, worth_sentence(lot, testing), table)


def worth_sentence(lot: LotPlan, testing: Testing) -> str:
    """Whether one more test pays, and the most that any could."""
    best, fee = testing.best, words.dollars(testing.best.fee)
    most = f"to know the truth for certain would be worth {words.dollars(testing.certainty)}"
    if best.net > 0:
        return (
            f"One more test of {lot.lot}, {words.counted(best.plants, 'top')} cut about "
            f"{words.long_day(best.day)}, is worth about {words.dollars(best.gain)} before its "
            f"{fee} fee, its result known by {words.short_day(best.result_on)}; {most}."
        )
    return (
        f"One more test of {lot.lot} does not pay its {fee} fee: it would hardly change what is "
        f"done, or its result would come too late; {most}."
    )


def _said(each: TestWorth) -> str:
    return f"cut {words.day(each.day)}: worth {words.dollars(max(each.gain, 0.0))}"
