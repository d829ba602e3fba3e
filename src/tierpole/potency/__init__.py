"""Total CBD and total THC of every lot: curves, what is known before testing, what tests add."""

from tierpole.potency.curves import cbd_course, thc_course, thc_peak
from tierpole.potency.draws import (
    Curves,
    PotencyDraws,
    PotencyLaw,
    PotencyLots,
    curves,
    draw_potency,
    potency_law,
)
from tierpole.potency.posterior import Effort, Posterior
from tierpole.potency.prior import STOCK_PRIOR, PotencyPrior, StockPrior, potency_prior
from tierpole.potency.results import Material, PotencyTest
from tierpole.potency.sampling import (
    PRECISION_CBD,
    PRECISION_THC,
    Precision,
    log_sd,
    off_type_chances,
    off_type_log_moments,
    off_type_rise,
    sd_composite,
)
from tierpole.potency.update import Laboratories, Updated, update

__all__ = [
    "PRECISION_CBD",
    "PRECISION_THC",
    "STOCK_PRIOR",
    "Curves",
    "Effort",
    "Laboratories",
    "Material",
    "Posterior",
    "PotencyDraws",
    "PotencyLaw",
    "PotencyLots",
    "PotencyPrior",
    "PotencyTest",
    "Precision",
    "StockPrior",
    "Updated",
    "cbd_course",
    "curves",
    "draw_potency",
    "log_sd",
    "off_type_chances",
    "off_type_log_moments",
    "off_type_rise",
    "potency_law",
    "potency_prior",
    "sd_composite",
    "thc_course",
    "thc_peak",
    "update",
]
