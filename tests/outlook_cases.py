"""Small seasons that the outlook's tests look at, and the numbers one of its draws was given."""

from dataclasses import dataclass, fields, replace
from datetime import date
from functools import cache

import numpy as np

import reference_outlook as reference
from tierpole.barn import place_air
from tierpole.crop import draw_flowering, draw_losses, draw_mass, flowering_prior
from tierpole.crop.prior import COEFFICIENTS as CROP
from tierpole.money import draw_sales
from tierpole.outlook import make_outlook
from tierpole.outlook.curing import barn_parameters
from tierpole.outlook.field import field_draws
from tierpole.outlook.forecast import make_forecast
from tierpole.outlook.streams import stream
from tierpole.scenario import demo_path, read_scenario

SEED = 5


@cache
def whole_demo():
    """The demo farm on its last day: every fact known, and all weather of its stand-in year."""
    return read_scenario(demo_path(), on=date(2026, 12, 31))


@cache
def demo(on=date(2026, 9, 2)):
    return whole_demo().as_seen_on(on)


def smaller(season, lots=None, places=None, years=6):
    """The season with only some lots, places and past years, to be quick."""
    kept = {
        "lots": lots or [lot.name for lot in season.lots],
        "places": places or [place.name for place in season.places],
    }
    nouns = {
        name: tuple(noun for noun in getattr(season, name) if noun.name in kept[name])
        for name in kept
    }
    facts = {
        name: tuple(fact for fact in getattr(season, name) if _is_of(fact, kept))
        for name in ("tests", "samples", "cuts", "hangings", "readings", "flowering")
    }
    first = season.past_weather.dates[0].astype(object).year
    past = season.past_weather.until(date(first + years, 1, 1))
    return replace(season, past_weather=past, **nouns, **facts)


def _is_of(fact, kept):
    return fact.lot in kept["lots"] and getattr(fact, "place", kept["places"][0]) in kept["places"]


@dataclass(frozen=True)
class Drawn:
    """What the fast path drew for a season, and one draw of it at a time for the reference."""

    season: object
    sky: object
    field: object
    flowering: object
    mass: object
    losses: object
    barn: object
    sales: object

    def of(self, draw, lot):
        """One draw of one lot as plain numbers."""
        daily, row = self.sky.daily, self.sky.row[draw]
        potency = self.field.potency
        return reference.Draw(
            latitude_station=daily.station.latitude,
            **{
                name: getattr(daily, name)[row].tolist()
                for name in ("t_min", "t_max", "rain", "dew_point")
            },
            critical=float(self.flowering.critical[draw, lot]),
            slope=float(self.flowering.slope[draw, lot]),
            inductive_days=float(self.flowering.inductive_days[draw, lot]),
            lag=float(self.flowering.lag[draw, lot]),
            curves={
                f.name: float(getattr(potency.curves, f.name)[draw, lot])
                for f in fields(potency.curves)
            },
            **{
                name: float(getattr(potency, name)[draw, lot])
                for name in (
                    "plant_cv", "off_type_share", "off_type_multiple", "top_to_plant",
                    "top_to_flower",
                )
            },
            mass_plateau=float(self.mass[draw, lot]),
            loss={f.name: float(getattr(self.losses, f.name)[draw]) for f in fields(self.losses)},
            price=float(self.sales.price[draw]),
            paid_share=float(self.sales.paid_share[draw]),
        )  # fmt: skip

    def plant(self, barn_draw):
        """One barn draw as plain numbers."""
        return {f.name: float(getattr(self.barn, f.name)[barn_draw]) for f in fields(self.barn)}

    def place(self, number):
        return place_air(self.season.places[number])


def drawn(season, draws, seed=SEED):
    """Everything drawn for a season, from the same named streams as the outlook."""
    forecast = make_forecast(season, draws, seed)
    sky = forecast.sky
    names = [variety.name for variety in season.varieties]
    variety = np.array([names.index(lot.variety) for lot in season.lots])
    priors = [flowering_prior(each) for each in season.varieties]
    dry = 1 - season.market.moisture
    spread = [
        CROP["mass_log_sd"] if lot.plant_yield_sd is None else lot.plant_yield_sd
        for lot in season.lots
    ]
    median = np.array([lot.plant_yield * dry for lot in season.lots])
    return Drawn(
        season=season,
        sky=sky,
        field=field_draws(forecast, seed),
        flowering=draw_flowering(priors, variety, draws, stream(seed, "flowering")),
        mass=draw_mass(median, draws, stream(seed, "mass"), np.array(spread)),
        losses=draw_losses(draws, stream(seed, "losses")),
        barn=barn_parameters(sky, seed)[0],
        sales=draw_sales(stream(seed, "market"), draws, season.market),
    )


@cache
def july():
    """Four lots and two places in July, when nothing but weather is known; 6 draws.

    Shredded biomass fetches enough here that shredding is at times the best way out of a fail, and
    buyers pay badly.
    """
    lots = ("1 River", "5 Ridge", "7 Hollow", "8 Seed strip")
    season = smaller(demo(date(2026, 7, 1)), lots, ("Creek barn", "Frame"), years=3)
    terms = {"remediated_price": 8.0, "paid_full": 0.4, "paid_half": 0.4}
    market = season.market.model_copy(update=terms)
    season = replace(season, market=market)
    return season, make_outlook(season, draws=6, seed=SEED), drawn(season, 6)


@cache
def september():
    """The whole farm in September, with its tests, sightings and hangings; 48 draws."""
    season = smaller(demo(), years=6)
    return season, make_outlook(season, draws=48, seed=SEED)
