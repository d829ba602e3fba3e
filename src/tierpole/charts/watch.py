"""Charts of a place under watch, by the hour: its air, how wet what hangs is, and its mould."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import altair as alt
import numpy as np

from tierpole.barn import targets
from tierpole.charts import marks, words
from tierpole.charts.chart import DAY, Chart, Row, Table, finish, layer
from tierpole.outlook.summary import bands
from tierpole.outlook.watch import HangingWatch, Watch
from tierpole.season import Season

EVERY = 6  # hours between the rows of a table
STEP = 2  # hours between the points of a line
DAY_HOURS = 24  # between the rows of the table of mould
TENTH = 0.1
DAMP = 0.85  # humidity a grower is wary of
DASHES = ([1, 0], [7, 4], [2, 4], [10, 4, 2, 4])


def air_inside(season: Season, watch: Watch) -> Chart:
    """Humidity in a place, past and to come, with its band, the air outside and the readings."""
    hours = np.arange(watch.first_hour, watch.first_hour + watch.humidity.shape[1])
    inside = _band(season, hours, 100 * watch.humidity)
    outside = _middle(season, hours, 100 * watch.humidity_outside)
    read: list[Row] = [
        {"day": _stamp(season, hour + 0.5), "humidity": 100 * value}
        for hour, value in zip(watch.readings.hour, watch.readings.humidity, strict=True)
    ]
    y = marks.value_axis("low", "datum.value + ' %'", 30, 100)
    named = [{**outside[len(outside) // 6], "says": "outside"}]
    layers = [
        *marks.fan(inside, _axis(season, hours), y),
        layer(outside).mark_line(style="ink", strokeDash=[5, 4], clip=True).encode(
            x=DAY, y=alt.Y("middle:Q")),
        layer(read).mark_point(style="ink", filled=True, size=28, clip=True).encode(
            x=DAY, y=alt.Y("humidity:Q")),
        *marks.written(layer(named), x=DAY, y=alt.Y("middle:Q"), dy=14),
        *_now(season, watch),
    ]  # fmt: skip
    return finish(layers, 230, _air_sentence(watch), _air_table(season, watch, hours))


def moistures(season: Season, watch: Watch) -> Chart:
    """Moisture of the flower of each hanging, with its band, the target and what was measured."""
    hours = np.arange(watch.first_hour, watch.first_hour + watch.humidity.shape[1])
    target = 100 * targets.COEFFICIENTS["moisture_target"]
    top = 85.0
    y = marks.value_axis("low", "datum.value + ' %'", 0, top)
    layers: list[alt.Chart] = []
    for number, one in enumerate(watch.hangings):
        up = ~np.isnan(one.moisture).all(axis=0)
        rows = _band(season, hours[up], 100 * one.moisture[:, up])
        layers += marks.fan(rows, _axis(season, hours), y)
        label = [{**rows[min(len(rows) - 1, 4 + 10 * number)], "says": one.hanging.lot}]
        layers += marks.written(layer(label), x=DAY, y=alt.Y("high:Q"), align="left", dy=-10)
    measured: list[Row] = [
        {"day": _stamp(season, hour + 0.5), "moisture": 100 * value}
        for one in watch.hangings
        for hour, value in one.measured
    ]
    line: list[Row] = [{"target": target, "says": f"{target:.0f} %, dry enough"}]
    layers += [
        layer(measured).mark_point(style="ink", filled=True, size=60, clip=True).encode(
            x=DAY, y=alt.Y("moisture:Q")),
        layer(line).mark_rule(style="ink", strokeDash=[2, 3]).encode(y=alt.Y("target:Q")),
        *marks.written(layer(line), x=alt.XValue(6), y=alt.Y("target:Q"), align="left", dy=-10),
        *_now(season, watch),
    ]  # fmt: skip
    sentence = " ".join(_moisture_sentence(season, watch, one) for one in watch.hangings)
    return finish(layers, 190, sentence, _moisture_table(season, watch, hours))


def mould_by_hour(season: Season, watch: Watch) -> Chart:
    """Chance that mould shows on each hanging by each hour, a line a hanging, and one in ten."""
    hours = np.arange(watch.first_hour, watch.first_hour + watch.humidity.shape[1])
    rows: list[Row] = [
        {"day": _stamp(season, hour + 1.0), "risk": float(risk), "lot": _named(one)}
        for one in watch.hangings
        for hour, risk in list(zip(hours, one.mould_worst.mean(axis=0), strict=True))[::STEP]
        if np.isfinite(risk)
    ]
    top = max(0.2, *(row["risk"] for row in rows)) * 1.35
    counts = range(0, int(top * 20) + 1, 1 + int(top * 20) // 5)
    label = "format(datum.value * 20, '.0f') + ' of 20'"
    y = marks.value_axis("risk", label, 0, top, [count / 20 for count in counts])
    names = [_named(one) for one in watch.hangings]
    dash = alt.StrokeDash("lot:N", legend=None).scale(
        domain=names, range=[DASHES[number % len(DASHES)] for number in range(len(names))]
    )
    tenth = layer([{"risk": TENTH, "says": "one in ten"}])
    last = [[row for row in rows if row["lot"] == name][-1] for name in names]
    ends = layer([{**row, "says": row["lot"]} for row in last])
    layers = [
        layer(rows).mark_line(style="risk", strokeWidth=2, clip=True).encode(
            x=_axis(season, hours), y=y, strokeDash=dash),
        tenth.mark_rule(style="ink", strokeDash=[2, 3]).encode(y=alt.Y("risk:Q")),
        *marks.written(tenth, x=alt.XValue(6), y=alt.Y("risk:Q"), align="left", dy=-9),
        *marks.written(ends, x=DAY, y=alt.Y("risk:Q"), style="risk", align="right", dy=-10),
        *_now(season, watch),
    ]  # fmt: skip
    return finish(layers, 190, _mould_sentence(watch), _mould_table(season, watch))


# --- time ---------------------------------------------------------------------------------------


def when(season: Season, hour: float) -> datetime:
    """The local time of an hour of the season."""
    start = datetime.combine(season.first_day, datetime.min.time(), UTC)
    return start + timedelta(hours=float(hour))


def said_hour(season: Season, hour: float) -> str:
    """An hour as people say it: `Wed 2 Sep, 14:00`."""
    at = when(season, hour)
    return f"{words.day(at.date())}, {at:%H:%M}"


def _stamp(season: Season, hour: float) -> str:
    return when(season, hour).strftime("%Y-%m-%dT%H:%MZ")


def _axis(season: Season, hours: np.ndarray) -> alt.X:
    first: date = when(season, float(hours[0])).date()
    return marks.days_axis(first, when(season, float(hours[-1]) + 24).date())


def _now(season: Season, watch: Watch) -> list[alt.Chart]:
    rule = layer([{"day": _stamp(season, watch.now_hour), "says": "now"}])
    return [
        rule.mark_rule(style="ink", strokeWidth=1.2, clip=True).encode(x=DAY),
        *marks.written(rule, x=DAY, y=alt.YValue(8), align="left", dx=5),
    ]


# --- rows ---------------------------------------------------------------------------------------


def _band(season: Season, hours: np.ndarray, draws: np.ndarray) -> list[Row]:
    """Quantiles by hour of [draw, hour] values; draws that are not up are left out."""
    levels = (
        np.nanquantile(draws, (0.1, 0.25, 0.5, 0.75, 0.9), axis=0)
        if np.isnan(draws).any()
        else bands(draws)
    )
    return [
        {"day": _stamp(season, hour + 0.5)}
        | {name: float(levels[k, n]) for k, name in enumerate(marks.QUANTILES)}
        for n, hour in list(enumerate(hours))[::STEP]
    ]


def _middle(season: Season, hours: np.ndarray, draws: np.ndarray) -> list[Row]:
    middle = np.median(draws, axis=0)
    return [
        {"day": _stamp(season, hour + 0.5), "middle": float(value)}
        for hour, value in list(zip(hours, middle, strict=True))[::STEP]
    ]


def _named(one: HangingWatch) -> str:
    return f"{one.hanging.lot}, hung {words.short_day(one.hanging.hung_on)}"


# --- words --------------------------------------------------------------------------------------


def _air_sentence(watch: Watch) -> str:
    damp = (watch.humidity[:, watch.now + 1 :] > DAMP).mean()
    low, high = np.quantile(watch.humidity[:, watch.now], (0.1, 0.9))
    read = "" if len(watch.readings) else " No gauge has been read here."
    return (
        f"The air in {watch.place.name} stands at {100 * low:.0f} to {100 * high:.0f} % humidity; "
        f"in the next days it is above {100 * DAMP:.0f} % for {24 * damp:.0f} hours of 24.{read}"
    )


def _moisture_sentence(season: Season, watch: Watch, one: HangingWatch) -> str:
    now = 100 * np.nanquantile(one.moisture[:, watch.now], (0.1, 0.9))
    low, high = np.quantile(one.dry_day, (0.1, 0.9))
    span = words.span(season.day(round(low)), season.day(round(high)))
    return (
        f"{one.hanging.lot} holds {now[0]:.0f} to {now[1]:.0f} % now and is dry enough {span} in "
        "8 of 10."
    )


def _mould_sentence(watch: Watch) -> str:
    worst = max(watch.hangings, key=lambda one: float(np.nanmax(one.mould_worst.mean(axis=0))))
    ahead = worst.mould_worst.mean(axis=0)
    now, end = float(ahead[watch.now]), float(np.nanmax(ahead))
    tier = ""
    if len(worst.tiers) > 1:
        by_tier = [np.nanmax(worst.mould[:, :, t - 1].mean(axis=0)) for t in worst.tiers]
        tier = f", most on tier {worst.tiers[int(np.argmax(by_tier))]}"
    return (
        f"Mould shows on {worst.hanging.lot} by now in {words.odds(now)}, and by the end of the "
        f"forecast in {words.odds(end)}{tier}."
    )


# --- tables -------------------------------------------------------------------------------------


def _air_table(season: Season, watch: Watch, hours: np.ndarray) -> Table:
    levels = 100 * np.quantile(watch.humidity, (0.1, 0.9), axis=0)
    warm = np.median(watch.temperature, axis=0)
    outside = 100 * np.median(watch.humidity_outside, axis=0)
    rows = [
        (
            said_hour(season, hour), f"{levels[0, n]:.0f} to {levels[1, n]:.0f} %",
            f"{outside[n]:.0f} %", f"{1.8 * warm[n] + 32:.0f} °F ({warm[n]:.0f} °C)",
        )
        for n, hour in list(enumerate(hours))[::EVERY]
    ]  # fmt: skip
    heads = ("Time", "Humidity inside, 8 of 10", "Humidity outside", "Temperature inside")
    return Table(heads, tuple(rows))


def _moisture_table(season: Season, watch: Watch, hours: np.ndarray) -> Table:
    rows = [
        (said_hour(season, hour), *(_moist(one.moisture[:, n]) for one in watch.hangings))
        for n, hour in list(enumerate(hours))[::EVERY]
    ]
    return Table(("Time", *(_named(one) for one in watch.hangings)), tuple(rows))


def _moist(draws: np.ndarray) -> str:
    if np.isnan(draws).all():
        return "not up"
    low, high = np.nanquantile(draws, (0.1, 0.9))
    return f"{100 * low:.0f} to {100 * high:.0f} %"


def _mould_table(season: Season, watch: Watch) -> Table:
    """By hanging and tier, a row a day."""
    means = {
        f"{one.hanging.lot}, tier {tier}": one.mould[:, :, tier - 1].mean(axis=0)
        for one in watch.hangings
        for tier in one.tiers
    }
    columns = range(0, watch.humidity.shape[1], DAY_HOURS)
    rows = [
        (
            said_hour(season, watch.first_hour + column + 1),
            *(_odds(float(mean[column])) for mean in means.values()),
        )
        for column in columns
    ]
    return Table(("Mould by", *means), tuple(rows))


def _odds(chance: float) -> str:
    return words.short_odds(chance) if np.isfinite(chance) else "not up"
