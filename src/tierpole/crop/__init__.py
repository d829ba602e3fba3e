"""The plant in the field: when it flowers, what it weighs, what is lost before the cut."""

from tierpole.crop.biomass import (
    dry_share,
    leaf_share,
    mass_after_delay,
    mass_at_density,
    mass_course,
    mass_sold,
)
from tierpole.crop.losses import (
    FieldLoss,
    FieldWeather,
    LossDraws,
    disease_progress,
    field_loss,
    frost_damage,
    infection_grey_mould,
    infection_index,
    susceptibility,
)
from tierpole.crop.observed import carry_shift, shift_counted, shift_observed
from tierpole.crop.phenology import (
    FloweringDraws,
    flower_day,
    flower_days,
    maturity_day,
    photoperiod_response,
    share_in_flower,
    temperature_response,
)
from tierpole.crop.prior import (
    PLANT_SPREAD,
    FloweringPrior,
    draw_flowering,
    draw_losses,
    draw_mass,
    flowering_prior,
)

__all__ = [
    "PLANT_SPREAD",
    "FieldLoss",
    "FieldWeather",
    "FloweringDraws",
    "FloweringPrior",
    "LossDraws",
    "carry_shift",
    "disease_progress",
    "draw_flowering",
    "draw_losses",
    "draw_mass",
    "dry_share",
    "field_loss",
    "flower_day",
    "flower_days",
    "flowering_prior",
    "frost_damage",
    "infection_grey_mould",
    "infection_index",
    "leaf_share",
    "mass_after_delay",
    "mass_at_density",
    "mass_course",
    "mass_sold",
    "maturity_day",
    "photoperiod_response",
    "share_in_flower",
    "shift_counted",
    "shift_observed",
    "susceptibility",
    "temperature_response",
]
