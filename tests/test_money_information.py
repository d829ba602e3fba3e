"""The worth of knowing more, against textbook decisions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from published_values import load
from tierpole.money import value_of_perfect_information, value_of_sample_information

ECONOMICS = load("economics")


def test_drilling_against_raiffa_1968():
    """The oil wildcatter: worth of a seismic test and of certainty."""
    row = ECONOMICS["drilling"]
    payoff = np.array([np.zeros(3), np.array(row["revenue"]) - row["drill_cost"]])
    assert (payoff @ row["chance"]).max() == pytest.approx(row["without_test"])
    sample = value_of_sample_information(payoff, row["joint"])
    assert sample == pytest.approx(row["sample_information"])
    assert sample - row["test_cost"] == pytest.approx(2.5)
    perfect = value_of_perfect_information(payoff, row["chance"])
    assert perfect == pytest.approx(row["perfect_information"])


def test_pretest_against_hand_computation():
    """A pre-test before the official sample, and half its worth at half the stakes."""
    row = ECONOMICS["pretest"]
    payoff = np.array([[row["cut_now"]] * 2, [row["wait_passes"], row["wait_hot"]]])
    chance = np.array([1 - row["p_hot"], row["p_hot"]])
    reads_low = np.array([row["specificity"], 1 - row["sensitivity"]])
    joint = chance[:, None] * np.column_stack([reads_low, 1 - reads_low])
    sample = value_of_sample_information(payoff, joint)
    assert sample == pytest.approx(row["sample_information"])
    assert value_of_sample_information(payoff / 2, joint) == pytest.approx(sample / 2)
    perfect = value_of_perfect_information(payoff, chance)
    assert perfect == pytest.approx(row["perfect_information"])


@given(st.integers(0, 2**31), st.integers(1, 4), st.integers(1, 4), st.integers(1, 4))
def test_information_limits(seed, actions, states, results):
    """Nothing known is worth nothing; a test is worth between nothing and certainty."""
    rng = np.random.default_rng(seed)
    payoff = rng.normal(size=(actions, states))
    joint = rng.dirichlet(np.ones(states * results)).reshape(states, results)
    perfect = value_of_perfect_information(payoff, joint.sum(axis=1))
    sample = value_of_sample_information(payoff, joint)
    assert -1e-12 <= sample <= perfect + 1e-12
    chance = joint.sum(axis=1)
    useless = np.outer(chance, np.ones(results) / results)
    assert value_of_sample_information(payoff, useless) == pytest.approx(0, abs=1e-12)
    certain = value_of_sample_information(payoff, np.diag(chance))
    assert certain == pytest.approx(perfect, abs=1e-12)


def _farm_profit(yields: list[list[float]], fixed: list[float] | None = None) -> tuple[float, list]:
    """Best mean profit over equally likely yields [year, crop], and its acres.

    Columns: acres of 3 crops, then for each year wheat and corn sold, beets sold below and above
    the quota, wheat and corn bought.
    """
    row, years = ECONOMICS["farmer"], len(yields)
    once = [*row["selling"][:2], row["selling"][2], row["beet_above"], *(-x for x in row["buying"])]
    profit = np.r_[-np.array(row["planting"], float), np.tile(once, years) / years]
    rows, limits = [np.r_[1, 1, 1, np.zeros(6 * years)]], [row["acres"]]
    for year, crop_yields in enumerate(yields):
        for crop, grown in enumerate(crop_yields):
            need = np.zeros_like(profit)
            need[crop] = -grown
            at = 3 + 6 * year
            if crop < 2:
                need[at + crop], need[at + 4 + crop] = 1, -1
                limits.append(-row["need"][crop])
            else:
                need[at + 2 : at + 4] = 1
                limits.append(0)
            rows.append(need)
    bounds = [(x, x) for x in fixed] if fixed else [(0, None)] * 3
    once_bounds = [(0, None), (0, None), (0, row["beet_quota"]), *[(0, None)] * 3]
    best = linprog(-profit, A_ub=rows, b_ub=limits, bounds=[*bounds, *(once_bounds * years)])
    return -best.fun, list(best.x[:3])


def test_farmer_against_birge_louveaux():
    """Planning for the mean, for the draws and with foresight; the worth of foresight."""
    row = ECONOMICS["farmer"]
    usual = np.array(row["yields"])
    years = [list(usual * scale) for scale in (1 - row["spread"], 1.0, 1 + row["spread"])]
    profit, mean_plan = _farm_profit([list(usual)])
    assert (profit, mean_plan) == (
        pytest.approx(row["mean_profit"]),
        pytest.approx(row["mean_plan"]),
    )
    profit, plan = _farm_profit(years)
    assert profit == pytest.approx(row["stochastic_profit"], abs=0.5)
    assert plan == pytest.approx(row["stochastic_plan"], abs=0.05)
    expected, _ = _farm_profit(years, fixed=mean_plan)
    assert expected == pytest.approx(row["mean_plan_expected"], abs=0.5)
    assert profit - expected == pytest.approx(row["stochastic_solution"], abs=0.5)

    # the plan for the draws and the best plan of each year as the actions to choose from
    foreseen = [_farm_profit([year]) for year in years]
    plans = [plan, *(acres for _, acres in foreseen)]
    payoff = [[_farm_profit([year], fixed=acres)[0] for year in years] for acres in plans]
    worth = value_of_perfect_information(payoff, np.full(3, 1 / 3))
    assert np.mean([best for best, _ in foreseen]) == pytest.approx(row["perfect_profit"], abs=0.05)
    assert worth == pytest.approx(row["perfect_information"], abs=0.5)
