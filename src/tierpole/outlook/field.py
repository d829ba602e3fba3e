"""The season in the field: flowering, potency, biomass and losses, draw by draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.crop import FieldWeather, draw_losses, draw_mass, field_loss, mass_course
from tierpole.crop.prior import COEFFICIENTS as CROP
from tierpole.outlook.forecast import Forecast
from tierpole.outlook.sky import Skies
from tierpole.outlook.streams import stream
from tierpole.potency import PotencyDraws
from tierpole.season import DAYS, Season
from tierpole.weather import wet_hours

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class FieldDraws:
    """What the field may do, draw by draw; days are indices on the season axis."""

    flower_day: Array  # [draw, lot]
    potency: PotencyDraws
    cbd: Array  # [draw, lot, day]
    thc: Array  # [draw, lot, day]
    mass: Array  # [draw, lot, day] kg dry threshed biomass a plant
    frost_loss: Array  # [draw, lot, day]
    other_loss: Array  # [draw, lot, day]


def field_draws(forecast: Forecast, seed: int) -> FieldDraws:
    """What a forecast of flowering and potency, biomass and losses make of every lot."""
    season, flower_day = forecast.season, forecast.flower_day
    frost, other = _losses(season, forecast.sky, flower_day, seed)
    return FieldDraws(
        flower_day=flower_day,
        potency=forecast.potency,
        cbd=forecast.cbd,
        thc=forecast.thc,
        mass=_mass(season, flower_day, len(flower_day), seed),
        frost_loss=frost,
        other_loss=other,
    )


def _mass(season: Season, flower_day: Array, draws: int, seed: int) -> Array:
    """Dry biomass to sell of one plant [draw, lot, day], before field losses."""
    dry = 1.0 - season.market.moisture
    median = np.array([lot.plant_yield * dry for lot in season.lots])
    spread = np.array(
        [
            CROP["mass_log_sd"] if lot.plant_yield_sd is None else lot.plant_yield_sd
            for lot in season.lots
        ]
    )
    plateau = draw_mass(median, draws, stream(seed, "mass"), spread)
    course = mass_course(np.arange(DAYS, dtype=float) - flower_day[:, :, None])
    return (plateau[:, :, None] * course).astype(np.float32)


def _losses(season: Season, sky: Skies, flower_day: Array, seed: int) -> tuple[Array, Array]:
    """Shares lost to frost, and to everything else, [draw, lot, day] each."""
    hours, warmth = wet_hours(sky.hourly)
    weather = FieldWeather.of(sky.daily.t_min, hours, warmth)
    draws = draw_losses(sky.row.size, stream(seed, "losses"))
    shape = (*flower_day.shape, DAYS)
    frost, other = np.empty(shape, np.float32), np.empty(shape, np.float32)
    for number, lot in enumerate(season.lots):
        in_field = weather.in_field(season.field_of(lot).night_offset)
        days_flowering = np.arange(DAYS, dtype=float) - flower_day[:, number, None]
        lost = field_loss(days_flowering, in_field, sky.row, draws)
        frost[:, number], other[:, number] = lost.frost, lost.besides_frost
    return frost, other
