"""From a number to its source: every step of a why, and the numbers it tells."""

from __future__ import annotations

import numpy as np
import pytest

from tierpole.charts import words
from tierpole.office.views import kernels, why
from tierpole.outlook.schema import VARIABLES
from tierpole.units import ACRE
from view_models import OUTLOOK, PLAN, SEASON, numbers_in, view_of, week_of

# --- why ------------------------------------------------------------------------------------------


def test_kernels_limits_variables():
    """Every variable of the outlook says how it is made."""
    assert set(kernels.MADE) == {variable.name for variable in VARIABLES}


@pytest.mark.parametrize(
    "name", sorted({f for made in kernels.MADE.values() for f in made.formulas})
)
def test_kernels_limits_formula(name):
    """Each formula named exists, and its docstring has an equation and a source."""
    titles = [section.title for section in kernels.sections(name)]
    assert {"Equation", "Source"} <= set(titles)
    assert kernels.used(name)


@pytest.mark.parametrize(
    "module", sorted({m for made in kernels.MADE.values() for m in made.values})
)
def test_kernels_limits_values(module):
    """Each module named holds coefficients, and every one has a source."""
    assert kernels.values(module)
    assert all(row.source for row in kernels.values(module))


def _down(address):
    """The addresses one click below a step, and whether it shows a value with its source."""
    kind, _, rest = address.partition("/")
    args = rest.split("/", 1) if kind in ("plan", "outlook") else [rest]
    page = view_of(f"why_{kind}", *args)
    return [step.to for step in page.onward] + [row.to for row in page.rows], kind == "value"


def test_why_limits_five_clicks():
    """From any number of This week, a value and its source are at most five clicks away."""
    week = week_of()
    starts = {number.why for number in numbers_in(week)} | {row.why for row in week.cut_list}
    assert len(starts) > 8
    for start in starts:
        reached, steps, clicks = False, [start], 1
        while not reached and clicks <= 5:
            below = [_down(step) for step in steps]
            reached = any(is_value for _, is_value in below)
            steps = [onward[0] for onward, _ in below if onward]
            clicks += 1
        assert reached, start


def test_why_limits_facts():
    """The first step shows the plan's own numbers again."""
    facts = dict(view_of("why_plan", "money", "season").facts)
    assert facts["Mean"] == words.dollars(PLAN.money.mean)
    assert facts["Seasons drawn"] == str(PLAN.money.n)
    reasons = dict(view_of("why_plan", "reason", "2 Barn field").facts)
    assert reasons["A week later"].startswith(
        words.signed_dollars(PLAN.lot("2 Barn field").reasons[1].total)
    )


def test_why_limits_outlook_numbers():
    """The second step's band is that of the draws, for the lot asked for."""
    facts = dict(view_of("why_outlook", "flower_day", "6 South bottom").facts)
    draws = OUTLOOK.flower_day.sel(lot="6 South bottom").values
    low, high = np.quantile(draws, (0.1, 0.9))
    assert facts["8 of 10 draws"] == f"{low:.4g} to {high:.4g}"


def test_why_limits_assumed_value():
    """A value that is not read or computed says that it is assumed."""
    page = view_of("why_value", "compliance.chance:trimming")
    assert page.sentence.startswith("This value is assumed: ")
    assert why.STEPS.keys() >= {number.why.split("/")[1] for number in numbers_in(week_of())}


def test_place_limits_acres():
    """Full, a place holds its sticks' plants; 420 sticks of 5 are 2,100 plants, as in the notes."""
    view = view_of("place", "Frame", "us")
    (said,) = [note for note in view.notes if note.startswith("Full, it holds")]
    lots = SEASON.lots
    plants = [420 * lot.plants_per_stick for lot in lots]
    acres = [420 / SEASON.sticks_total(lot) * lot.area / ACRE for lot in lots]
    assert f"{min(plants):,}" in said
    assert float(said.split("those of ")[1].split()[0]) == pytest.approx(min(acres), abs=0.006)
    assert said.endswith("by lot.")


@pytest.mark.parametrize("key", ["testing", "told", "off_types"])
def test_why_limits_of_a_test(key):
    """What a test is worth, changed, or may meet leads to the draws and to values with a source."""
    page = view_of("why_plan", key, "6 South bottom")
    assert {step.name for step in page.onward} >= {"thc", "p_pass"}
    assert page.rows
    assert all(row.source for row in page.rows)
    if key == "testing":
        assert dict(page.facts)["Worth before its fee"] == "$120"


@pytest.mark.parametrize("name", ["summer_end", "earworm_reach", "hemp_borer_hatch"])
def test_counts_of_insects_lead_to_their_source(name):
    """What This week tells of insects has its row, with source and mark, one click away."""
    row = kernels.value("crop.insects", name)
    page = view_of("why_value", f"crop.insects:{name}")
    assert row is not None
    assert row.source in page.sentence
    assert ("This value is assumed" in page.sentence) == row.mark.is_assumed
