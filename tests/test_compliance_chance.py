"""The chance to pass: against normal tables, simulated composites, and a separate script."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import multivariate_normal
from scipy.stats import t as student

from published_values import load
from tierpole.compliance import (
    Composite,
    p_buyer_pass,
    p_over_one,
    p_pass,
    p_pass_again,
    p_sold_pass,
)
from tierpole.compliance.again import p_above_then_below
from tierpole.compliance.chance import p_at_most, p_printed_at_most
from tierpole.potency import PRECISION_THC, Precision, log_sd, sd_composite, thc_course
from tierpole.rulebook import rulebook_on

RULES = load("rules")
ON = date(2026, 9, 1)
BOOK, GEORGIA = rulebook_on("us-federal", ON), rulebook_on("georgia", ON)
MU = 0.0004
CLONES = Composite(2, 0.07)
thc = st.floats(0.0002, 0.02)


def test_normal_error_against_normal_tables():
    """Chances of a result under limit plus MU, as read from a table of the normal distribution."""
    row = RULES["normal_pass"]
    threshold = row["limit"] + np.array(row["uncertainty"])
    chance = p_at_most(threshold, np.array(row["true_thc"]), np.array(row["sd"]))
    assert chance == pytest.approx(row["p_pass"], abs=5e-5)


@pytest.mark.parametrize("tail_df", [3.0, 5.0, 30.0])
def test_heavy_tail_against_scipy_stats(tail_df):
    """The heavy-tailed error has the standard deviation asked for and Student's shape."""
    z = np.linspace(-4, 4, 9)
    law = student(tail_df, scale=np.sqrt((tail_df - 2) / tail_df))
    assert law.std() == pytest.approx(1)
    assert p_at_most(z, 0.0, 1.0, tail_df) == pytest.approx(law.cdf(z), abs=1e-12)


def test_composite_error_against_hand_computation():
    """Plants count over the square root of n; a clone pair in any laboratory scatters 13.6 %."""
    row, pair, expanded = RULES["composite"], RULES["clone_pair"], RULES["expanded"]
    plants = np.array(row["plants"])
    assert sd_composite(row["plant_sd"], plants) == pytest.approx(row["sd"], abs=5e-5)
    assert log_sd(pair["plant_cv"], pair["plants"]) == pytest.approx(pair["relative_sd"], abs=5e-4)
    for relative, uncertainty in zip(expanded["relative_sd"], expanded["uncertainty"], strict=True):
        spread = log_sd(0.0, 1, Precision(relative, 0.0))
        assert expanded["coverage"] * spread * expanded["at"] == pytest.approx(uncertainty)


def test_hot_lot_against_separate_script():
    """A hot lot's chance to pass by sample day, with the curve and spreads of a separate script."""
    row = RULES["hot_lot"]
    rng = np.random.default_rng(7)
    draws = 40_000
    peak_day = rng.normal(row["peak_day"], row["peak_day_sd"], (draws, 1))
    steepest = row["steepest_day"] / row["peak_day"]
    spread = np.sqrt(np.square(row["peak_sd_log"]).sum())
    peak = row["peak_thc"] / 100 * np.exp(spread * rng.standard_normal((draws, 1)))
    late = rng.normal(0, row["flower_day_sd"], (draws, 1))
    truth = thc_course(np.array(row["days"]) - late, peak, peak_day, steepest, 0.0)
    assert (truth > 0.003).mean(axis=0) == pytest.approx(row["p_over"], abs=0.03)
    lab = Precision(0.0, row["lab_sd"])
    sample = replace(CLONES, precision=lab, tail_df=np.inf)
    chance = p_pass(truth, row["uncertainty"] / 100, sample, BOOK).mean(axis=0)
    assert chance == pytest.approx(row["p_pass"], abs=0.015)


