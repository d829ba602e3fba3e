"""What is known of a crop before it is seen, and draws from it.

A value the farm states replaces the middle of its kind, a stated `_sd` its spread; what is left
out keeps the wide spread of its kind. Draws of one variety share what belongs to the variety and
to the year; each lot adds its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole.crop.losses import LossDraws
from tierpole.crop.phenology import FloweringDraws
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Response, Stock, Variety

Array = NDArray[np.float64]

_CALENDAR = "dates of initiation at 25-45 °N against chamber delays of Zhang et al. 2021"
_GUESS = "no measurement found; replaced by the farm's own seasons"

COEFFICIENTS = Table(
    "Crop priors",
    (
        Value("critical", 14.5, "h", Mark.INFERENCE, f"middle of early to late; {_CALENDAR}"),
        Value("critical_sd_unknown", 0.4, "h", Mark.INFERENCE, "early 15.0 h to late 14.0 h"),
        Value("critical_sd", 0.15, "h", Mark.INFERENCE, "between varieties of one class"),
        Value(
            "slope",
            0.20,
            "h",
            Mark.INFERENCE,
            "0.15 h fits the chambers, 0.30 h field dates of seeded plants",
            low=0.15,
            high=0.35,
        ),
        Value("slope_log_sd", 0.35, "1", Mark.INFERENCE, "chamber 0.15 h to field 0.30 h"),
        Value("inductive_days", 11.0, "d", Mark.INFERENCE, f"at full rate; {_CALENDAR}"),
        Value("inductive_log_sd", 0.30, "1", Mark.INFERENCE, f"at full rate; {_CALENDAR}"),
        Value(
            "inductive_days_neutral",
            30.0,
            "d",
            Mark.INFERENCE,
            "first pistils of day-neutral types 25-35 d from emergence (from memory)",
        ),
        Value("inductive_log_sd_neutral", 0.13, "1", Mark.INFERENCE, "4 d in 30 d"),
        Value("lag", 4.0, "d", Mark.INFERENCE, "from induction to initiation"),
        Value("lag_sd", 1.5, "d", Mark.INFERENCE, "from induction to initiation"),
        Value("year_sd", 2.5, "d", Mark.INFERENCE, "residual shared by a variety in a year"),
        Value("lot_sd", 3.1, "d", Mark.INFERENCE, "residual of a lot; with the year's 4 d"),
        Value("plant_spread_clone", 2.5, "d", Mark.INFERENCE, _GUESS, low=2.0, high=3.0),
        Value(
            "plant_spread_seed",
            6.5,
            "d",
            Mark.COMPUTED,
            "seeded plots at Homestead FL 2019, repository TREC-Agroecology/hemp: 10 to 90 % of "
            "plants in 12 to 31 d",
            low=5.0,
            high=8.0,
        ),
        Value(
            "sighting_error",
            2.0,
            "d",
            Mark.INFERENCE,
            "judging by eye whether a plant has begun to flower; its pistils open 7-10 d later",
        ),
        Value("mass_log_sd", 0.35, "1", Mark.INFERENCE, "of a lot's mean mass a plant"),
        Value("mass_variance_shared", 0.5, "share", Mark.INFERENCE, "of it, the season's"),
        Value("frost_half", -3.611, "°C", Mark.INFERENCE, "25.5 °F; bands of UVM Extension 2019"),
        Value("frost_half_sd", 5 / 9, "°C", Mark.INFERENCE, "1 °F"),
        Value("frost_most", 0.30, "share", Mark.INFERENCE, _GUESS, low=0.1, high=0.6),
        Value("frost_most_weight", 7.0, "1", Mark.INFERENCE, "sum of the beta law's parameters"),
        Value("mould_rate", 0.010, "1/d", Mark.INFERENCE, _GUESS),
        Value("mould_rate_log_sd", 0.8, "1", Mark.INFERENCE, _GUESS),
        Value("mould_growth_low", 0.05, "1/d", Mark.INFERENCE, "spread of old rot when wet"),
        Value("mould_growth_high", 0.15, "1/d", Mark.INFERENCE, "spread of old rot when wet"),
        Value("flight_chance", 0.3, "chance", Mark.INFERENCE, "of a year with many moths"),
        Value("flight_loss", 0.08, "share", Mark.INFERENCE, _GUESS, low=0.02, high=0.20),
        Value("flight_loss_weight", 20.0, "1", Mark.INFERENCE, "sum of the beta law's parameters"),
        Value("light_loss_most", 0.02, "share", Mark.INFERENCE, "in a year with few moths"),
        Value(
            "shatter_rate",
            0.003,
            "1/d",
            Mark.INFERENCE,
            "1 % of the leaf a day, leaf being under a third of what is threshed",
        ),
        Value("shatter_log_sd", 0.5, "1", Mark.INFERENCE, _GUESS),
    ),
)

PLANT_SPREAD = {
    Stock.CLONE: COEFFICIENTS["plant_spread_clone"],
    Stock.SEED: COEFFICIENTS["plant_spread_seed"],
}
"""Standard deviation of initiation between the plants of a lot [d], by planting stock."""


@dataclass(frozen=True)
class FloweringPrior:
    """Middle and spread of what decides a variety's flowering; `_log_sd` of a lognormal law."""

    critical: float
    critical_sd: float
    inductive_days: float
    inductive_log_sd: float
    slope: float = COEFFICIENTS["slope"]
    slope_log_sd: float = COEFFICIENTS["slope_log_sd"]
    lag: float = COEFFICIENTS["lag"]
    lag_sd: float = COEFFICIENTS["lag_sd"]
    year_sd: float = COEFFICIENTS["year_sd"]
    lot_sd: float = COEFFICIENTS["lot_sd"]


