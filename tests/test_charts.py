"""Charts: small, described, free of colour and network, and true to the outlook and the plan."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import vl_convert

import synthetic
from published_values import load
from tierpole import charts
from tierpole.charts import Chart, lots, money
from tierpole.charts.chart import Table, finish, layer
from tierpole.charts.reading import chance_frozen, first_at, runs
from tierpole.charts.theme import PAGE, PAPER, theme
from tierpole.outlook.stowing import elevation
from tierpole.outlook.watch import watch

LOT, PLACE = "6 South bottom", "Home barn"
CSS = Path(charts.__file__).parents[1] / "web" / "static" / "pages.css"
CONTRAST = load("contrast")


def _every() -> dict[str, Chart]:
    season, outlook, plan = synthetic.season(), synthetic.outlook(), synthetic.plan()
    watched = watch(season, outlook, "Frame")
    assert watched is not None
    return {
        "side": charts.elevation_chart(season, elevation(season, "Frame"), ["31 %"]),
        "air": charts.air_inside(season, watched),
        "moistures": charts.moistures(season, watched),
        "mould by hour": charts.mould_by_hour(season, watched),
        "strip": charts.season_strip(season, outlook, plan),
        "thc": charts.potency(season, outlook, plan, LOT, "thc"),
        "cbd": charts.potency(season, outlook, plan, LOT, "cbd"),
        "passing": charts.passing(season, outlook, plan, LOT),
        "worth": charts.stick_worth(season, outlook, plan, LOT),
        "load": charts.place_load(season, plan, PLACE),
        "drying": charts.drying(season, outlook, plan, PLACE),
        "mould": charts.mould(season, outlook, plan, PLACE),
        "money": charts.money_spread(plan),
        "crew": charts.crew_hours(season, plan),
        "acre": charts.acre_left(
            [
                charts.AcreLeft("Hemp", 390.0, -2700.0, 3500.0, is_own=True),
                charts.AcreLeft("Hay", 90.0, 90.0, 90.0),
                charts.AcreLeft("Burley", 900.0, 70.0, 1500.0),
            ]
        ),
    }


EVERY = _every()
ALL = pytest.mark.parametrize("chart", EVERY.values(), ids=EVERY.keys())


def _rows(chart: Chart) -> list[dict]:
    return [row for rows in chart.spec["datasets"].values() for row in rows]


def _with(chart: Chart, *keys: str) -> list[dict]:
    """The longest data set whose rows have all these keys."""
    found = [
        rows
        for rows in chart.spec["datasets"].values()
        if rows and all(key in rows[0] for key in keys)
    ]
    return max(found, key=len)


# --- every chart --------------------------------------------------------------------------------


@ALL
def test_chart_is_drawn_against_vega(chart):
    """The renderer of Vega, by itself, makes a picture with marks of every spec."""
    picture = vl_convert.vegalite_to_svg(chart.spec, vl_version="6.4")
    assert picture.count("<path") + picture.count("<text") > 10


@ALL
def test_chart_limits_size_and_description(chart):
    """A spec stays small, carries its sentence, and says everything once more as a table."""
    assert len(json.dumps(chart.looking("page"))) < 200_000
    assert chart.spec["description"] == chart.sentence
    assert chart.sentence.endswith(".")
    assert len(chart.table.rows) >= 3
    assert all(isinstance(cell, str) for row in chart.table.rows for cell in row)


@ALL
def test_chart_limits_addresses_and_colours(chart):
    """No address but the schema's, and no colour outside the theme: marks name roles."""
    spec = {k: v for k, v in chart.looking("page").items() if k != "$schema"}
    assert "://" not in json.dumps(spec)
    assert not re.search(r"#[0-9a-fA-F]{6}\b", json.dumps(spec))
    styles = set(re.findall(r'"style": ?"([^"]+)"', json.dumps(chart.spec)))
    assert styles <= set(theme()["style"])
    assert styles


