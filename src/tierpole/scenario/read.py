"""A farm and its season from one commented TOML file."""

from __future__ import annotations

import tomllib
from datetime import date
from importlib import resources
from pathlib import Path
from typing import Annotated

from pydantic import ValidationError

from tierpole.errors import Fault, InputError, StoreError
from tierpole.farm import (
    Costs,
    Crew,
    Cut,
    Farm,
    Field,
    Flowering,
    Hanging,
    Laboratory,
    Lot,
    Market,
    Noun,
    Place,
    Reading,
    Sample,
    Sampler,
    Test,
    Variety,
)
from tierpole.farm.land import Date
from tierpole.farm.measure import Count, Label
from tierpole.scenario.faults import faults_of
from tierpole.season import Season, faults
from tierpole.sources import read_forecast, read_station
from tierpole.weather import DailyRecord, Forecast

BUILT_IN = "built-in:"


class WeatherFiles(Noun):
    """Where the weather comes from: a station file, beside the scenario or built in."""

    station: Annotated[str, Label(longest=200)]
    forecast: Annotated[str, Label(longest=200)] | None = None
    stand_in_year: Annotated[int, Count(1900, 2100)] | None = None


class Scenario(Noun):
    """The tables of a scenario file."""

    season: Annotated[int, Count(1990, 2100)]
    on: Date
    farm: Farm
    weather: WeatherFiles
    fields: tuple[Field, ...]
    varieties: tuple[Variety, ...]
    lots: tuple[Lot, ...]
    places: tuple[Place, ...]
    crew: Crew
    market: Market
    costs: Costs
    sampler: Sampler = Sampler()
    laboratory: Laboratory = Laboratory()
    tests: tuple[Test, ...] = ()
    samples: tuple[Sample, ...] = ()
    cuts: tuple[Cut, ...] = ()
    hangings: tuple[Hanging, ...] = ()
    readings: tuple[Reading, ...] = ()
    flowering: tuple[Flowering, ...] = ()


def read_scenario(path: str | Path, on: date | None = None) -> Season:
    """The season written in a TOML file, as seen on its own date or on `on`.

    Raises `InputError` listing every fault, `StoreError` when a file cannot be read.
    """
    path = Path(path)
    scenario = _parse(path)
    season = _season(scenario, path)
    found = faults(season)
    if found:
        raise InputError(path.name, found)
    return season.as_seen_on(on or scenario.on)


def demo_path(name: str = "demo") -> Path:
    """The scenario file of a demo that comes with the package."""
    return Path(str(resources.files("tierpole") / "data" / "scenarios" / f"{name}.toml"))


def _parse(path: Path) -> Scenario:
    try:
        written = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError:
        raise InputError(path.name, [Fault("the file", "", "other bytes", "UTF-8 text")]) from None
    except (tomllib.TOMLDecodeError, ValueError) as error:
        raise InputError(path.name, [Fault("the file", "", str(error), "valid TOML")]) from None
    try:
        return Scenario.model_validate(written, context={"written": True})
    except ValidationError as error:
        raise InputError(path.name, faults_of(error, Scenario, written)) from None


def _season(scenario: Scenario, path: Path) -> Season:
    past, this = _weather(scenario, path)
    facts = {name: getattr(scenario, name) for name in _SHARED}
    return Season(
        year=scenario.season,
        past_weather=past,
        this_weather=this,
        forecast=_forecast(scenario, path),
        stand_in_year=scenario.weather.stand_in_year,
        source=path.name,
        **facts,
    )


_SHARED = tuple(name for name in Scenario.model_fields if name not in ("season", "weather"))


def _locate(written: str, beside: Path) -> Path:
    if written.startswith(BUILT_IN):
        folder = resources.files("tierpole") / "data" / "weather"
        return Path(str(folder / f"{written.removeprefix(BUILT_IN)}.csv.gz"))
    return beside.parent / written


def _weather(scenario: Scenario, path: Path) -> tuple[DailyRecord, DailyRecord]:
    """All other years, and this season's own days, as recorded."""
    files = scenario.weather
    record = read_station(_locate(files.station, path))
    year = scenario.season if files.stand_in_year is None else files.stand_in_year
    this = record.only_year(year)
    if files.stand_in_year is not None:
        if not record.has_year(year):
            allowed = "a year the station file covers from April to December"
            raise InputError(path.name, [Fault("weather", "stand_in_year", year, allowed)])
        this = this.redated(scenario.season)
    return record.without_year(year), this


def _forecast(scenario: Scenario, path: Path) -> Forecast | None:
    written = scenario.weather.forecast
    return read_forecast(_locate(written, path)) if written else None
