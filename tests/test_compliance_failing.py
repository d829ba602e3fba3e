"""What a failed lot is still worth, by the ways a rulebook leaves."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.compliance import (
    Composite,
    FailDollars,
    FailPath,
    fail_paths,
    p_biomass_pass,
    passes,
    paths_allowed,
    printed,
)
from tierpole.compliance.failing import thc_blended
from tierpole.rulebook import rulebook_on

ON = date(2026, 9, 1)
BOOK, OREGON = rulebook_on("us-federal", ON), rulebook_on("oregon", ON)
DOLLARS = FailDollars(
    pass_after_all=8.0,
    biomass=2.0,
    kept=0.0,
    retest=0.5,
    strip=0.75,
    shred=0.25,
    biomass_test=0.2,
    destroy=0.1,
)
ONE = np.ones((1, 1, 1))


def test_blend_against_hand_computation():
    """A shredded plant: 0.2225 % passes alone, 0.345 % only with MU of 0.045 % or more."""
    row = load("rules")["blend"]
    for flower, blend, alone in zip(
        row["flower"], row["blend"], row["passes_without_uncertainty"], strict=True
    ):
        got = float(thc_blended(row["flower_share"], flower, row["rest"]))
        assert got == pytest.approx(blend)
        assert passes(printed(round(got / 100, 8)), 0.0, BOOK) is alone
    least = row["least_uncertainty_to_pass"] / 100
    assert passes(row["blend"][1] / 100, least, BOOK)
    assert not passes(row["blend"][1] / 100, least - 1e-5, BOOK)


def test_ways_a_rulebook_leaves():
    """Oregon has no further test; a book without remediation leaves only to destroy."""
    assert paths_allowed(BOOK) == tuple(FailPath)
    assert FailPath.RETEST not in paths_allowed(OREGON)
    none = OREGON.model_copy(
        update={"remediation": OREGON.remediation.model_copy(update={"value": ()})}
    )
    assert paths_allowed(none) == (FailPath.DESTROY,)


def test_each_way_against_hand_computation():
    """Dollars of each way on one draw, worked by hand."""
    found = fail_paths(ONE, 0.4 * ONE, 0.9 * ONE, DOLLARS, BOOK)
    by_hand = {
        FailPath.STRIP: -0.75,
        FailPath.SHRED: 0.9 * 2.0 - 0.1 * 0.1 - 0.25 - 0.2,
        FailPath.DESTROY: -0.1,
    }
    by_hand[FailPath.RETEST] = 0.4 * 8.0 + 0.6 * by_hand[FailPath.SHRED] - 0.5
    assert {path: float(value[0, 0, 0]) for path, value in found.by_path.items()} == pytest.approx(
        by_hand
    )
    assert found.path(0, 0) is FailPath.RETEST
    assert float(found.value[0, 0, 0]) == pytest.approx(by_hand[FailPath.RETEST])


def test_best_way_is_judged_where_lots_fail_limits():
    """The way is one for all draws, by the mean over the draws that fail, not over all."""
    p_fail = np.array([0.01, 0.99]).reshape(2, 1, 1)
    p_again = np.array([1.0, 0.0]).reshape(
        2, 1, 1
    )  # a further test helps only where it hardly fails
    found = fail_paths(p_fail, p_again, 0.9 * np.ones((2, 1, 1)), DOLLARS, BOOK)
    assert found.path(0, 0) is FailPath.SHRED
    unweighted = found.by_path[FailPath.RETEST].mean() > found.by_path[FailPath.SHRED].mean()
    assert unweighted


@given(st.integers(0, 2**31), st.floats(0, 5), st.floats(0, 1))
def test_best_way_is_never_beaten_limits(seed, extra, p):
    """No allowed way has a better mean; a dearer test never helps; fewer ways never help."""
    rng = np.random.default_rng(seed)
    shape = (6, 2, 3)
    p_fail, p_again, p_biomass = rng.random(shape), p * rng.random(shape), rng.random(shape)
    found = fail_paths(p_fail, p_again, p_biomass, DOLLARS, BOOK)

    def mean(values):
        return (p_fail * values).sum(axis=0) / p_fail.sum(axis=0)

    for values in found.by_path.values():
        assert (mean(found.value) >= mean(values) - 1e-9).all()
    dearer = replace(DOLLARS, retest=DOLLARS.retest + extra)
    assert (mean(fail_paths(p_fail, p_again, p_biomass, dearer, BOOK).value)
            <= mean(found.value) + 1e-9).all()  # fmt: skip
    assert (mean(fail_paths(p_fail, p_again, p_biomass, DOLLARS, OREGON).value)
            <= mean(found.value) + 1e-9).all()  # fmt: skip


def test_shredding_dilutes_limits():
    """Shredded plants pass more often than tops; a very hot lot passes neither way."""
    thc = np.array([0.0035, 0.006, 0.06])
    clones = Composite(2, 0.07)
    chance = p_biomass_pass(thc, 0.0004, clones, BOOK, 1.07)
    assert chance[0] > 0.99
    assert chance[2] < 0.01
    assert (np.diff(chance) < 0).all()
    seed = Composite(2, 0.07, 0.05, 14.0)
    assert (p_biomass_pass(thc, 0.0004, seed, BOOK, 1.07) < chance).all()
