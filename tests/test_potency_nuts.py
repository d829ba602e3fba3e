"""The forecast against NUTS of NumPyro on the same model, written anew in its language."""

import jax
import numpy as np
import numpyro
import pytest
from scipy.special import stdtr

import potency_nuts_model as nuts
import potency_truth as truth
from tierpole import potency

VARIETY = (0, 0, 1)
PLAN = tuple(
    truth.Planned(lot, tau, plants, laboratory)
    for lot in range(3)
    for tau, plants, laboratory in ((22.0, 2, "north"), (33.0, 4, "south"), (41.0, 3, "north"))
)
SEEN = np.array([25.0, 35.0, 45.0, 55.0])
ROOM = np.log(0.0034)  # what a certificate may print at the limit with the usual allowance


def by_nuts(farm):
    """Draws of NUTS: 4 chains of 600 after 500 to warm up."""
    kernel = numpyro.infer.NUTS(nuts.model, target_accept_prob=0.9)
    run = numpyro.infer.MCMC(
        kernel, num_warmup=500, num_samples=600, num_chains=4,
        chain_method="vectorized", progress_bar=False,
    )  # fmt: skip
    run.run(jax.random.PRNGKey(1), farm, SEEN)
    return {name: np.asarray(value, float) for name, value in run.get_samples().items()}


def log_thc(posterior, lot, usual_day):
    """Log THC of a lot in the pool's states [state, day seen]."""
    state = posterior.pool.state
    curves = potency.Curves.of(np.moveaxis(posterior.model.normal(state), 1, -1)[lot])
    flower = posterior.model.flower_day(state)[lot]
    return np.log(np.stack([curves.thc(usual_day + tau - flower) for tau in SEEN], axis=-1))


def p_pass(values):
    return stdtr(5.0, (ROOM - values) / 0.136 * np.sqrt(5 / 3)).mean(axis=0)


def test_forecast_against_nuts():
    """Three lots, nine certificates, two laboratories: mean, spread and chance to pass of each lot
    on four days, the repeatability learnt, and how far the laboratories are apart."""
    farm = truth.draw_farm(np.random.default_rng(3), VARIETY, PLAN, draws=4000)
    theirs = by_nuts(farm)
    four = theirs["thc"].reshape(4, -1, 3 * SEEN.size)
    between = four.mean(axis=1).var(axis=0, ddof=1)
    assert (np.sqrt(1 + between / four.var(axis=1).mean(axis=0)) < 1.02).all()  # NUTS itself agrees

    effort = potency.Effort(kept_sweeps=60, most_rounds=1)
    rng = np.random.default_rng(5)
    after = potency.update(farm.draws, farm.flower_day, farm.tests, rng, effort=effort)
    posterior = after.posterior
    for lot in range(3):
        exact, ours = theirs["thc"][:, lot], log_thc(posterior, lot, nuts.usual_day(farm, lot))
        sd = exact.std(axis=0)
        assert (np.abs(ours.mean(axis=0) - exact.mean(axis=0)) < 0.1 * sd).all()
        assert ours.std(axis=0) == pytest.approx(sd, rel=0.08)
        assert p_pass(ours) == pytest.approx(p_pass(exact), abs=0.02)
    state = posterior.pool.state
    stated = np.log([each.repeatability for each in nuts.STATED])
    within = stated + np.log(posterior.model.within(state)).mean(axis=1)
    assert within == pytest.approx(theirs["log_within"].mean(axis=0), abs=0.04)
    bias = posterior.model.laboratory_bias(state)[1]
    gap, their_gap = (
        bias[0] - bias[1],
        theirs["laboratory"][:, 0, 1] - theirs["laboratory"][:, 1, 1],
    )
    assert gap.mean() == pytest.approx(their_gap.mean(), abs=0.01)
    assert gap.std() == pytest.approx(their_gap.std(), rel=0.1)
