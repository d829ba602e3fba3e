"""Worst cases, certainty equivalents and two textbook farms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import LinearConstraint, linprog, minimize

from published_values import load
from tierpole.money import (
    certainty_equivalent_cara,
    certainty_equivalent_crra,
    cvar,
    tail_weights,
)

ECONOMICS = load("economics")
TEN = ECONOMICS["ten_draws"]
HAZELL = ECONOMICS["hazell"]
MARGINS = np.array([HAZELL[crop] for crop in ("carrots", "celery", "cucumbers", "peppers")]).T
# land, labour, and celery and peppers no more than carrots and cucumbers
USES = np.array([np.ones(4), HAZELL["labour_hours"], [-1, 1, -1, 1]])
HELD = np.array([HAZELL["land"], HAZELL["labour"], 0])

dollars = arrays(float, st.integers(1, 40), elements=st.floats(-1e5, 1e5))


def test_ten_draws_against_hand_computation():
    """Mean of the worst fifth and quarter (the boundary draw in part), sure amounts at each r."""
    draws = np.array(TEN["draws"], float)
    assert draws.mean() == TEN["mean"]
    for share, expected in zip(TEN["cvar_share"], TEN["cvar"], strict=True):
        assert float(cvar(draws, share)) == pytest.approx(expected)
    sure = float(certainty_equivalent_cara(draws, TEN["cara"]))
    assert sure == pytest.approx(TEN["cara_equivalent"], abs=0.005)
    second_order = draws.mean() - TEN["cara"] * draws.var() / 2
    assert second_order == pytest.approx(TEN["cara_second_order"], abs=0.005)
    for aversion, expected in zip(TEN["crra"], TEN["crra_equivalent"], strict=True):
        sure = float(certainty_equivalent_crra(draws, TEN["wealth"], aversion))
        assert sure == pytest.approx(expected, abs=0.005)


@given(dollars, st.floats(0.01, 1))
def test_cvar_against_rockafellar_uryasev(draws, share):
    """The mean of the worst equals the greatest of c - E[(c - x)+] / share over levels c."""
    best = max(c - np.maximum(c - draws, 0).mean() / share for c in draws)
    assert float(cvar(draws, share)) == pytest.approx(best, abs=1e-6)


@given(dollars, st.floats(0.01, 1))
def test_cvar_limits(draws, share):
    """Between the worst draw and the mean; weights add to one; all draws give the mean."""
    worst = float(cvar(draws, share))
    assert draws.min() - 1e-6 <= worst <= draws.mean() + 1e-6
    assert tail_weights(draws, share).sum() == pytest.approx(1)
    assert float(cvar(draws, 1.0)) == pytest.approx(draws.mean())


def test_cvar_of_each_column_limits():
    """Draws run along the first dimension; each lot has its own worst draws."""
    draws = np.random.default_rng(1).normal(size=(50, 3, 2))
    together = cvar(draws, 0.17)
    for lot, place in np.ndindex(3, 2):
        assert together[lot, place] == pytest.approx(float(cvar(draws[:, lot, place], 0.17)))


@given(dollars, st.floats(1e-7, 1e-3))
def test_certainty_equivalents_limits(draws, aversion):
    """Never above the mean, lower with more aversion, shifted by a sure amount."""
    sure = float(certainty_equivalent_cara(draws, aversion))
    assert draws.min() - 1e-3 <= sure <= draws.mean() + 1e-3
    assert float(certainty_equivalent_cara(draws, 2 * aversion)) <= sure + 1e-3
    assert float(certainty_equivalent_cara(draws + 500, aversion)) == pytest.approx(sure + 500)
    assert float(certainty_equivalent_cara(draws, 0)) == pytest.approx(draws.mean())
    assert float(certainty_equivalent_crra(draws, 3e5, 0.0)) == pytest.approx(
        draws.mean(), abs=1e-3
    )


def test_greatest_income_against_hazell_1971():
    """The linear program of Hazell's farm: acres, and income as printed with rounded means."""
    means = MARGINS.mean(axis=0)
    assert means == pytest.approx(HAZELL["means"], abs=0.005)
    best = linprog(-means, A_ub=USES, b_ub=HELD)
    assert -best.fun == pytest.approx(HAZELL["greatest_income"], abs=0.5)
    assert best.x == pytest.approx(HAZELL["greatest_acres"], abs=0.005)
    printed = linprog(-np.array(HAZELL["printed_means"]), A_ub=USES, b_ub=HELD)
    assert -printed.fun == pytest.approx(HAZELL["greatest_income_printed"], abs=0.5)


def test_motad_against_separate_program():
    """Least total shortfall below the mean at three incomes, and the acres at one."""
    row = ECONOMICS["motad"]
    years = len(MARGINS)
    below = np.hstack([-(MARGINS - MARGINS.mean(axis=0)), -np.eye(years)])
    uses = np.hstack([USES, np.zeros((3, years))])
    for income, expected in zip(row["income"], row["deviations"], strict=True):
        best = linprog(
            np.r_[np.zeros(4), np.ones(years)],
            A_ub=np.vstack([below, uses]),
            b_ub=np.r_[np.zeros(years), HELD],
            A_eq=[np.r_[MARGINS.mean(axis=0), np.zeros(years)]],
            b_eq=[income],
        )
        assert best.fun == pytest.approx(expected, abs=0.05)
        if income == row["acres_at"]:
            acres = best.x[:4]
            assert acres == pytest.approx(row["acres"], abs=0.005)
            incomes = MARGINS @ acres
            assert incomes.std(ddof=1) == pytest.approx(row["sd"], abs=0.5)
            # with six years, the worst sixth of the draws is the worst year
            assert float(cvar(incomes, 1 / 6)) == pytest.approx(row["worst_year"], abs=0.5)


def test_mean_variance_against_separate_program():
    """Least standard deviation at three incomes, by quadratic programming on the same data."""
    row = ECONOMICS["mean_variance"]
    means, covariance = MARGINS.mean(axis=0), np.cov(MARGINS.T)
    for income, expected in zip(row["income"], row["sd"], strict=True):
        best = minimize(
            lambda x: x @ covariance @ x / 1e6,
            [50.0, 25, 70, 20],
            jac=lambda x: 2 * covariance @ x / 1e6,
            bounds=[(0, None)] * 4,
            constraints=[
                LinearConstraint(USES, ub=HELD),
                LinearConstraint(means, income, income),
            ],
            method="SLSQP",
            options={"ftol": 1e-12, "maxiter": 500},
        )
        sd = float(np.sqrt(best.x @ covariance @ best.x))
        assert sd == pytest.approx(expected, rel=2e-5)
    assert best.x == pytest.approx(row["acres"], abs=0.01)
