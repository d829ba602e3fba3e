"""Is this forecast reliable, and if not, why: in words.

Three things can be wrong. The arithmetic: groups of chains that do not agree. The certificates:
one that is far from what the others lead to expect, or laboratories that pull apart. The model:
tests that put a variety, a lot or its flowering where it was hardly thought to be. None of them
changes a number; each is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tierpole.evidence import Mark, Table, Value
from tierpole.potency.draws import PARAMETERS
from tierpole.potency.misfit import Misfit
from tierpole.potency.model import Pooled
from tierpole.potency.posterior import R_HAT_LIMIT, Posterior
from tierpole.potency.results import CBD, THC

Array = NDArray[np.float64]

COEFFICIENTS = Table(
    "Diagnosis of a forecast",
    (
        Value(
            "fewest_effective",
            400.0,
            "draws",
            Mark.INFERENCE,
            "a chance of a half is then known to within 0.025 (one standard deviation)",
        ),
        Value(
            "distrusted_weight",
            0.20,
            "1",
            Mark.COMPUTED,
            "of an ordinary certificate; with Student's t of 5 degrees and two values, 1 in 130 "
            "ordinary ones falls below it by chance",
        ),
        Value(
            "false_alarm",
            0.01,
            "1",
            Mark.INFERENCE,
            "share of sound farms in which chance alone calls a conflict with what was known",
        ),
        Value(
            "telling",
            0.10,
            "1",
            Mark.INFERENCE,
            "share of the variance that tests must take away before a conflict can be called",
        ),
        Value(
            "apart",
            3.3,
            "sd",
            Mark.COMPUTED,
            "of the difference between two laboratories as stated; 1 in 95 by chance, the spread "
            "between laboratories being as unsure as it is",
        ),
    ),
)

_QUANTITIES = {
    "log_plateau": "total CBD at maturity",
    "log_ratio": "its CBD to THC ratio",
    "peak_day": "the day its THC peaks",
    "steepest": "how early its THC rises",
    "log_rate": "how fast its CBD rises",
    "midpoint_shift": "when its CBD rises",
    "log_fall": "how fast its THC falls",
}


class Kind(StrEnum):
    """What a finding is about."""

    CHAINS = "chains"
    CERTIFICATE = "certificate"
    LABORATORY = "laboratory"
    PRIOR = "prior"


@dataclass(frozen=True)
class Finding:
    """Something a reader must know.

    `test` is the place of a certificate among those that say something, in the order given.
    """

    kind: Kind
    text: str
    lot: int | None = None
    test: int | None = None


@dataclass(frozen=True)
class Diagnosis:
    """The verdict on a forecast, in words, with what it rests on.

    `weight` [test] is what each certificate that says something counts for, in the order given.
    """

    findings: tuple[Finding, ...]
    r_hat: float
    effective: float
    weight: Array

    @property
    def is_reliable(self) -> bool:
        """False when anything was found but certificates, whose little weight is dealt with."""
        return all(finding.kind is Kind.CERTIFICATE for finding in self.findings)

    @property
    def verdict(self) -> str:
        """Whether the forecast is reliable, because of what."""
        reasons = "; ".join(finding.text for finding in self.findings)
        if not self.is_reliable:
            return f"This forecast is not reliable as it stands, because {reasons}."
        agree = (
            f"groups of chains agree (R-hat {self.r_hat:.3f}, worth {self.effective:,.0f} draws) "
            "and the tests fit what was known before"
        )
        if self.findings:
            return f"This forecast is reliable with a reservation: {agree}, but {reasons}."
        return f"This forecast is reliable, because {agree}; no certificate stands apart."


def diagnose(posterior: Posterior, lots: Sequence[str], varieties: Sequence[str]) -> Diagnosis:
    """What speaks against a forecast; `lots` and `varieties` are names by number of the season."""
    fit = _Fit.of(posterior)
    convergence = posterior.convergence
    r_hat, effective = float(convergence.r_hat.max()), float(convergence.effective.min())
    findings = (
        *_chains(r_hat, effective),
        *_certificates(posterior, fit, lots),
        *_laboratories(posterior),
        *_varieties(posterior, varieties),
        *_lots(posterior, lots),
    )
    weight = np.empty(len(fit.weight))
    weight[posterior.problem.order] = fit.weight
    return Diagnosis(findings, r_hat, effective, weight)


# --- the arithmetic -----------------------------------------------------------------------------


def _chains(r_hat: float, effective: float) -> list[Finding]:
    found = []
    if r_hat > R_HAT_LIMIT:
        found.append(
            Finding(
                Kind.CHAINS,
                f"groups of chains still differ (R-hat {r_hat:.3f}, {R_HAT_LIMIT} is asked): "
                "another run may give other chances",
            )
        )
    if effective < COEFFICIENTS["fewest_effective"]:
        found.append(
            Finding(Kind.CHAINS, f"the chains are worth only {effective:,.0f} independent draws")
        )
    return found


# --- the certificates ---------------------------------------------------------------------------


@dataclass(frozen=True)
class _Fit:
    """How the states of the pool meet the results: `weight` [result] of each, on average.

    `expected` [substance, result] is what each would read by the others alone.
    """

    weight: Array
    expected: Array

    @classmethod
    def of(cls, posterior: Posterior) -> _Fit:
        """The fit of a posterior."""
        value, found = _misfit(posterior)
        # leaving a result out weights each state by the inverse of its likelihood
        without = -found.log_likelihood
        weight = np.exp(without - without.max(axis=1, keepdims=True))
        expected = (value * weight).sum(axis=-1) / weight.sum(axis=1)
        return cls(found.weight.mean(axis=1), np.exp(expected))


def _misfit(posterior: Posterior) -> tuple[Array, Misfit]:
    """Log predictions of the pool for its results, and how badly they miss them."""
    model, (state, held) = posterior.model, posterior.pool
    rows = held.row[model.results.lot]
    pooled: Pooled = posterior.problem.evenness.pooled(model.results, rows, held.off_types)
    expected = model.expected(state)
    return expected.value + pooled.shift, model.misfit(expected, pooled)


def _certificates(posterior: Posterior, fit: _Fit, lots: Sequence[str]) -> list[Finding]:
    problem = posterior.problem
    found = []
    for result in np.flatnonzero(fit.weight < COEFFICIENTS["distrusted_weight"]).tolist():
        test = int(problem.order[result])
        lot = int(problem.lots[posterior.model.results.lot[result]])
        text = (
            f"a certificate of {lots[lot]} by {problem.tests[test].laboratory} is distrusted and "
            f"counts {fit.weight[result]:.2f} of an ordinary one: "
        )
        text += _miss(posterior, fit, result)
        found.append(Finding(Kind.CERTIFICATE, text, lot, test))
    return found


def _miss(posterior: Posterior, fit: _Fit, result: int) -> str:
    """How a result differs from what the other results lead to expect."""
    results = posterior.model.results
    told = results.seen[:, result] | results.below[:, result]
    found, expected = np.exp(results.value[:, result]), fit.expected[:, result]
    misses = [
        f"it reads {_percent(found[one])} {name} where all else leads to expect "
        f"{_percent(expected[one])}"
        for one, name in ((THC, "THC"), (CBD, "CBD"))
        if told[one]
    ]
    return " and ".join(misses)


def _laboratories(posterior: Posterior) -> list[Finding]:
    """Pairs of laboratories whose results pull apart."""
    results = posterior.model.results
    bias = posterior.model.laboratory_bias(posterior.pool.state)
    found = []
    for first in range(len(results.laboratories)):
        for second in range(first + 1, len(results.laboratories)):
            for substance, name in ((CBD, "CBD"), (THC, "THC")):
                gap = bias[substance, first] - bias[substance, second]
                stated = np.sqrt(2.0) * results.between[substance].mean()
                if abs(gap.mean()) > COEFFICIENTS["apart"] * stated:
                    high, low = (first, second) if gap.mean() > 0.0 else (second, first)
                    names = results.laboratories
                    more = np.exp(abs(gap.mean())) - 1.0
                    text = f"{names[high]} reads {more:.0%} more {name} than {names[low]}"
                    found.append(Finding(Kind.LABORATORY, f"{text}: the two pull apart"))
    return found


# --- the model ----------------------------------------------------------------------------------


def _varieties(posterior: Posterior, varieties: Sequence[str]) -> list[Finding]:
    """Varieties that the tests put where they were hardly thought to be."""
    problem = posterior.problem
    conflict, limit = prior_conflict(posterior.pool.state.variety), _limit(posterior)
    found = []
    for place, variety in enumerate(problem.varieties):
        for number, parameter in enumerate((*PARAMETERS, "flower")):
            distance = conflict[place, number]
            if abs(distance) > limit:
                what = _QUANTITIES.get(parameter, "when its lots flowered")
                text = (
                    f"the tests put {varieties[variety]} {abs(distance):.1f} standard deviations "
                    f"from what was known of {what}: is the variety what its label says?"
                )
                found.append(Finding(Kind.PRIOR, text))
    return found


def _lots(posterior: Posterior, lots: Sequence[str]) -> list[Finding]:
    """Lots that the tests put far from their variety, or from when they were thought to flower."""
    problem = posterior.problem
    conflict = prior_conflict(posterior.pool.state.lot)
    what = (
        "in CBD from its variety",
        "in its CBD to THC ratio from its variety",
        "from when it was thought to flower",
    )
    found = []
    for place, number in np.argwhere(np.abs(conflict) > _limit(posterior)):
        lot = int(problem.lots[place])
        text = (
            f"the tests put {lots[lot]} {abs(conflict[place, number]):.1f} standard deviations "
            f"{what[number]}"
        )
        found.append(Finding(Kind.PRIOR, text, lot))
    return found


def _limit(posterior: Posterior) -> float:
    """How far is too far, for as many quantities as this farm's forecast judges."""
    state = posterior.pool.state
    return conflict_limit(state.variety[..., 0].size + state.lot[..., 0].size)


