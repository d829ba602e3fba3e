"""What is known of a variety's potency before it is tested.

A value the farm states replaces the middle of its kind and a stated `_sd` its spread, for this
farm; what is left out keeps the wide spread of its kind. How far a lot strays from its variety,
and its plants from the lot, depends on the stock: cuttings of one plant, or seedlings.
"""

from __future__ import annotations

from dataclasses import dataclass

from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Response, Stock, Variety

_LEVEL = "total CBD of the official top, between the varieties of trials and trade reports"
_PEAK = "peak 6-7 weeks after anthesis (Yang et al. 2020, doi 10.1021/acs.jafc.0c01211), anthesis "
_RATIO = "20-30 to 1 in chemotype III (from memory), 19.8 at Homestead FL, BaOx at 0.3 % after 50 d"
_GUESS = "no measurement found; replaced by the farm's own seasons"

COEFFICIENTS = Table(
    "Potency priors",
    (
        Value("cbd_plateau", 0.092, "share", Mark.INFERENCE, _LEVEL),
        Value("cbd_plateau_sd", 0.25, "1", Mark.INFERENCE, f"log; {_LEVEL}"),
        Value("cbd_to_thc", 25.0, "1", Mark.INFERENCE, _RATIO),
        Value("cbd_to_thc_sd", 0.20, "1", Mark.INFERENCE, f"log, between varieties; {_RATIO}"),
        Value("peak_day", 58.0, "d", Mark.INFERENCE, f"{_PEAK}7-10 d after initiation"),
        Value("peak_day_neutral", 50.0, "d", Mark.INFERENCE, "day-neutral types run faster"),
        Value("peak_day_sd", 5.0, "d", Mark.INFERENCE, f"{_PEAK}7-10 d after initiation"),
        Value("peak_day_least", 14.0, "d", Mark.INFERENCE, "bound that keeps the curve defined"),
        Value(
            "steepest",
            0.48,
            "1",
            Mark.INFERENCE,
            "of the peak day; chosen so that BaOx passes 0.3 % after 50 d (Linder et al. 2022)",
        ),
        Value("steepest_sd", 0.05, "1", Mark.INFERENCE, _GUESS),
        Value("steepest_least", 0.35, "1", Mark.INFERENCE, "bounds of the prior"),
        Value("steepest_most", 0.62, "1", Mark.INFERENCE, "bounds of the prior"),
        Value("rate", 0.13, "1/d", Mark.INFERENCE, "of CBD; 95 % of the plateau at 49 d"),
        Value("rate_sd", 0.25, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value("midpoint", 0.45, "1", Mark.INFERENCE, "of CBD, as a share of the THC peak day"),
        Value("midpoint_sd", 3.0, "d", Mark.INFERENCE, _GUESS),
        Value("fall", 0.008, "1/d", Mark.INFERENCE, "of THC after its peak; Yang et al. saw one"),
        Value("fall_sd", 0.5, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value(
            "season_plateau_sd", 0.10, "1", Mark.INFERENCE, f"log, a variety in a year; {_GUESS}"
        ),
        Value("season_ratio_sd", 0.04, "1", Mark.INFERENCE, f"log, a variety in a year; {_GUESS}"),
        Value(
            "season_shape_share",
            0.25,
            "1",
            Mark.INFERENCE,
            f"of the variance of a curve's shape, what comes anew each season; {_GUESS}",
        ),
        Value("site_plateau_sd", 0.10, "1", Mark.INFERENCE, f"log, a variety on a farm; {_GUESS}"),
        Value("lot_plateau_sd_clone", 0.08, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value("lot_plateau_sd_seed", 0.12, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value("lot_ratio_sd", 0.04, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value(
            "lot_sd_spread",
            0.40,
            "1",
            Mark.INFERENCE,
            f"log, how unsure the spreads between lots are; {_GUESS}",
        ),
        Value(
            "plant_cv_clone",
            0.07,
            "1",
            Mark.INFERENCE,
            "3-6 % within one batch of clones in a greenhouse (Sci. Rep. 2025, 06962-2)",
            low=0.04,
            high=0.12,
        ),
        Value(
            "plant_cv_seed",
            0.18,
            "1",
            Mark.INFERENCE,
            "11-23 % between seeded plots (TREC-Agroecology/hemp)",
            low=0.12,
            high=0.30,
        ),
        Value("plant_cv_sd", 0.40, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value("off_type_a", 0.5, "1", Mark.INFERENCE, f"beta law of seed lots; {_GUESS}"),
        Value("off_type_b", 60.0, "1", Mark.INFERENCE, f"beta law of seed lots; {_GUESS}"),
        Value("off_type_thc_low", 0.02, "share", Mark.INFERENCE, "one chemotype II plant"),
        Value("off_type_thc_high", 0.06, "share", Mark.INFERENCE, "one chemotype II plant"),
        Value(
            "top_to_plant",
            1.35,
            "1",
            Mark.INFERENCE,
            "top over threshed biomass with leaf: (0.40 x 9.2/1.07 + 0.15 x 2.0)/0.55 = 6.8 %",
        ),
        Value("top_to_plant_sd", 0.12, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value(
            "top_to_flower",
            1.07,
            "1",
            Mark.INFERENCE,
            "between 9.9/8.2/7.7 % top to bottom indoors (PMC8747189) and 2-6 % in other clones",
        ),
        Value("top_to_flower_sd", 0.05, "1", Mark.INFERENCE, f"log; {_GUESS}"),
        Value(
            "trimmed_to_flower",
            1.12,
            "1",
            Mark.INFERENCE,
            "common practice says dry trimmed flower tests higher; no figure was found",
            low=1.00,
            high=1.25,
        ),
        Value("trimmed_to_flower_sd", 0.09, "1", Mark.INFERENCE, "log; 1.00 to 1.25"),
        Value(
            "whole_to_flower",
            0.46,
            "1",
            Mark.INFERENCE,
            "the shredded plant with its stem: 40 % flower, the rest at a tenth of it",
            low=0.33,
            high=0.62,
        ),
        Value("whole_to_flower_sd", 0.25, "1", Mark.INFERENCE, f"log; {_GUESS}"),
    ),
)


@dataclass(frozen=True)
class PotencyPrior:
    """Middle and spread of a variety's curves.

    Spreads of `cbd_plateau`, `cbd_to_thc`, `rate` and `fall` are of the logarithm; `steepest` and
    `midpoint` are shares of the THC peak day. `season_*` and `site_*` are shared by the lots of
    the variety in this season and on this farm.
    """

    cbd_plateau: float = COEFFICIENTS["cbd_plateau"]
    cbd_plateau_sd: float = COEFFICIENTS["cbd_plateau_sd"]
    cbd_to_thc: float = COEFFICIENTS["cbd_to_thc"]
    cbd_to_thc_sd: float = COEFFICIENTS["cbd_to_thc_sd"]
    peak_day: float = COEFFICIENTS["peak_day"]
    peak_day_sd: float = COEFFICIENTS["peak_day_sd"]
    steepest: float = COEFFICIENTS["steepest"]
    steepest_sd: float = COEFFICIENTS["steepest_sd"]
    rate: float = COEFFICIENTS["rate"]
    rate_sd: float = COEFFICIENTS["rate_sd"]
    midpoint: float = COEFFICIENTS["midpoint"]
    midpoint_sd: float = COEFFICIENTS["midpoint_sd"]
    fall: float = COEFFICIENTS["fall"]
    fall_sd: float = COEFFICIENTS["fall_sd"]
    season_plateau_sd: float = COEFFICIENTS["season_plateau_sd"]
    season_ratio_sd: float = COEFFICIENTS["season_ratio_sd"]
    site_plateau_sd: float = COEFFICIENTS["site_plateau_sd"]


@dataclass(frozen=True)
class StockPrior:
    """How far a lot strays from its variety and its plants from the lot.

    Spreads are of the logarithm. `off_type` holds the two parameters of the beta law of the share
    of off-type plants; None where there can be none.
    """

    lot_plateau_sd: float
    lot_ratio_sd: float
    plant_cv: float
    off_type: tuple[float, float] | None


STOCK_PRIOR = {
    Stock.CLONE: StockPrior(
        COEFFICIENTS["lot_plateau_sd_clone"],
        COEFFICIENTS["lot_ratio_sd"],
        COEFFICIENTS["plant_cv_clone"],
        off_type=None,
    ),
    Stock.SEED: StockPrior(
        COEFFICIENTS["lot_plateau_sd_seed"],
        COEFFICIENTS["lot_ratio_sd"],
        COEFFICIENTS["plant_cv_seed"],
        off_type=(COEFFICIENTS["off_type_a"], COEFFICIENTS["off_type_b"]),
    ),
}
"""What planting stock says of a lot's evenness."""


def potency_prior(variety: Variety) -> PotencyPrior:
    """What is known of a variety's potency from its kind and from what the farm states."""
    neutral = "_neutral" if variety.response == Response.DAY_NEUTRAL else ""
    # a spread the farm states is for this farm, and so holds what the site adds
    site = COEFFICIENTS["site_plateau_sd"] if variety.cbd_plateau_sd is None else 0.0
    return PotencyPrior(
        cbd_plateau=_stated(variety.cbd_plateau, "cbd_plateau"),
        cbd_plateau_sd=_stated(variety.cbd_plateau_sd, "cbd_plateau_sd"),
        cbd_to_thc=_stated(variety.cbd_to_thc, "cbd_to_thc"),
        cbd_to_thc_sd=_stated(variety.cbd_to_thc_sd, "cbd_to_thc_sd"),
        peak_day=_stated(variety.peak_day, f"peak_day{neutral}"),
        peak_day_sd=_stated(variety.peak_day_sd, "peak_day_sd"),
        site_plateau_sd=site,
    )


def _stated(value: float | None, default: str) -> float:
    return COEFFICIENTS[default] if value is None else value
