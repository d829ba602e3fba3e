"""Charts of one place: what hangs in it against its room, how long it dries, how mould may come."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import altair as alt
import numpy as np
import xarray as xr

from tierpole.charts import marks, words
from tierpole.charts.chart import DAY, TO, Chart, Row, Table, finish, layer
from tierpole.charts.reading import as_dates, dates, runs
from tierpole.outlook.summary import summarise
from tierpole.plan.result import PlacePlan, Plan
from tierpole.season import Season

HALF_FULL = 0.5
EVERY = 7  # days between the rows of a table
SLANT = 6  # days a stroke of the hatching leans
TENTH = 0.1  # the mould risk at which a page speaks up


def place_span(season: Season, plan: Plan) -> tuple[date, date]:
    """The days a place's charts show: from today to the last day the plan looks at."""
    ends = [as_dates(place.days)[-1] for place in plan.places]
    return season.on - timedelta(days=1), max(ends, default=season.on) + timedelta(days=1)


def open_from(season: Season, place: str) -> date:
    """The first day on which hemp may be hung in a place."""
    return _held_until(season, place) or season.on


# --- load ---------------------------------------------------------------------------------------


def place_load(season: Season, plan: Plan, place: str) -> Chart:
    """Sticks hanging in a place against its room, day by day; another crop's stretch is hatched."""
    first, last = place_span(season, plan)
    load = place_plan(plan, place)
    most = max(1.0, float(load.capacity.max()), float(load.hanging.max()))
    y = marks.value_axis("sticks", "format(datum.value, ',')", 0, most * 1.12)
    box: dict[str, Any] = {"x": DAY, "x2": TO, "y": y}
    layers = [
        layer(_hatch(season, place, first, last, most)).mark_rule(style="soft", clip=True).encode(
            x=DAY, x2=TO, y=alt.Y("floor:Q"), y2=alt.Y2("sticks:Q")),
        layer(_edges(load.days, load.hanging)).mark_area(
            style="accent", opacity=0.55, interpolate="step-after", clip=True).encode(
            x=DAY, y=alt.Y("sticks:Q")),
        layer(_stretches(load.days, load.capacity)).mark_rule(
            style="ink", strokeWidth=2.5, clip=True).encode(**box),
        *_held_words(season, place, first, most),
        *marks.today(season.on, marks.days_axis(first, last)),
    ]  # fmt: skip
    return finish(layers, 230, f"{place} {fullest(load)}.", _load_table(load, last))


def place_plan(plan: Plan, place: str) -> PlacePlan:
    """The plan of one place; KeyError if it has none."""
    for found in plan.places:
        if found.place == place:
            return found
    raise KeyError(place)


def _stretches(days: np.ndarray, room: np.ndarray) -> list[Row]:
    """Stretches of days with the same room, closed ones left out."""
    known = as_dates(days)
    return [
        {"day": known[first], "to": known[last] + timedelta(days=1), "sticks": sticks}
        for first, last, sticks in runs(np.round(room).astype(int))
        if sticks
    ]


def _edges(days: np.ndarray, hanging: np.ndarray) -> list[Row]:
    """The days on which what hangs changes, and the end: corners of a stepped area."""
    known = as_dates(days)
    rows: list[Row] = [
        {"day": known[first], "sticks": sticks}
        for first, _, sticks in runs(np.round(hanging).astype(int))
    ]
    return [*rows, {"day": known[-1] + timedelta(days=1), "sticks": rows[-1]["sticks"]}]


def _held_until(season: Season, place: str) -> date | None:
    """Until when something else hangs in a place, if it does today."""
    free = season.places[season.place_index(place)].free_from
    return free if free is not None and free > season.on else None


def _hatch(season: Season, place: str, first: date, last: date, top: float) -> list[Row]:
    until = _held_until(season, place)
    days = range(0, (min(until, last) - first).days - SLANT + 1 if until else 0, 2)
    starts = [first + timedelta(days=k) for k in days]
    slant = timedelta(days=SLANT)
    return [{"day": start, "to": start + slant, "floor": 0, "sticks": top} for start in starts]


def _held_words(season: Season, place: str, first: date, top: float) -> list[alt.Chart]:
    until = _held_until(season, place)
    if until is None:
        return []
    held = season.places[season.place_index(place)].occupied_by or "taken"
    at = layer([{"day": first, "y": top * 0.45, "says": f"{held} until {words.day(until)}"}])
    return marks.written(at, x=DAY, y=alt.Y("y:Q"), align="left", dx=18, fontWeight=700)


def fullest(load: PlacePlan) -> str:
    """When a place is fullest, as the rest of a sentence about it."""
    most = int(np.argmax(load.hanging))
    sticks, room = float(load.hanging[most]), float(load.capacity[most])
    if sticks < 1:
        return "stays empty in this plan"
    day = words.long_day(as_dates(load.days)[most])
    return f"is fullest on {day}, with {words.counted(sticks, 'stick')} of {room:,.0f}"


def _load_table(load: PlacePlan, last: date) -> Table:
    known = zip(as_dates(load.days), load.hanging, load.capacity, strict=True)
    rows = [(words.day(d), f"{n:,.0f}", f"{room:,.0f}") for d, n, room in known if d <= last]
    return Table(("Day", "Sticks hanging", "Room for"), tuple(rows[::EVERY]))


# --- drying -------------------------------------------------------------------------------------


