"""Observed hours set beside the hours the model makes of the same days."""

from functools import cache
from typing import NamedTuple

import numpy as np

from tierpole.moist_air import saturation_pressure
from tierpole.weather import DAY_OF_YEAR, DAYS, HourlyWeather, dew_point_daily, hourly_weather
from tierpole.weather.dew_point import dew_point_error
from weather_data import as_season, celsius, columns, numbers

DAY = np.timedelta64(1, "D")


class Site(NamedTuple):
    """Observed hours of one place and season [day, 24]: °C, share of saturation, mm."""

    latitude: float
    temperature: np.ndarray
    dew_point: np.ndarray
    rain: np.ndarray  # daily [day]
    seed: int

    @property
    def humidity(self):
        return saturation_pressure(self.dew_point) / saturation_pressure(self.temperature)

    @property
    def known(self):
        return np.isfinite(self.temperature) & np.isfinite(self.dew_point)


def dew_point_of(temperature, humidity):
    """Dew point from a table of saturation pressure: not the project's own inversion."""
    grid = np.arange(-60.0, 50.0, 0.01)
    vapour = saturation_pressure(temperature) * np.clip(humidity, 0.01, 1)
    return np.interp(np.log(vapour), np.log(saturation_pressure(grid)), grid)


@cache
def champaign():
    """April to December of 2003-2008, one site a year."""
    table = columns("champaign_2003_2008.csv.gz")
    temperature, share = numbers(table["temp_c"]), numbers(table["rh_frac"])
    dew_point, rain = dew_point_of(temperature, share), numbers(table["rain_mm_h"])
    day = table["time_cst"].astype("datetime64[D]")
    sites = []
    for year in range(2003, 2009):
        first = np.searchsorted(day, np.datetime64(f"{year}-04-01"))
        part = slice(first, first + DAYS * 24)
        hours = [array[part].reshape(DAYS, 24) for array in (temperature, dew_point, rain)]
        sites.append(Site(40.05, hours[0], hours[1], hours[2].sum(axis=1), year))
    return tuple(sites)


@cache
def new_york():
    """April to December 2013 at Newark, Kennedy and La Guardia, hours laid on standard days."""
    table = columns("new_york_2013.csv.gz")
    month, day, hour = (numbers(table[name]).astype(int) for name in ("month", "day", "hour"))
    text = [f"2013-{m:02}-{d:02}" for m, d in zip(month, day, strict=True)]
    index = (np.array(text, "datetime64[D]") - np.datetime64("2013-04-01")) // DAY
    sites = []
    for seed, origin in enumerate(("EWR", "JFK", "LGA")):
        rows = np.flatnonzero((table["origin"] == origin) & (index >= 0))
        grids = np.full((3, DAYS, 24), np.nan)
        for grid, name in zip(grids, ("temp", "dewp", "precip"), strict=True):
            grid[index[rows], hour[rows]] = numbers(table[name][rows])
        rain = np.nansum(grids[2], axis=1) * 25.4
        sites.append(Site(40.7, celsius(grids[0]), celsius(grids[1]), rain, seed))
    return tuple(sites)


def model(site: Site, is_recorded: bool) -> HourlyWeather:
    """The model's hours from the site's daily extremes, rain and, if recorded, mean dew point."""
    # a day without hours (two in New York) takes the day before it
    has_hours = site.known.any(axis=1)
    last = np.maximum.accumulate(np.where(has_hours, np.arange(DAYS), 0))
    warm, dew = site.temperature[last], site.dew_point[last]
    low, high = np.nanmin(warm, axis=1), np.nanmax(warm, axis=1)
    dew_point = np.nanmean(dew, axis=1)
    if not is_recorded:
        error = dew_point_error(1, DAYS, np.random.default_rng(site.seed))[0]
        dew_point = dew_point_daily(low, high, site.rain, DAY_OF_YEAR) + error
    return hourly_weather(as_season(low, high, site.rain, site.latitude, dew_point))


def errors(sites, is_recorded, quantity, days=slice(None)):
    """Model less observed, all known hours of some days of the season."""
    parts = []
    for site in sites:
        made = getattr(model(site, is_recorded), quantity).reshape(DAYS, 24)
        apart = (made - getattr(site, quantity))[days]
        parts.append(apart[site.known[days]])
    return np.concatenate(parts)


FALL = slice(int(np.flatnonzero(DAY_OF_YEAR == 213)[0]), int(np.flatnonzero(DAY_OF_YEAR == 305)[0]))


def wetness(sites, is_recorded):
    """Wet hours of calendar days, model and observed by the same rule, August to October."""
    made, seen = [], []
    for site in sites:
        hours = model(site, is_recorded)
        spread = (hours.temperature - hours.dew_point).reshape(DAYS, 24)
        damp = hours.humidity.reshape(DAYS, 24)
        observed = (site.humidity >= 0.9) | (site.temperature - site.dew_point < 2)
        whole = site.known.all(axis=1)[FALL]
        made.append(((damp >= 0.9) | (spread < 2))[FALL].sum(axis=1)[whole])
        seen.append(observed[FALL].sum(axis=1)[whole])
    return np.concatenate(made), np.concatenate(seen)