def flowering_prior(variety: Variety) -> FloweringPrior:
    """What is known of a variety's flowering from its kind and from what the farm states."""
    if variety.response == Response.DAY_NEUTRAL:
        return FloweringPrior(
            critical=np.inf,
            critical_sd=0.0,
            inductive_days=_stated(variety.inductive_days, "inductive_days_neutral"),
            inductive_log_sd=COEFFICIENTS["inductive_log_sd_neutral"],
            lag=0.0,  # its days are counted to the first pistils
            lag_sd=0.0,
        )
    kind = "critical_sd_unknown" if variety.critical_day_length is None else "critical_sd"
    critical_sd = _stated(variety.critical_day_length_sd, kind)
    # A critical day length known better than its class was learnt from dates, and those dates
    # bind slope and inductive days as much: the three are known together.
    tied = min(1.0, critical_sd / COEFFICIENTS["critical_sd"])
    return FloweringPrior(
        critical=_stated(variety.critical_day_length, "critical"),
        critical_sd=critical_sd,
        inductive_days=_stated(variety.inductive_days, "inductive_days"),
        inductive_log_sd=tied * COEFFICIENTS["inductive_log_sd"],
        slope_log_sd=tied * COEFFICIENTS["slope_log_sd"],
    )


def draw_flowering(
    priors: Sequence[FloweringPrior],
    variety_of_lot: NDArray[np.intp],
    draws: int,
    rng: np.random.Generator,
) -> FloweringDraws:
    """Draws [draw, lot] of what decides flowering, from the priors of the varieties."""

    def column(name: str) -> Array:
        return np.array([getattr(prior, name) for prior in priors])

    # one standard normal for each variety: critical, slope, inductive days, lag, year
    shared = rng.standard_normal((5, draws, len(priors)))
    own = rng.standard_normal((draws, variety_of_lot.size))
    critical = column("critical") + column("critical_sd") * shared[0]
    slope = _lognormal(column("slope"), column("slope_log_sd"), shared[1])
    needed = _lognormal(column("inductive_days"), column("inductive_log_sd"), shared[2])
    lag = column("lag") + column("lag_sd") * shared[3] + column("year_sd") * shared[4]
    of_lot = variety_of_lot
    return FloweringDraws(
        critical[:, of_lot],
        slope[:, of_lot],
        needed[:, of_lot],
        lag[:, of_lot] + column("lot_sd")[of_lot] * own,
    )


def draw_mass(
    mass_median: Array,
    draws: int,
    rng: np.random.Generator,
    log_sd: Array | float = COEFFICIENTS["mass_log_sd"],
) -> Array:
    """Draws [draw, lot] of the dry threshed mass of a plant at its plateau [kg/plant].

    `mass_median` [kg/plant] and `log_sd` [-] are what is expected of each lot, [lot]. Half of the
    variance is the season's and shared by all lots, which is what makes a bad year bad.
    """
    shared = rng.standard_normal((draws, 1))
    own = rng.standard_normal((draws, mass_median.size))
    weight = COEFFICIENTS["mass_variance_shared"]
    standard = np.sqrt(weight) * shared + np.sqrt(1.0 - weight) * own
    return _lognormal(mass_median, log_sd, standard)


def draw_losses(draws: int, rng: np.random.Generator) -> LossDraws:
    """Draws [draw] of what decides the field losses of a season."""
    flight = rng.random(draws) < COEFFICIENTS["flight_chance"]
    heavy = _beta("flight_loss", draws, rng)
    light = rng.uniform(0.0, COEFFICIENTS["light_loss_most"], draws)
    growth = (COEFFICIENTS["mould_growth_low"], COEFFICIENTS["mould_growth_high"])
    return LossDraws(
        frost_half=rng.normal(COEFFICIENTS["frost_half"], COEFFICIENTS["frost_half_sd"], draws),
        frost_most=_beta("frost_most", draws, rng),
        mould_rate=_lognormal(
            COEFFICIENTS["mould_rate"],
            COEFFICIENTS["mould_rate_log_sd"],
            rng.standard_normal(draws),
        ),
        mould_growth=rng.uniform(*growth, draws),
        caterpillar_loss=np.where(flight, heavy, light),
        shatter_rate=_lognormal(
            COEFFICIENTS["shatter_rate"],
            COEFFICIENTS["shatter_log_sd"],
            rng.standard_normal(draws),
        ),
    )


def _stated(value: float | None, default: str) -> float:
    return COEFFICIENTS[default] if value is None else value


def _lognormal(median: Array | float, log_sd: Array | float, standard: Array) -> Array:
    return median * np.exp(log_sd * standard)


def _beta(name: str, draws: int, rng: np.random.Generator) -> Array:
    mean, weight = COEFFICIENTS[name], COEFFICIENTS[f"{name}_weight"]
    return rng.beta(mean * weight, (1.0 - mean) * weight, draws)
