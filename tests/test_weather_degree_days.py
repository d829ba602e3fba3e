"""Degree days against the published verification tables."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.weather import degree_days_average, degree_days_clipped, degree_days_sine

PUBLISHED = load("degree_days")
ZALOM, INTEGRAL = PUBLISHED["zalom"], PUBLISHED["integral"]


@pytest.mark.parametrize("row", ZALOM["rows"], ids=lambda r: f"case {r[0]}: {r[1]}-{r[2]}")
def test_single_sine_against_zalom_1983(row):
    """The single-sine column of Zalom et al. 1983, leaflet 21373, table 7."""
    _, low, high, expected = row
    found = degree_days_sine(low, high, ZALOM["lower"], ZALOM["upper"])
    assert found == pytest.approx(expected, abs=ZALOM["tolerance"])


@pytest.mark.parametrize("row", PUBLISHED["mcmaster"]["rows"], ids=lambda r: f"{r[1]}..{r[0]} C")
def test_averages_against_mcmaster_1997(row):
    """Both methods of McMaster & Wilhelm 1997, table 1."""
    high, low, method_1, method_2 = row
    assert degree_days_average(low, high, 0) == method_1
    assert degree_days_clipped(low, high, 0) == method_2


@pytest.mark.parametrize("row", INTEGRAL["rows"], ids=lambda r: f"{r[0]}-{r[1]} F")
def test_rules_against_numerical_integration(row):
    """Every rule against a fine numerical integration of the day."""
    low, high, average, clipped, sine, cut_off = row
    lower, upper, close = INTEGRAL["lower"], INTEGRAL["upper"], INTEGRAL["tolerance"]
    assert degree_days_average(low, high, lower) == average
    assert degree_days_clipped(low, high, lower, upper) == clipped
    assert degree_days_sine(low, high, lower) == pytest.approx(sine, abs=close)
    assert degree_days_sine(low, high, lower, upper) == pytest.approx(cut_off, abs=close)


def test_rules_against_extension_examples():
    """Worked examples printed by extension services."""
    scale, borer = (PUBLISHED["extension"][name] for name in ("red_scale", "corn_borer"))
    found = degree_days_average(scale["t_min"], scale["t_max"], scale["lower"])
    assert found == scale["degree_days"]
    found = degree_days_clipped(borer["t_min"], borer["t_max"], borer["lower"], borer["upper"])
    assert found == borer["degree_days"]


temperatures = st.floats(-40, 50)


@given(temperatures, temperatures, st.floats(-5, 20), st.floats(0, 30))
def test_sine_limits(one, other, lower, span):
    """Never negative, never more than the thresholds allow, and at least the plain average."""
    low, high = min(one, other), max(one, other)
    cut_off = degree_days_sine(low, high, lower, lower + span)
    assert -1e-9 <= cut_off <= span + 1e-9
    assert degree_days_sine(low, high, lower) >= degree_days_average(low, high, lower) - 1e-9


@given(temperatures, st.floats(-5, 20))
def test_rules_agree_on_a_day_without_range(temperature, lower):
    rules = (degree_days_average, degree_days_clipped, degree_days_sine)
    found = [float(rule(temperature, temperature, lower)) for rule in rules]
    assert np.ptp(found) == pytest.approx(0, abs=1e-9)
