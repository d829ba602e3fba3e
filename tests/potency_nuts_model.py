"""The forecast's model in NumPyro, written anew from its description: see `tierpole.potency.model`.

For clones tested as standing tops with both totals reported, whose flower days are as
`potency_truth` draws them.
"""

from __future__ import annotations

from typing import NamedTuple

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
from numpyro import distributions as dist

import potency_truth as truth
from tierpole import potency
from tierpole.farm import Stock
from tierpole.potency.prior import COEFFICIENTS as PRIOR
from tierpole.potency.sampling import COEFFICIENTS as SAMPLING

STATED = (potency.PRECISION_CBD, potency.PRECISION_THC)


class Curves(NamedTuple):
    """Curve parameters and flower days of the lots."""

    plateau: jax.Array
    ratio: jax.Array
    peak_day: jax.Array
    steepest: jax.Array
    rate: jax.Array
    shift: jax.Array
    fall: jax.Array
    flower: jax.Array

    def log_cbd(self, lot: np.ndarray | int, day: np.ndarray) -> jax.Array:
        """Log total CBD of lots on days."""
        midpoint = PRIOR["midpoint"] * self.peak_day[lot] + self.shift[lot]
        ahead = jnp.exp(self.rate[lot]) * (midpoint - day + self.flower[lot])
        return self.plateau[lot] - jnp.log1p(jnp.exp(ahead))

    def log_thc(self, lot: np.ndarray | int, day: np.ndarray) -> jax.Array:
        """Log total THC of lots on days."""
        since = day - self.flower[lot]
        power = 1.0 / (1.0 - self.steepest[lot])
        reached = jnp.clip(since / self.peak_day[lot], 1e-6, 1.0)
        past = jnp.maximum(since - self.peak_day[lot], 0.0)
        rise = jnp.log(1.0 + (1.0 - reached) * power) + power * jnp.log(reached)
        return self.plateau[lot] - self.ratio[lot] + rise - jnp.exp(self.fall[lot]) * past


def usual_day(farm: truth.Farm, lot: np.ndarray | int) -> np.ndarray:
    """Usual flower day of lots."""
    return truth.FLOWER + 12.0 * farm.draws.law.variety[lot]


def model(farm: truth.Farm, seen: np.ndarray) -> None:
    """The model of a farm; `thc` [lot, seen] is log THC so many days after the usual flower day."""
    curves = _curves(farm)
    lot = np.array([test.lot for test in farm.tests])
    day = np.array([test.day for test in farm.tests])
    expected = jnp.stack([curves.log_cbd(lot, day), curves.log_thc(lot, day)], axis=-1)
    _certificates(farm, lot, expected)
    lots = np.arange(farm.draws.law.variety.size)
    thc = [curves.log_thc(lots, usual_day(farm, lots) + tau) for tau in seen]
    numpyro.deterministic("thc", jnp.stack(thc, axis=-1))


def _normal(name: str, *shape: int) -> jax.Array:
    return numpyro.sample(name, dist.Normal(0.0, 1.0).expand(shape).to_event(len(shape)))


def _factor(name: str, unsure: float) -> jax.Array:
    """Spreads of the two substances or parameters over those stated."""
    return jnp.exp(unsure * _normal(name, 2) - unsure**2)


def _curves(farm: truth.Farm) -> Curves:
    law = farm.draws.law
    variety, lots = law.variety, law.variety.size
    stray = _factor("stray", PRIOR["lot_sd_spread"])
    shared, own = _normal("shared", int(variety.max()) + 1, 7), _normal("own", lots, 2)
    parameters = law.mean + law.shared_sd * shared[variety]
    parameters = parameters.at[:, :2].add(law.lot_sd[:, :2] * stray * own)
    plateau, ratio, peak_day, steepest, rate, shift, fall = parameters.T
    middle = (PRIOR["steepest_most"] + PRIOR["steepest_least"]) / 2
    reach = (PRIOR["steepest_most"] - PRIOR["steepest_least"]) / 2
    steepest = middle + reach * jnp.tanh((steepest - middle) / reach)
    together = _normal("flower_shared", int(variety.max()) + 1)[variety]
    flower = usual_day(farm, np.arange(lots)) + truth.FLOWER_SHARED_SD * together
    flower = flower + truth.FLOWER_OWN_SD * _normal("flower_own", lots)
    return Curves(plateau, ratio, peak_day, steepest, rate, shift, fall, flower)


def _certificates(farm: truth.Farm, lot: np.ndarray, expected: jax.Array) -> None:
    names = sorted({test.laboratory for test in farm.tests})
    laboratory = np.array([names.index(test.laboratory) for test in farm.tests])
    value = np.log([[test.cbd, test.thc] for test in farm.tests])
    plants = np.array([test.plants for test in farm.tests])
    plant_cv = potency.STOCK_PRIOR[Stock.CLONE].plant_cv * jnp.exp(
        PRIOR["plant_cv_sd"] * _normal("plant_cv", farm.draws.law.variety.size)
    )
    scatter = jnp.log1p(plant_cv[lot] ** 2 / plants)[:, None]
    within = np.array([each.repeatability for each in STATED])
    within = within * _factor("within", SAMPLING["repeatability_spread"])
    between = np.array([each.between_labs for each in STATED])
    between = between * _factor("between", SAMPLING["between_labs_spread"])
    bias = between * _normal("bias", len(names), 2)
    own = within**2 + (SAMPLING["reading_error"] / np.exp(value)) ** 2
    together = SAMPLING["plant_correlation"] * (1 - np.eye(2)) + np.eye(2)
    cover = scatter[:, :, None] * together + own[:, :, None] * np.eye(2)
    freedom = SAMPLING["tail_df"]
    law = dist.MultivariateStudentT(
        freedom,
        expected + bias[laboratory] - scatter / 2,
        jnp.linalg.cholesky(cover * (freedom - 2) / freedom),
    )
    numpyro.sample("value", law, obs=value)
    numpyro.deterministic("log_within", jnp.log(within))
    numpyro.deterministic("laboratory", bias)
