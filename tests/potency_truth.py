"""Farms whose truth is known: lots, laboratories and certificates drawn plant by plant.

Written apart from the forecast: plain loops over lots, certificates and single plants, with the
public curve formulas and nothing else of it. `Alternative` bends the truth away from the model.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tierpole import potency
from tierpole.farm import Stock
from tierpole.potency import prior as prior_table
from tierpole.potency import sampling

PRIOR, SAMPLING = prior_table.COEFFICIENTS, sampling.COEFFICIENTS
FLOWER = 130.0  # usual flower day of the first variety; the next ones are 12 days later each
FLOWER_SHARED_SD, FLOWER_OWN_SD = 2.5, 3.1
QUANTIFIED = 0.0001  # share of dry weight below which a certificate only says "below"


@dataclass(frozen=True)
class Planned:
    """A certificate to be drawn: of which lot, how long after the usual flower day, by whom."""

    lot: int
    tau: float
    plants: int = 3
    laboratory: str = "north"


@dataclass(frozen=True)
class Alternative:
    """How a truth differs from the model.

    `thc_curve` (days, peak, peak day, steepest, fall) replaces the curve of THC; `ratio_drift`
    [1/d] lets CBD:THC drift about 42 days; `laboratory_error` multiplies both errors of
    laboratories; `late` [d] moves the true flower days of all lots; `mislabelled` holds varieties
    whose lots are of another kind, with the multiple of their THC.
    """

    thc_curve: Callable[..., np.ndarray] = potency.thc_course
    ratio_drift: float = 0.0
    laboratory_error: float = 1.0
    late: float = 0.0
    mislabelled: dict[int, float] = field(default_factory=dict)


AS_THE_MODEL = Alternative()
USUAL = potency.PotencyPrior()


@dataclass(frozen=True)
class Lot:
    """The truth of one lot; `draw_curves` are scalars as in `potency.Curves`."""

    variety: int
    flower_day: float
    curves: potency.Curves
    plant_cv: float
    off_type_share: float
    off_type_multiple: float
    alternative: Alternative

    def cbd(self, day: float) -> float:
        """Total CBD of true-to-type plants on a day."""
        c = self.curves
        since = np.array(day - self.flower_day)
        return float(potency.cbd_course(since, c.cbd_plateau, c.rate, c.midpoint))

    def thc(self, day: float) -> float:
        """Total THC of true-to-type plants on a day."""
        c, other = self.curves, self.alternative
        since = np.array(day - self.flower_day)
        thc = other.thc_curve(since, c.thc_peak, c.peak_day, c.steepest, c.fall)
        thc = thc * np.exp(-other.ratio_drift * (since - 42.0))
        return float(thc * other.mislabelled.get(self.variety, 1.0))


@dataclass(frozen=True)
class Farm:
    """What is known before any test, the truth, and certificates drawn from it: those that the
    forecast is told of, and `later` ones that nobody has seen."""

    draws: potency.PotencyDraws
    flower_day: np.ndarray
    lots: tuple[Lot, ...]
    tests: tuple[potency.PotencyTest, ...]
    later: tuple[potency.PotencyTest, ...]

    def usual_day(self, lot: int, tau: float) -> float:
        """The day so long after the usual flower day of a lot."""
        return FLOWER + 12.0 * self.lots[lot].variety + tau


def draw_farm(
    rng: np.random.Generator,
    variety: tuple[int, ...],
    planned: tuple[Planned, ...],
    stock: Stock = Stock.CLONE,
    draws: int = 500,
    alternative: Alternative = AS_THE_MODEL,
    later: tuple[Planned, ...] = (),
    assumed: potency.PotencyPrior = USUAL,
) -> Farm:
    """A farm whose truth follows the model with its usual prior, but for the `alternative`;
    what is `assumed` before any test may be another prior."""
    index = np.array(variety)
    lots = potency.PotencyLots(index, (stock,) * len(variety), np.ones(len(variety)))
    before = potency.draw_potency([assumed] * (max(variety) + 1), lots, draws, rng)
    flower = FLOWER + 12.0 * index
    shared = rng.normal(0.0, FLOWER_SHARED_SD, (draws, max(variety) + 1))[:, index]
    flower_day = flower + shared + rng.normal(0.0, FLOWER_OWN_SD, (draws, len(variety)))
    truth = _lots(rng, variety, stock, USUAL, alternative)
    tests = _certificates(rng, truth, (*planned, *later), alternative)
    return Farm(before, flower_day, truth, tests[: len(planned)], tests[len(planned) :])


def _factor(rng: np.random.Generator, unsure: float) -> float:
    """A spread over that stated: lognormal, of mean square one."""
    return float(np.exp(unsure * rng.standard_normal() - unsure**2))


def _lots(
    rng: np.random.Generator,
    variety: tuple[int, ...],
    stock: Stock,
    prior: potency.PotencyPrior,
    alternative: Alternative,
) -> tuple[Lot, ...]:
    own = potency.STOCK_PRIOR[stock]
    unsure = PRIOR["lot_sd_spread"]
    plateau_sd = own.lot_plateau_sd * _factor(rng, unsure)
    ratio_sd = own.lot_ratio_sd * _factor(rng, unsure)
    kinds = [_variety(rng, prior) for _ in range(max(variety) + 1)]
    lots = []
    for number in variety:
        kind, flower_shared = kinds[number]
        normal = kind.copy()
        normal[0] += plateau_sd * rng.standard_normal()
        normal[1] += ratio_sd * rng.standard_normal()
        curves = potency.Curves.of(normal)
        off_types = own.off_type is not None
        low, high = PRIOR["off_type_thc_low"], PRIOR["off_type_thc_high"]
        lots.append(
            Lot(
                variety=number,
                flower_day=FLOWER + 12.0 * number + alternative.late + flower_shared
                + rng.normal(0.0, FLOWER_OWN_SD),
                curves=curves,
                plant_cv=own.plant_cv * np.exp(PRIOR["plant_cv_sd"] * rng.standard_normal()),
                off_type_share=rng.beta(*own.off_type) if off_types else 0.0,
                off_type_multiple=rng.uniform(low, high) * prior.cbd_to_thc / prior.cbd_plateau,
                alternative=alternative,
            )
        )  # fmt: skip
    return tuple(lots)


def _variety(rng: np.random.Generator, prior: potency.PotencyPrior) -> tuple[np.ndarray, float]:
    """Curve parameters on their normal scales, and what its flower days share."""
    level = np.sqrt(prior.cbd_plateau_sd**2 + prior.site_plateau_sd**2 + prior.season_plateau_sd**2)
    ratio = np.hypot(prior.cbd_to_thc_sd, prior.season_ratio_sd)
    normal = np.array(
        [
            rng.normal(np.log(prior.cbd_plateau), level),
            rng.normal(np.log(prior.cbd_to_thc), ratio),
            rng.normal(prior.peak_day, prior.peak_day_sd),
            rng.normal(prior.steepest, prior.steepest_sd),
            rng.normal(np.log(prior.rate), prior.rate_sd),
            rng.normal(0.0, prior.midpoint_sd),
            rng.normal(np.log(prior.fall), prior.fall_sd),
        ]
    )
    return normal, float(rng.normal(0.0, FLOWER_SHARED_SD))


def _certificates(
    rng: np.random.Generator,
    lots: tuple[Lot, ...],
    planned: tuple[Planned, ...],
    alternative: Alternative,
) -> tuple[potency.PotencyTest, ...]:
    more = alternative.laboratory_error
    names = sorted({plan.laboratory for plan in planned})
    bias = {name: np.zeros(2) for name in names}
    within = np.zeros(2)
    for substance, stated in enumerate((potency.PRECISION_CBD, potency.PRECISION_THC)):
        within[substance] = (
            more * stated.repeatability * _factor(rng, SAMPLING["repeatability_spread"])
        )
        between = more * stated.between_labs * _factor(rng, SAMPLING["between_labs_spread"])
        for name in names:
            bias[name][substance] = rng.normal(0.0, between)
    return tuple(_certificate(rng, lots, plan, bias[plan.laboratory], within) for plan in planned)


def _certificate(
    rng: np.random.Generator,
    lots: tuple[Lot, ...],
    plan: Planned,
    bias: np.ndarray,
    within: np.ndarray,
) -> potency.PotencyTest:
    """One composite, plant by plant, tested once."""
    lot = lots[plan.lot]
    day = FLOWER + 12.0 * lot.variety + plan.tau
    variance = np.log1p(lot.plant_cv**2)
    together = SAMPLING["plant_correlation"]
    cover = variance * np.array([[1.0, together], [together, 1.0]])
    plants = np.exp(rng.multivariate_normal([-variance / 2] * 2, cover, plan.plants))
    plants[:, 1] *= np.where(
        rng.random(plan.plants) < lot.off_type_share, lot.off_type_multiple, 1.0
    )
    truth = np.array([lot.cbd(day), max(lot.thc(day), 1e-9)])
    spread = np.hypot(within, SAMPLING["reading_error"] / truth)
    freedom = SAMPLING["tail_df"]
    tail = np.sqrt((freedom - 2.0) / rng.chisquare(freedom))
    read = truth * plants.mean(axis=0) * np.exp(bias + tail * spread * rng.standard_normal(2))
    printed, below = np.maximum(read, QUANTIFIED), read < QUANTIFIED
    return potency.PotencyTest(
        plan.lot, day, plan.plants, plan.laboratory,
        cbd=float(printed[0]), thc=float(printed[1]),
        cbd_below=bool(below[0]), thc_below=bool(below[1]),
    )  # fmt: skip
