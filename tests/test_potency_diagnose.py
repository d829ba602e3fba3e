"""What a forecast says of itself, on farms with a known flaw."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import f as fisher
from scipy.stats import norm

import potency_truth as truth
from tierpole import potency
from tierpole.potency import diagnose, sampling
from tierpole.potency.convergence import Convergence

LOTS, VARIETIES = ("Barn field", "Church", "Lane", "Ridge"), ("Early", "Late")
FAIR = potency.Effort(chains=128, groups=4, warm_sweeps=10, kept_sweeps=20, most_rounds=2)
PLAN = tuple(
    truth.Planned(lot, tau, laboratory=laboratory)
    for lot in range(4)
    for tau, laboratory in ((21.0, "north"), (27.0, "south"), (33.0, "north"), (39.0, "south"))
)


def farm(seed=3, **alternative):
    rng = np.random.default_rng(seed)
    other = truth.Alternative(**alternative)
    return truth.draw_farm(rng, (0, 0, 1, 1), PLAN, alternative=other)


def diagnosed(made, change=lambda tests: tests, seed=4):
    tests = change(list(made.tests))
    rng = np.random.default_rng(seed)
    after = potency.update(made.draws, made.flower_day, tests, rng, effort=FAIR)
    return diagnose.diagnose(after.posterior, LOTS, VARIETIES), after.posterior


def test_sound_farm_limits():
    """Where nothing is wrong, nothing is found, and the sentence says why it may be relied on."""
    diagnosis, _ = diagnosed(farm())
    assert diagnosis.findings == ()
    assert diagnosis.is_reliable
    assert diagnosis.verdict.startswith("This forecast is reliable, because groups of chains agree")
    assert diagnosis.weight.mean() == pytest.approx(1.0, abs=0.25)


def test_outlying_certificate_simulated():
    """One certificate at 2.2 times its THC is found among sixteen, by name, with what was expected;
    the forecast stays reliable, for it hardly counts."""

    def spoil(tests):
        tests[6] = replace(tests[6], thc=2.2 * tests[6].thc)
        return tests

    made = farm()
    diagnosis, _ = diagnosed(made, spoil)
    (finding,) = diagnosis.findings
    assert (finding.kind, finding.test, finding.lot) == (diagnose.Kind.CERTIFICATE, 6, 1)
    assert diagnosis.is_reliable
    assert np.argmin(diagnosis.weight) == 6
    assert "a certificate of Church by north is distrusted" in finding.text
    reads = f"it reads {220.0 * made.tests[6].thc:.3g} % THC where all else leads to expect"
    assert reads in finding.text
    expected = float(finding.text.partition("expect ")[2].partition(" %")[0])
    assert expected == pytest.approx(100.0 * made.tests[6].thc, rel=0.25)
    assert "reliable with a reservation" in diagnosis.verdict


def test_mislabelled_variety_simulated():
    """Lots of another kind, at 2.4 times the THC, are said to be far from what their label says."""
    diagnosis, _ = diagnosed(farm(mislabelled={1: 2.4}))
    assert not diagnosis.is_reliable
    texts = [each.text for each in diagnosis.findings if each.kind is diagnose.Kind.PRIOR]
    assert any("Late" in text and "is the variety what its label says?" in text for text in texts)


def test_laboratories_apart_simulated():
    """A laboratory that reads 1.9 times what the other one reads is found."""

    def spoil(tests):
        return [
            replace(test, thc=1.9 * test.thc) if test.laboratory == "south" else test
            for test in tests
        ]

    diagnosis, _ = diagnosed(farm(), spoil)
    (finding,) = [each for each in diagnosis.findings if each.kind is diagnose.Kind.LABORATORY]
    assert finding.text.startswith("south reads ")
    assert finding.text.endswith("more THC than north: the two pull apart")
    assert not diagnosis.is_reliable


def test_chains_limits():
    """Chains that do not agree, or are worth little, are never silent."""
    _, posterior = diagnosed(farm())
    bad = Convergence(np.array([1.0, 1.08]), np.array([50.0, 3000.0]), 20)
    diagnosis = diagnose.diagnose(replace(posterior, convergence=bad), LOTS, VARIETIES)
    assert not diagnosis.is_reliable
    assert diagnosis.verdict == (
        "This forecast is not reliable as it stands, because groups of chains still differ "
        "(R-hat 1.080, 1.01 is asked): another run may give other chances; the chains are worth "
        "only 50 independent draws."
    )


def test_prior_conflict_against_normal_theory():
    """Over data sets from the prior, the conflict of a normal mean is standard normal."""
    rng = np.random.default_rng(6)
    conflicts = []
    for _ in range(2000):
        error = 0.8
        found = rng.standard_normal() + error * rng.standard_normal()
        variance = error**2 / (1 + error**2)
        states = found / (1 + error**2) + np.sqrt(variance) * rng.standard_normal(4000)
        conflicts.append(float(diagnose.prior_conflict(states)))
    assert np.std(conflicts) == pytest.approx(1.0, abs=0.05)
    assert np.mean(np.abs(conflicts) > 1.645) == pytest.approx(0.10, abs=0.02)
    assert diagnose.prior_conflict(rng.standard_normal(4000) + 0.3) == 0.0  # nothing was learnt


def test_thresholds_against_scipy():
    """How often chance alone would raise each finding, as the coefficients say."""
    limits = diagnose.COEFFICIENTS
    freedom = sampling.COEFFICIENTS["tail_df"]
    weight = limits["distrusted_weight"]
    distance = ((freedom + 2) / weight - freedom) / 2  # of two values, by Fisher's law
    assert 1 / fisher.sf(distance, 2, freedom) == pytest.approx(130, rel=0.03)
    unsure = sampling.COEFFICIENTS["between_labs_spread"]
    spread = np.exp(unsure * norm.ppf((np.arange(20_000) + 0.5) / 20_000) - unsure**2)
    assert 0.5 / norm.sf(limits["apart"] / spread).mean() == pytest.approx(95, rel=0.01)


def test_false_alarms_simulated():
    """However many quantities are judged, one sound farm in a hundred is told of a conflict."""
    rng = np.random.default_rng(7)
    for judged in (12, 60):
        furthest = np.abs(rng.standard_normal((100_000, judged))).max(axis=1)
        alarms = np.mean(furthest > diagnose.conflict_limit(judged))
        assert alarms == pytest.approx(diagnose.COEFFICIENTS["false_alarm"], rel=0.1)