@ALL
def test_chart_limits_dates_and_digits(chart):
    """Days are ISO days, hours ISO times of UTC; numbers keep four significant digits at most."""
    for row in _rows(chart):
        for key, value in row.items():
            if key in ("day", "to"):
                assert re.fullmatch(r"\d{4}-\d\d-\d\d(T\d\d:\d\dZ)?", value)
            if isinstance(value, float):
                assert value == float(f"{value:.4g}")


@ALL
def test_chart_limits_script_element(chart):
    """A spec cannot end the script element it stands in."""
    assert "<" not in chart.page_json
    assert json.loads(chart.page_json)["width"] == "container"


def test_chart_limits_hostile_name():
    """A name that is markup stays text."""
    base = layer([{"day": synthetic.ON, "says": "</script><b>"}]).mark_text().encode(text="says:N")
    drawn = finish([base], 10, "A sentence.", Table(("a",), ()))
    assert "</script>" not in drawn.page_json
    assert json.loads(drawn.page_json)


def test_chart_limits_notebook():
    """A notebook gets the spec itself, on paper."""
    bundle = EVERY["thc"]._repr_mimebundle_()
    assert bundle["application/vnd.vegalite.v6+json"]["config"]["background"] == PAPER["paper"]


# --- true to the plan and the outlook -----------------------------------------------------------


def test_potency_against_numpy_quantiles():
    """The five lines of the fan are NumPy's quantiles of the draws, day by day."""
    outlook = synthetic.outlook()
    rows = {row["day"]: row for row in _with(EVERY["thc"], "low", "middle", "high")}
    for day, row in list(rows.items())[::7]:
        draws = 100 * outlook.thc.sel(lot=LOT, day=np.datetime64(day)).values
        expected = np.quantile(draws, (0.1, 0.25, 0.5, 0.75, 0.9))
        found = [row[name] for name in ("low", "lower", "middle", "upper", "high")]
        np.testing.assert_allclose(found, expected, rtol=6e-4)


def test_passing_against_mean_chance():
    """Each point is the mean chance over the draws, and the plan's own stands among them."""
    mean = synthetic.outlook().p_pass.sel(lot=LOT).mean("draw")
    for row in lots.pass_rows(synthetic.outlook(), LOT):
        assert row["p"] == pytest.approx(float(mean.sel(sample_day=np.datetime64(row["day"]))))
    planned = synthetic.plan().lot(LOT)
    at = next(r for r in lots.pass_rows(synthetic.outlook(), LOT) if r["day"] == planned.sample_on)
    assert at["p"] == pytest.approx(planned.p_pass)


def test_worth_against_numpy_quantiles():
    """The band of dollars is of the place that takes most of the lot."""
    rows = _with(EVERY["worth"], "low", "middle", "high")
    draws = synthetic.outlook().value_pass.sel(lot=LOT, place="Fan shed").values
    np.testing.assert_allclose([row["middle"] for row in rows], np.median(draws, axis=0), rtol=6e-4)


def test_potency_limits_allowance():
    """The line stands at the legal share and the band above it is as wide as the uncertainty."""
    band = _with(EVERY["thc"], "limit", "upper")[0]
    assert band["limit"] == pytest.approx(0.3)
    assert band["upper"] == pytest.approx(0.34)


def test_money_limits_bars():
    """Bars hold every draw once, and those left of zero hold exactly the seasons that lose."""
    plan = synthetic.plan()
    bars = money._bars(plan.draws)
    assert sum(bar["share"] for bar in bars) == pytest.approx(1)
    lost = sum(bar["share"] for bar in bars if bar["high"] <= 0)
    assert lost == pytest.approx(plan.money.p_loss)


def test_crew_limits_hours():
    """Weeks keep every hour of the plan, and none starts before its Monday."""
    crew = synthetic.plan().crew
    weeks = money.week_hours(crew)
    assert sum(week["used"] for week in weeks) == pytest.approx(
        (crew.cut_and_hang + crew.take_down + crew.strip).sum()
    )
    assert sum(week["available"] for week in weeks) == pytest.approx(crew.available.sum())
    assert all((week["to"] - week["day"]).days <= 7 for week in weeks)


