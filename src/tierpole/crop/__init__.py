"""The plant in the field: when it flowers, what it weighs, what is lost before the cut."""

from tierpole.crop.biomass import (
    leaf_share,
    mass_after_delay,
    mass_at_density,
    mass_course,
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
from tierpole.crop.observed import carry_shift, shift_counted
from tierpole.crop.phenology import (
    FloweringDraws,
    flower_day,
    flower_days,
    photoperiod_response,
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
    "photoperiod_response",
    "shift_counted",
    "susceptibility",
    "temperature_response",
]
