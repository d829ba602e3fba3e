"""The season in the field: weather seasons, flowering, potency, biomass and losses, as draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.crop import (
    PLANT_SPREAD,
    FieldWeather,
    carry_shift,
    draw_flowering,
    draw_losses,
    draw_mass,
    field_loss,
    flower_days,
    flowering_prior,
    mass_course,
    shift_counted,
)
from tierpole.crop.prior import COEFFICIENTS as CROP
from tierpole.farm import Flowering, TestKind
from tierpole.outlook.streams import stream
from tierpole.potency import (
    PotencyDraws,
    PotencyLots,
    PotencyTest,
    Precision,
    curves,
    draw_potency,
    potency_prior,
    update,
)
from tierpole.potency.sampling import PRECISION_CBD
from tierpole.season import DAYS, Season
from tierpole.weather import (
    DAY_OF_YEAR,
    HourlyWeather,
    SeasonWeather,
    clean,
    day_length,
    fill_gaps,
    hourly_weather,
    season_pool,
    splice,
    wet_hours,
)

Array = np.ndarray

# pre-tests and official samples are cut from standing tops; the other kinds are of dry material
_OF_TOPS = (TestKind.PRETEST, TestKind.OFFICIAL)


@dataclass(frozen=True, eq=False)
class Skies:
    """The weather seasons that may come, and which one each draw lives in."""

    daily: SeasonWeather
    hourly: HourlyWeather
    row: Array  # [draw]


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
    moved_by_test: Array  # [test] shift of the mean log THC


def skies(season: Season, draws: int, seed: int) -> Skies:
    """Weather seasons, each used equally often: observed days, forecast, a past year's rest."""
    past, _ = clean(season.past_weather)
    pool = season_pool(fill_gaps(past)[0])
    observed, _ = clean(season.this_weather)
    daily = splice(pool, season.year, observed, season.forecast, stream(seed, "forecast"))
    row = np.arange(draws) % len(daily)
    return Skies(daily, hourly_weather(daily), stream(seed, "weather").permutation(row))


def field_draws(season: Season, sky: Skies, seed: int) -> FieldDraws:
    """Flowering, potency, biomass and field losses of every lot, after sightings and tests."""
    count = sky.row.size
    variety = np.array([_variety_index(season, lot.variety) for lot in season.lots])
    flower_day = _flower_day(season, sky, variety, seed)
    potency, flower_day, moved = _potency(season, variety, flower_day, count, seed)
    days = np.arange(DAYS, dtype=float)
    cbd, thc = curves(potency, flower_day, days)
    frost, other = _losses(season, sky, flower_day, seed)
    return FieldDraws(
        flower_day=flower_day,
        potency=potency,
        cbd=cbd,
        thc=thc,
        mass=_mass(season, flower_day, count, seed),
        frost_loss=frost,
        other_loss=other,
        moved_by_test=moved,
    )


def _variety_index(season: Season, name: str) -> int:
    return [variety.name for variety in season.varieties].index(name)


def _flower_day(season: Season, sky: Skies, variety: Array, seed: int) -> Array:
    priors = [flowering_prior(v) for v in season.varieties]
    flowering = draw_flowering(priors, variety, sky.row.size, stream(seed, "flowering"))
    length = day_length(season.farm.latitude, DAY_OF_YEAR)
    mean = 0.5 * (sky.daily.t_min + sky.daily.t_max)
    set_day = np.array([season.index(lot.set_on) for lot in season.lots])
    flower_day = flower_days(length, mean, sky.row, set_day, flowering)
    for seen in season.flowering:
        flower_day = _after_sighting(season, variety, flower_day, seen)
    return flower_day


def _after_sighting(season: Season, variety: Array, flower_day: Array, seen: Flowering) -> Array:
    """Flower days after a count of plants in flower; sister lots move as far as they share."""
    lot = season.lot_index(seen.lot)
    sisters = np.flatnonzero(variety == variety[lot])
    shifted = shift_counted(
        flower_day[:, lot],
        season.index(seen.seen_on),
        seen.in_flower,
        seen.looked_at,
        PLANT_SPREAD[season.lots[lot].stock],
        CROP["sighting_error"],
    )
    moved = flower_day.copy()
    place = int(np.flatnonzero(sisters == lot)[0])
    moved[:, sisters] = carry_shift(flower_day[:, sisters], place, shifted)
    return moved


def _potency(
    season: Season, variety: Array, flower_day: Array, draws: int, seed: int
) -> tuple[PotencyDraws, Array, Array]:
    lots = PotencyLots(variety, tuple(lot.stock for lot in season.lots), np.ones(variety.size))
    priors = [potency_prior(v) for v in season.varieties]
    before = draw_potency(priors, lots, draws, stream(seed, "potency"))
    updated = update(before, flower_day, _tests(season), stream(seed, "tests"))
    return updated.draws, updated.flower_day, updated.moved


def _tests(season: Season) -> list[PotencyTest]:
    """Certificates of standing tops as evidence on the curves."""
    lab = season.laboratory
    thc = Precision(lab.repeatability, lab.between_labs)
    return [
        PotencyTest(
            lot=season.lot_index(test.lot),
            day=season.index(test.sampled_on),
            plants=test.plants,
            cbd=test.total_cbd,
            thc=test.total_thc,
            laboratory=test.kind.value,
            precision_thc=thc,
            precision_cbd=PRECISION_CBD,
        )
        for test in season.tests
        if test.kind in _OF_TOPS
    ]


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
