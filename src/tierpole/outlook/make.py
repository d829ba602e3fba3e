"""Season -> Outlook: the kernels joined, draw by draw, into one labelled Dataset."""

from __future__ import annotations

import numpy as np
import xarray as xr

from tierpole.outlook.calendar import Calendar, calendar
from tierpole.outlook.curing import LOADS, Curing, Tables, curing
from tierpole.outlook.dollars import Dollars
from tierpole.outlook.field import FieldDraws, field_draws
from tierpole.outlook.forecast import Forecast, make_forecast
from tierpole.outlook.hanging import hung_now
from tierpole.outlook.legal import Legal
from tierpole.outlook.schema import VARIABLES, attributes, validate
from tierpole.outlook.sky import Skies
from tierpole.progress import Tick, part_of, silent
from tierpole.season import Season

Array = np.ndarray


def make_outlook(
    season: Season,
    draws: int = 500,
    seed: int = 1,
    tables: Tables | None = None,
    tick: Tick | None = None,
    forecast: Forecast | None = None,
) -> xr.Dataset:
    """What may happen this season, as `draws` possible seasons.

    `tables` is any mapping that keeps the drying table between runs; `tick(step, share)` hears of
    progress and may raise to stop; `forecast` is one already made of the same season, draws and
    seed. Same three, same Outlook. The variables are those of `outlook.schema`.
    """
    tick = tick or silent
    tick("weather and potency", 0.0)
    forecast = forecast or make_forecast(season, draws, seed)
    sky = forecast.sky
    tick("field", 0.1)
    field = field_draws(forecast, seed)
    days = calendar(season, field.flower_day)
    tick("drying table", 0.15)
    drying = curing(season, sky, days.cut_days, seed, tables, part_of(tick, 0.15, 0.85))
    tick("law and money", 0.85)
    outlook = _join(season, sky, field, days, drying, seed)
    validate(outlook)
    tick("outlook", 1.0)
    return outlook


def _join(
    season: Season, sky: Skies, field: FieldDraws, days: Calendar, drying: Curing, seed: int
) -> xr.Dataset:
    legal = Legal(season, field, days.sample_days)
    dollars = Dollars.of(season, field, legal, seed)
    hung = hung_now(season, drying, dollars, seed)
    value_pass = dollars.passed(days.cut_days, drying.loss_at())
    failed = dollars.failed(days.sample_days, days.cut_days, value_pass)
    sticks = len(season.lots)
    arrays: dict[str, Array] = {
        "weather_row": sky.row,
        "barn_row": drying.barn_row,
        "night_low": sky.daily.t_min,
        "rain": sky.daily.rain,
        "flower_day": field.flower_day,
        "cbd": field.cbd,
        "thc": field.thc,
        "top_to_plant": field.potency.top_to_plant,
        **legal.chances(),
        "flower_mass": field.mass,
        "frost_loss": field.frost_loss,
        "field_loss": field.other_loss,
        "drying_days": drying.drying_days,
        "drying_loss": drying.drying_loss,
        "mould_risk": drying.mould_risk,
        "value_pass": value_pass,
        "value_fail": failed.value,
        "fail_path": np.array([list(failed.by_path)[i].value for i in failed.best.ravel()]).reshape(
            failed.best.shape
        ),
        "value_left": dollars.left(),
        "sample_fee": np.full(sticks, season.costs.official_sample),
        "fixed_money": dollars.fixed(hung.dollars),
        "price": dollars.sales.price,
        "paid_share": dollars.sales.paid_share,
        "free_day": hung.free_day,
    }
    return _dataset(season, sky, days, arrays, seed)


def _dataset(
    season: Season, sky: Skies, days: Calendar, arrays: dict[str, Array], seed: int
) -> xr.Dataset:
    """Arrays with dimensions, dates, names and units."""
    data = {v.name: (v.dims, arrays[v.name], attributes(v.name)) for v in VARIABLES}
    coords = {
        "lot": [lot.name for lot in season.lots],
        "place": [place.name for place in season.places],
        "day": season.days,
        "sample_day": season.days[days.sample_days],
        "cut_day": season.days[days.cut_days],
        "load": LOADS,
        "weather_season": sky.daily.years,
    }
    attrs = {"farm": season.farm.name, "on": str(season.on), "seed": seed}
    return xr.Dataset(data, coords=coords, attrs=attrs)