def conflict_limit(judged: int) -> float:
    """Distance at which a farm is told that tests and prior are in conflict.

    Parameters
    ----------
    judged : quantities looked at on the farm

    Returns
    -------
    standard deviations [1]

    Equation: Phi^-1(1 - a / (2 n)), a the share of sound farms that may be told so by chance.

    Source: Bonferroni's bound; `false_alarm`.
    """
    return float(-ndtri(COEFFICIENTS["false_alarm"] / (2.0 * judged)))


def prior_conflict(states: Array) -> Array:
    """How far the tests put coordinates from where they were thought to be.

    Parameters
    ----------
    states : coordinates whose priors are standard normal [..., state], given the tests

    Returns
    -------
    standard deviations [1], [...]; 0 where the tests say too little

    Equation: m / sqrt(1 - v), m and v the mean and variance given the tests: before the tests, m
    has the variance 1 - v.

    Source: law of total variance; the idea of Evans & Moshonov 2006, Bayesian Analysis 1:893, to
    judge a prior by where the data put what they determine (from memory). Exact for normal laws.
    """
    taken = np.clip(1.0 - states.var(axis=-1), 0.0, 1.0)
    mean = states.mean(axis=-1)
    telling = taken > COEFFICIENTS["telling"]
    return np.divide(mean, np.sqrt(taken), out=np.zeros_like(mean), where=telling)


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"
