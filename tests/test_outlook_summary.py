"""The one function that makes every number shown to a person, against numbers done by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tierpole.outlook import seasons_of_twenty, summarise
from tierpole.outlook.summary import bands

DOLLARS = arrays(float, st.integers(2, 60), elements=st.floats(-1e6, 1e6))


def test_summary_against_hand_count():
    """Ten seasons from -40 to 50 by tens: each number by counting."""
    found = summarise(np.array([50, -40, 0, 20, -10, 40, 10, -30, 30, -20], float))
    assert (found.n, found.mean, found.median) == (10, 5.0, 5.0)
    assert found.low == pytest.approx(-31.0)  # a tenth of the way from the first to the tenth
    assert found.high == pytest.approx(41.0)
    assert found.cvar == pytest.approx(-35.0)  # mean of the worst two
    assert found.p_loss == pytest.approx(0.4)  # four below zero; zero is no loss
    assert found.counts == "12 of 20 seasons"


def test_tail_against_hand_count():
    """The worst 0.3 of four draws is the worst one and a fifth of the next."""
    found = summarise(np.array([10.0, 0.0, -10.0, 20.0]), tail=0.3)
    assert found.cvar == pytest.approx((1.0 * -10.0 + 0.2 * 0.0) / 1.2)
    assert summarise(np.array([3.0, 9.0]), tail=1.0).cvar == pytest.approx(6.0)


@given(DOLLARS)
def test_summary_limits(draws):
    """Worst tail at most the mean, band round the median; order and shift do not matter."""
    found = summarise(draws)
    slack = 1e-9 * (1 + np.abs(draws).max())
    assert found.cvar <= found.mean + slack
    assert found.low <= found.median <= found.high
    assert draws.min() - slack <= found.cvar
    assert summarise(draws[::-1]) == found
    moved = summarise(draws + 1000.0)
    assert moved.mean == pytest.approx(found.mean + 1000, abs=1e-6)
    assert moved.cvar == pytest.approx(found.cvar + 1000, abs=1e-6)


@given(arrays(float, st.tuples(st.integers(1, 40), st.just(3)), elements=st.floats(-1e3, 1e3)))
def test_bands_against_numpy(draws):
    """Quantiles by one sort are numpy's own."""
    quantiles = (0.1, 0.25, 0.5, 0.75, 0.9)
    expected = np.quantile(draws, quantiles, axis=0)
    assert bands(draws, quantiles) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "0 of 20 seasons"),
        (0.004, "fewer than 1 of 20 seasons"),
        (0.5, "10 of 20 seasons"),
        (0.66, "13 of 20 seasons"),
        (0.99, "more than 19 of 20 seasons"),
        (1.0, "20 of 20 seasons"),
    ],
)
def test_counts_hide_no_rare_season(chance, words):
    """What is rare is not rounded to never, what is likely not to always."""
    assert seasons_of_twenty(chance) == words