def simulate(rng, truth, sample, share, multiple, n=200_000):
    """Printed results of composites drawn plant by plant, and the laboratory's share of error."""
    off = rng.random((n, sample.plants)) < share
    variance = np.log1p(sample.plant_cv**2)
    scatter = np.sqrt(variance) * rng.standard_normal((n, sample.plants)) - variance / 2
    tops = truth * np.where(off, multiple, 1.0) * np.exp(scatter)
    lab = rng.standard_normal(n) * sample.precision.between_labs
    own = rng.standard_normal(n) * sample.precision.repeatability
    return tops.mean(axis=1) * np.exp(lab + own), lab


@pytest.mark.parametrize(
    ("plants", "cv", "share", "multiple"),
    [(1, 0.07, 0.0, 1.0), (3, 0.07, 0.0, 1.0), (3, 0.18, 0.03, 12.0), (6, 0.10, 0.02, 8.0)],
)
def test_p_pass_simulated(plants, cv, share, multiple):
    """The chance to pass equals the share of simulated composites that pass."""
    sample = Composite(plants, cv, share, multiple, tail_df=np.inf)
    rng = np.random.default_rng(11)
    for truth in (0.0026, 0.0032, 0.0040):
        printed, _ = simulate(rng, truth, sample, share, multiple)
        chance = float(p_pass(truth, MU, sample, BOOK))
        assert chance == pytest.approx((printed <= 0.0034).mean(), abs=0.004)


def test_off_types_fail_a_passing_seed_lot_simulated():
    """In a lot at 0.25 %, each off-type plant in a composite of three fails it."""
    clean = p_pass(0.0025, MU, Composite(3, 0.1), BOOK)
    mixed = p_pass(0.0025, MU, Composite(3, 0.1, 0.02, 14.0), BOOK)
    assert clean - mixed == pytest.approx(1 - 0.98**3, abs=0.005)


@pytest.mark.parametrize(
    ("h", "k", "r"),
    [(0.5, -0.3, 0.8), (-1.0, 0.2, 0.3), (0.0, 0.0, 0.5), (0.0, 1.0, 0.9), (2.0, -1.0, -0.6)],
)
def test_two_normals_against_scipy_stats(h, k, r):
    """P(first above, second below) from Owen's T agrees with the bivariate normal integral."""
    below = multivariate_normal.cdf([h, k], cov=[[1, r], [r, 1]])
    expected = multivariate_normal.cdf(k) - below
    assert float(p_above_then_below(h, k, r)) == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize(
    ("cv", "share", "multiple"), [(0.07, 0.0, 1.0), (0.07, 0.04, 10.0), (0.40, 0.30, 1.5)]
)
def test_second_test_of_the_same_laboratory_simulated(cv, share, multiple):
    """After a fail, the same laboratory passes as often as in simulation with its error kept."""
    sample = Composite(2, cv, share, multiple, tail_df=np.inf)
    rng = np.random.default_rng(3)
    first, lab = simulate(rng, 0.0031, sample, share, multiple)
    second, own = simulate(rng, 0.0032, sample, share, multiple)
    second *= np.exp(lab - own)
    expected = (second[first > 0.0034] <= 0.0034).mean()
    again = float(p_pass_again(0.0031, 0.0032, MU, sample, GEORGIA))
    assert again == pytest.approx(expected, abs=0.006)
    assert again < float(p_pass_again(0.0031, 0.0032, MU, sample, BOOK)), "another laboratory"


def test_second_test_of_another_laboratory_limits():
    """Another laboratory's test is as good as a first one."""
    again = p_pass_again(0.0031, 0.0033, MU, CLONES, BOOK)
    assert again == p_pass(0.0033, MU, CLONES, BOOK)


@given(thc, thc, st.floats(0, 0.002), st.floats(0, 0.002))
def test_p_pass_falls_with_thc_and_rises_with_mu_limits(low, more, uncertainty, extra):
    """More THC never passes more often, more MU never less often; with no THC a lot passes."""
    chance = p_pass(np.array([0.0, low, low + more]), uncertainty, CLONES, BOOK)
    assert chance[0] == 1
    assert chance[0] >= chance[1] >= chance[2]
    assert p_pass(low, uncertainty + extra, CLONES, BOOK) >= chance[1]


