"""The tables of a scenario file."""

from __future__ import annotations

from typing import Annotated

from tierpole.farm import (
    Airing,
    AirReading,
    CleanDown,
    Costs,
    Crew,
    Cut,
    Farm,
    Field,
    Flowering,
    GaugeReading,
    Hanging,
    Laboratory,
    Lot,
    Market,
    Noun,
    Place,
    Reading,
    Sample,
    Sampler,
    StickWeight,
    Test,
    TierLoad,
    Variety,
)
from tierpole.farm.land import Date, Name
from tierpole.farm.measure import Count, Label

FileName = Annotated[str, Label(longest=200)]


class WeatherFiles(Noun):
    """Where the weather comes from: a station file, beside the scenario or built in."""

    station: FileName
    forecast: FileName | None = None
    stand_in_year: Annotated[int, Count(1900, 2100)] | None = None


class Files(Noun):
    """Files beside the scenario that say more: certificates, and what earlier seasons taught."""

    certificates: tuple[FileName, ...] = ()
    learnt: tuple[FileName, ...] = ()


class Logger(Noun):
    """A file a logger or a form wrote, beside the scenario: air of a place, or sticks weighed."""

    place: Name
    file: FileName


class Scenario(Noun):
    """A farm and its season as one file says them."""

    season: Annotated[int, Count(1990, 2100)]
    on: Date
    farm: Farm
    weather: WeatherFiles
    files: Files = Files()
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
    air_readings: tuple[AirReading, ...] = ()
    stick_weights: tuple[StickWeight, ...] = ()
    loggers: tuple[Logger, ...] = ()
    airings: tuple[Airing, ...] = ()
    tier_loads: tuple[TierLoad, ...] = ()
    clean_downs: tuple[CleanDown, ...] = ()
    flowering: tuple[Flowering, ...] = ()
    gauge_readings: tuple[GaugeReading, ...] = ()


_OWN = ("season", "weather", "files", "loggers")
SHARED = tuple(name for name in Scenario.model_fields if name not in _OWN)
