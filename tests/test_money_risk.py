"""Worst cases, good and bad years, and a textbook farm."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import linprog
from scipy.stats import norm

from published_values import load
from tierpole.money import cvar, tail_weights, two_piece_normal

ECONOMICS = load("economics")
TEN = ECONOMICS["ten_draws"]
HAZELL = ECONOMICS["hazell"]
MARGINS = np.array([HAZELL[crop] for crop in ("carrots", "celery", "cucumbers", "peppers")]).T
# land, labour, and celery and peppers no more than carrots and cucumbers
USES = np.array([np.ones(4), HAZELL["labour_hours"], [-1, 1, -1, 1]])
HELD = np.array([HAZELL["land"], HAZELL["labour"], 0])

dollars = arrays(float, st.integers(1, 40), elements=st.floats(-1e5, 1e5))


def test_ten_draws_against_hand_computation():
    """Mean of the worst fifth and quarter (the boundary draw in part)."""
    draws = np.array(TEN["draws"], float)
    assert draws.mean() == TEN["mean"]
    for share, expected in zip(TEN["cvar_share"], TEN["cvar"], strict=True):
        assert float(cvar(draws, share)) == pytest.approx(expected)


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


def test_two_piece_normal_against_scipy():
    """With even tails the years are those of a normal distribution, at every quantile."""
    share = np.linspace(0.001, 0.999, 999)
    normal = norm(loc=700, scale=150)
    low, middle, high = normal.ppf([0.1, 0.5, 0.9])
    found = two_piece_normal(share, low, middle, high)
    assert found == pytest.approx(normal.ppf(share), rel=1e-12)


@given(st.floats(0, 900), st.floats(0, 900))
def test_two_piece_normal_limits(below, above):
    """The three given quantiles are met, it never falls, and nothing given is nothing spread."""
    given_three = (1000 - below, 1000, 1000 + above)
    assert two_piece_normal([0.1, 0.5, 0.9], *given_three) == pytest.approx(given_three)
    assert (np.diff(two_piece_normal(np.linspace(0.01, 0.99, 99), *given_three)) >= 0).all()
    assert (two_piece_normal([0.01, 0.99], 1000, 1000, 1000) == 1000).all()


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