def test_strip_limits_blocks_and_triangles():
    """A block a planned cut, heights as their sticks; a triangle a sample, on its own day."""
    plan = synthetic.plan()
    blocks = sorted(
        (row for row in _with(EVERY["strip"], "id", "y2", "done") if not row["done"]),
        key=lambda row: int(row["id"].removeprefix("cut-")),
    )
    assert [row["day"] for row in blocks] == [cut.day.isoformat() for cut in plan.cuts]
    heights = np.array([row["y"] - row["y2"] for row in blocks])
    sticks = np.array([cut.sticks for cut in plan.cuts])
    np.testing.assert_allclose(heights / heights.max(), sticks / sticks.max(), atol=0.01)
    planned = {lot.sample_on.isoformat() for lot in plan.lots if lot.sample_on}
    drawn = {
        row["day"] for row in _rows(EVERY["strip"]) if "official sample" in str(row.get("says"))
    }
    assert drawn == planned


def test_strip_limits_shading():
    """Shading never starts before flowering and darkens while THC climbs."""
    shades = [row for row in _with(EVERY["strip"], "shade") if row["says"].startswith(LOT)]
    assert [row["shade"] for row in shades] == sorted(row["shade"] for row in shades)
    flowers = synthetic.outlook().flower_day.sel(lot=LOT).values.min()
    assert shades[0]["day"] >= synthetic.season().day(int(flowers)).isoformat()


def test_frost_limits():
    """The chance of a freeze only rises, is none in summer, larger where nights are colder."""
    season, outlook = synthetic.season(), synthetic.outlook()
    station = chance_frozen(season, outlook, 0.0, 0.0)
    hollow = chance_frozen(season, outlook, -2.0, 0.0)
    assert (np.diff(station) >= 0).all()
    assert station[:91].max() == 0
    assert (hollow >= station).all()
    assert hollow.sum() > station.sum()


def test_first_at_limits():
    """The first day is the first to reach the share; never is None."""
    days = list(range(4))
    assert first_at(np.array([0.0, 0.4, 0.5, 0.9]), 0.5, days) == 2
    assert first_at(np.array([0.0, 0.1, 0.2, 0.3]), 0.5, days) is None


def test_runs_limits():
    """Runs put back together give the values they were made of."""
    values = np.array([0, 0, 3, 3, 3, 1])
    again = np.concatenate([[value] * (last - first + 1) for first, last, value in runs(values)])
    assert (again == values).all()


# --- theme --------------------------------------------------------------------------------------


def _luminance(colour: str) -> float:
    parts = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    curved = ((parts + CONTRAST["curve_offset"]) / (1 + CONTRAST["curve_offset"])) ** CONTRAST[
        "curve_exponent"
    ]
    linear = np.where(parts <= CONTRAST["linear_below"], parts / CONTRAST["linear_divisor"], curved)
    return float(linear @ CONTRAST["weights"])


def _ratio(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + CONTRAST["flare"]) / (dark + CONTRAST["flare"])


def _schemes() -> list[dict[str, str]]:
    """The colours of the page's light and dark scheme, as its style sheet gives them."""
    blocks = re.findall(r":root \{([^}]*)\}", CSS.read_text())
    return [dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block)) for block in blocks[:2]]


def test_contrast_against_wcag():
    """Every role that writes stands at 7 : 1 or more on its ground, in light and in dark."""
    for worked in CONTRAST["worked"]:
        assert _ratio(worked["one"], worked["other"]) == pytest.approx(worked["ratio"], abs=1e-6)
    schemes = _schemes()
    assert len(schemes) == 2
    for scheme in schemes:
        for role in ("ink", "soft", "accent", "risk"):
            assert _ratio(scheme[role], scheme["paper"]) >= CONTRAST["ratio_text"], role
        assert _ratio(scheme["on-accent"], scheme["accent"]) >= CONTRAST["ratio_text"]


def test_theme_limits():
    """A chart that leaves the page keeps the page's light colours; on it, the page's variables."""
    light = _schemes()[0]
    assert {role: light[role] for role in PAPER} == PAPER
    assert PAGE["risk"] == "var(--risk)"
    assert set(theme("page")["style"]) == set(theme("paper")["style"])