@given(thc, st.floats(0, 0.1), st.floats(1, 20), st.integers(1, 12))
def test_off_types_never_help_limits(truth, share, multiple, plants):
    """Off-type plants with more THC never make a pass likelier; chances stay chances."""
    clean = float(p_pass(truth, MU, Composite(plants, 0.1), BOOK))
    mixed = float(p_pass(truth, MU, Composite(plants, 0.1, share, multiple), BOOK))
    assert -1e-9 <= mixed <= 1 + 1e-9
    # off-types also widen the scatter, which helps a lot that is over anyway, by next to nothing
    if truth <= 0.0034:
        assert mixed <= clean + 1e-9


def test_chances_over_all_results_limits():
    """The law of the printed result integrates to the mean of its laboratory error."""
    sample = replace(CLONES, tail_df=np.inf)

    def above(ratio: float) -> float:
        return 1 - float(p_printed_at_most(0.003 * ratio, 0.003, sample))

    mean, _ = quad(above, 1e-6, 6, limit=200)
    laboratory = log_sd(0.0, 1, PRECISION_THC)
    assert mean == pytest.approx(np.exp(laboratory**2 / 2), abs=1e-4), "plants leave the mean"


def test_arrays_by_draw_lot_and_day_limits():
    """Arrays give what each number alone gives, whatever the mix of clones and seed."""
    rng = np.random.default_rng(5)
    truth = 0.003 * np.exp(0.3 * rng.standard_normal((4, 3, 5)))
    plants = np.array([1, 3, 2])[:, None]
    cv = rng.uniform(0.05, 0.2, (4, 3, 1))
    share = np.array([0.0, 0.0, 0.05])[:, None] * np.ones((4, 1, 1))
    multiple = rng.uniform(5, 15, (4, 3, 1))
    together = p_pass(truth, MU, Composite(plants, cv, share, multiple), BOOK)
    again = p_pass_again(truth, truth, MU, Composite(plants, cv, share, multiple), GEORGIA)
    for draw, lot, day in np.ndindex(truth.shape):
        own = Composite(
            int(plants[lot, 0]), cv[draw, lot, 0], share[draw, lot, 0], multiple[draw, lot, 0]
        )
        x = truth[draw, lot, day]
        assert together[draw, lot, day] == pytest.approx(float(p_pass(x, MU, own, BOOK)), abs=1e-8)
        alone = float(p_pass_again(x, x, MU, own, GEORGIA))
        assert again[draw, lot, day] == pytest.approx(alone, abs=1e-6)


def test_buyer_and_negligence_limits():
    """A buyer allows no MU, so he passes less; a result over 1 % is rarer than a fail."""
    truth = np.linspace(0.001, 0.012, 40)
    official = p_pass(truth, MU, CLONES, BOOK)
    over_one = p_over_one(truth, CLONES, BOOK)
    assert (p_buyer_pass(truth, CLONES, BOOK, 1.07) <= official + 1e-3).all()
    assert (over_one <= 1 - official).all()
    assert (np.diff(over_one) >= 0).all()
    # threshed biomass holds about a quarter less than the tops, trimmed flower about as much
    biomass = p_sold_pass(truth, CLONES, BOOK, 1.35)
    assert (biomass >= p_buyer_pass(truth, CLONES, BOOK, 1.07)).all()
    assert float(p_sold_pass(0.003, CLONES, BOOK, 1.35)) > 0.97
    # off-types raise the whole bag in the buyer's hands
    seed = Composite(2, 0.07, 0.02, 14.0)
    assert (p_buyer_pass(truth, seed, BOOK, 1.07) < p_buyer_pass(truth, CLONES, BOOK, 1.07)).all()