def drying(season: Season, outlook: xr.Dataset, plan: Plan, place: str) -> Chart:
    """Days from hanging until dry enough to take down, by hang day, with the place half full."""
    first, last = place_span(season, plan)
    days = dates(outlook, "cut_day")
    rows = marks.band_rows(days, _at_load(outlook, "drying_days", place, HALF_FULL))
    full = np.median(_at_load(outlook, "drying_days", place, float(outlook["load"].max())), axis=0)
    crowded = [{"day": day, "middle": float(x)} for day, x in zip(days, full, strict=True)]
    top = max(1.0, *(row["high"] for row in rows), float(full.max())) * 1.1
    y = marks.value_axis("low", "datum.value + ' days'", 0, top)
    line = layer(crowded)
    named = layer([{**crowded[len(crowded) // 3], "says": "hung full"}])
    layers = [
        *marks.fan(rows, marks.days_axis(first, last), y),
        line.mark_line(style="ink", strokeDash=[5, 4], clip=True).encode(
            x=DAY, y=alt.Y("middle:Q")
        ),
        *marks.written(named, x=DAY, y=alt.Y("middle:Q"), dy=-12),
        *marks.today(season.on),
    ]
    opening = open_from(season, place)
    hung = next((n for n, day in enumerate(days) if day >= opening), 0)
    sentence = (
        f"Hung in {place} on {words.long_day(days[hung])} and half full, it is dry in "
        f"{rows[hung]['low']:.0f} to {rows[hung]['high']:.0f} days in 8 of 10 seasons; hung full, "
        f"in about {full[hung]:.0f}."
    )
    return finish(layers, 220, sentence, _drying_table(rows))


def _at_load(outlook: xr.Dataset, variable: str, place: str, load: float) -> np.ndarray:
    """A drying variable of one place at the load nearest to `load` [barn_draw, cut_day]."""
    chosen = outlook[variable].sel(place=place).sel(load=load, method="nearest")
    return np.asarray(chosen.transpose("barn_draw", "cut_day").values, dtype=float)


def _drying_table(rows: list[Row]) -> Table:
    body = tuple(
        (words.day(row["day"]), *(f"{row[k]:.0f} days" for k in ("low", "middle", "high")))
        for row in rows[::EVERY]
    )
    return Table(
        ("Hung on", "1 season in 10 is shorter", "Middle", "1 season in 10 is longer"), body
    )


# --- mould --------------------------------------------------------------------------------------


def mould(season: Season, outlook: xr.Dataset, plan: Plan, place: str) -> Chart:
    """Chance of visible mould while hanging, by hang day, for a place hung lightly and full."""
    first, last = place_span(season, plan)
    loads = [float(load) for load in outlook["load"].values]
    rows = [row for load in loads for row in _mould_rows(outlook, place, load)]
    top = max(0.2, *(row["risk"] for row in rows)) * 1.1
    counts = range(0, int(top * 20) + 1, 1 + int(top * 20) // 5)
    label = "format(datum.value * 20, '.0f') + ' of 20'"
    y = marks.value_axis("risk", label, 0, top, [count / 20 for count in counts])
    dash = alt.StrokeDash("load:O", legend=None).scale(domain=loads, range=_dashes(len(loads)))
    tenth = layer([{"risk": TENTH, "says": "one in ten"}])
    layers = [
        layer(rows).mark_line(style="risk", strokeWidth=2, clip=True).encode(
            x=marks.days_axis(first, last), y=y, strokeDash=dash),
        tenth.mark_rule(style="ink", strokeDash=[2, 3]).encode(y=alt.Y("risk:Q")),
        *marks.written(tenth, x=alt.XValue(6), y=alt.Y("risk:Q"), align="left", dy=-9),
        *_load_names(rows, loads, last),
        *marks.today(season.on),
    ]  # fmt: skip
    opening = open_from(season, place)
    full = [row for row in rows if row["load"] == loads[-1] and row["day"] >= opening]
    return finish(layers, 220, _mould_sentence(place, full), _mould_table(rows, loads))


def _mould_rows(outlook: xr.Dataset, place: str, load: float) -> list[Row]:
    risk = _at_load(outlook, "mould_risk", place, load)
    return [
        {"day": day, "load": load, "risk": summarise(column).mean}
        for day, column in zip(dates(outlook, "cut_day"), risk.T, strict=True)
    ]


def _dashes(count: int) -> list[list[int]]:
    """Dotted for the lightest load, solid for the fullest."""
    return [[2, 4], [7, 4], [1, 0]][-count:] if count <= 3 else [[1, 0]] * count


def _load_names(rows: list[Row], loads: list[float], last: date) -> list[alt.Chart]:
    named = []
    for load in (loads[0], loads[-1]):
        shown = [row for row in rows if row["load"] == load and row["day"] <= last]
        row = shown[int(len(shown) * (0.75 if load == loads[0] else 0.45))]
        named.append({**row, "says": "hung full" if load == loads[-1] else "hung lightly"})
    return marks.written(layer(named), x=DAY, y=alt.Y("risk:Q"), style="risk", dy=-11)


def _mould_sentence(place: str, full: list[Row]) -> str:
    """What mould may do in a place hung full, from the day it is open."""
    risky = [row for row in full if row["risk"] >= TENTH]
    if not risky:
        return f"In {place} mould stays below 2 of 20 seasons even hung full."
    worst = max(risky, key=lambda row: row["risk"])
    when = words.long_day(worst["day"])
    return (
        f"Hung full, {place} shows mould in up to {words.odds(worst['risk'])}, worst hung {when}."
    )


def _mould_table(rows: list[Row], loads: list[float]) -> Table:
    by_load = [[row for row in rows if row["load"] == load] for load in loads]
    body = tuple(
        (words.day(same[0]["day"]), *(words.odds(row["risk"]) for row in same))
        for same in list(zip(*by_load, strict=True))[::EVERY]
    )
    return Table(("Hung on", *(f"{words.percent(load)} full" for load in loads)), body)
