"""Draws of every lot's potency curves, and the curves themselves.

Each draw of a lot is one vector of seven curve parameters on scales where its law is normal. Lots
of one variety share what belongs to variety, site and season and add their own, so the law of a
variety's lots is one normal law, which `update` conditions on test results.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole.farm import Stock
from tierpole.potency.curves import cbd_course, thc_course, thc_peak
from tierpole.potency.prior import COEFFICIENTS, STOCK_PRIOR, PotencyPrior

Array = NDArray[np.float64]

PARAMETERS = (
    "log_plateau",
    "log_ratio",
    "peak_day",
    "steepest",
    "log_rate",
    "midpoint_shift",
    "log_fall",
)
"""Last axis of the normal law: plateau, ratio, rate and fall as logarithms, `midpoint_shift` [d]
counted from the usual share of the peak day."""


# middle and half width of the bounds of `steepest`, which bend its normal law without a corner
_MIDDLE = (COEFFICIENTS["steepest_most"] + COEFFICIENTS["steepest_least"]) / 2.0
_REACH = (COEFFICIENTS["steepest_most"] - COEFFICIENTS["steepest_least"]) / 2.0


@dataclass(frozen=True)
class Curves:
    """Parameters of CBD and THC curves, arrays of one shape; see `curves` for each."""

    cbd_plateau: Array
    cbd_to_thc: Array
    peak_day: Array
    steepest: Array
    rate: Array
    midpoint: Array
    fall: Array

    @classmethod
    def of(cls, normal: Array) -> Curves:
        """The curves of parameters on their normal scales, [..., parameter]."""
        plateau, ratio, peak, steepest, rate, shift, fall = np.moveaxis(normal, -1, 0)
        peak_day = np.maximum(peak, COEFFICIENTS["peak_day_least"])
        return cls(
            cbd_plateau=np.exp(plateau),
            cbd_to_thc=np.exp(ratio),
            peak_day=peak_day,
            steepest=_MIDDLE + _REACH * np.tanh((steepest - _MIDDLE) / _REACH),
            rate=np.exp(rate),
            midpoint=COEFFICIENTS["midpoint"] * peak_day + shift,
            fall=np.exp(fall),
        )

    @property
    def thc_peak(self) -> Array:
        """Highest total THC [share of dry weight]."""
        return np.asarray(thc_peak(self.cbd_plateau, self.cbd_to_thc))

    @property
    def power(self) -> Array:
        """The exponent of the THC curve that belongs to its steepest day."""
        return 1.0 / (1.0 - self.steepest)

    @property
    def steepest_rise(self) -> Array:
        """How `steepest` rises with its normal scale: 1 in the middle, less towards its bounds."""
        return 1.0 - ((self.steepest - _MIDDLE) / _REACH) ** 2

    def cbd(self, days_flowering: Array) -> Array:
        """Total CBD [share of dry weight] at days since initiation, same shape."""
        return cbd_course(days_flowering, self.cbd_plateau, self.rate, self.midpoint)

    def thc(self, days_flowering: Array) -> Array:
        """Total THC [share of dry weight] at days since initiation, same shape."""
        return thc_course(days_flowering, self.thc_peak, self.peak_day, self.steepest, self.fall)


@dataclass(frozen=True)
class PotencyLots:
    """What the potency of lots depends on, [lot]: index of the variety, stock and `thc_factor`.

    `thc_factor` is the lot's THC at its peak over that usual for the variety, where it is known.
    """

    variety: NDArray[np.intp]
    stock: tuple[Stock, ...]
    thc_factor: Array


@dataclass(frozen=True)
class PotencyLaw:
    """Normal law of the curve parameters: mean, spread shared by a variety, spread of the lot.

    `variety` is [lot], the rest [lot, parameter].
    """

    variety: NDArray[np.intp]
    mean: Array
    shared_sd: Array
    lot_sd: Array


@dataclass(frozen=True)
class PotencyDraws:
    """Draws of the potency of every lot.

    `normal` [draw, lot, parameter] are the curve parameters; `plant_cv` between plants,
    `off_type_share` of plants and `off_type_multiple` (their THC over a true plant's),
    `top_to_plant` and `top_to_flower` (potency of the sampled top over threshed biomass and over
    all flower) are [draw, lot]. The curves are those of true-to-type plants.
    """

    law: PotencyLaw
    normal: Array
    plant_cv: Array
    off_type_share: Array
    off_type_multiple: Array
    top_to_plant: Array
    top_to_flower: Array

    @property
    def curves(self) -> Curves:
        """The curve parameters, each [draw, lot]."""
        return Curves.of(self.normal)


def potency_law(priors: Sequence[PotencyPrior], lots: PotencyLots) -> PotencyLaw:
    """The law of the curve parameters of lots, given what is known of each variety [variety]."""
    mean = np.array([prior_mean(prior) for prior in priors])[lots.variety]
    mean[:, PARAMETERS.index("log_ratio")] -= np.log(lots.thc_factor)
    lot_sd = np.zeros_like(mean)
    for lot, stock in enumerate(lots.stock):
        own = STOCK_PRIOR[stock]
        lot_sd[lot, :2] = own.lot_plateau_sd, own.lot_ratio_sd
    shared_sd = np.array([_shared_sd(prior) for prior in priors])[lots.variety]
    return PotencyLaw(lots.variety, mean, shared_sd, lot_sd)


def draw_potency(
    priors: Sequence[PotencyPrior], lots: PotencyLots, draws: int, rng: np.random.Generator
) -> PotencyDraws:
    """Draws of every lot's potency before any test, from what is known of each variety."""
    law = potency_law(priors, lots)
    shape = (draws, lots.variety.size)
    shared = rng.standard_normal((draws, len(priors), len(PARAMETERS)))[:, lots.variety]
    own = rng.standard_normal((*shape, len(PARAMETERS)))
    normal = law.mean + law.shared_sd * shared + law.lot_sd * own
    # over the usual peak of the variety: what an off-type holds tells nothing of a draw's curve
    usual_peak = Curves.of(law.mean).thc_peak
    low, high = COEFFICIENTS["off_type_thc_low"], COEFFICIENTS["off_type_thc_high"]
    plant_cv = np.array([STOCK_PRIOR[stock].plant_cv for stock in lots.stock])
    return PotencyDraws(
        law=law,
        normal=normal,
        plant_cv=plant_cv * _spread("plant_cv_sd", shape, rng),
        off_type_share=_off_type_share(lots.stock, draws, rng),
        off_type_multiple=rng.uniform(low, high, shape) / usual_peak,
        top_to_plant=COEFFICIENTS["top_to_plant"] * _spread("top_to_plant_sd", shape, rng),
        top_to_flower=COEFFICIENTS["top_to_flower"] * _spread("top_to_flower_sd", shape, rng),
    )


def curves(
    draws: PotencyDraws, flower_day: Array, days: Array
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Total CBD and total THC of true-to-type plants [share], each [draw, lot, day].

    `flower_day` is [draw, lot]; `days` [day] is any window of the season axis.
    """
    shape = (*flower_day.shape, days.size)
    cbd, thc = np.empty(shape, np.float32), np.empty(shape, np.float32)
    for lot in range(flower_day.shape[1]):  # lot by lot, to stay in the processor's cache
        of_lot = Curves.of(draws.normal[:, lot, None, :])
        days_flowering = days - flower_day[:, lot, None]
        cbd[:, lot] = of_lot.cbd(days_flowering)
        thc[:, lot] = of_lot.thc(days_flowering)
    return cbd, thc


def prior_mean(prior: PotencyPrior) -> tuple[float, ...]:
    """Middle of a variety's law on the scales of `PARAMETERS`."""
    return (
        np.log(prior.cbd_plateau),
        np.log(prior.cbd_to_thc),
        prior.peak_day,
        prior.steepest,
        np.log(prior.rate),
        (prior.midpoint - COEFFICIENTS["midpoint"]) * prior.peak_day,
        np.log(prior.fall),
    )


def _shared_sd(prior: PotencyPrior) -> tuple[float, ...]:
    plateau = (prior.cbd_plateau_sd, prior.site_plateau_sd, prior.season_plateau_sd)
    return (
        float(np.linalg.norm(plateau)),
        float(np.hypot(prior.cbd_to_thc_sd, prior.season_ratio_sd)),
        prior.peak_day_sd,
        prior.steepest_sd,
        prior.rate_sd,
        prior.midpoint_sd,
        prior.fall_sd,
    )


def _off_type_share(stock: tuple[Stock, ...], draws: int, rng: np.random.Generator) -> Array:
    laws = [STOCK_PRIOR[of_lot].off_type for of_lot in stock]
    columns = [np.zeros(draws) if law is None else rng.beta(*law, draws) for law in laws]
    return np.column_stack(columns)


def _spread(name: str, shape: tuple[int, ...], rng: np.random.Generator) -> Array:
    return np.exp(COEFFICIENTS[name] * rng.standard_normal(shape))
