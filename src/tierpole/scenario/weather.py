"""The weather a scenario names: the station's past, this season's days, a forecast."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path

import numpy as np

from tierpole.errors import Fault, InputError, StoreError
from tierpole.scenario.model import WeatherFiles
from tierpole.sources import read_forecast, read_station
from tierpole.weather import DailyRecord, Forecast

BUILT_IN = "built-in:"


@dataclass(frozen=True)
class Weather:
    """All other years and this season's own days as the station wrote them, and the forecast."""

    past_weather: DailyRecord
    this_weather: DailyRecord
    forecast: Forecast | None


def read_weather(
    files: WeatherFiles, year: int, beside: Path
) -> tuple[Weather | None, list[Fault]]:
    """The weather for a season, or every fault found in its files."""
    faults: list[Fault] = []
    record = forecast = None
    try:
        record = read_station(located(files.station, beside))
        faults += _faults_of_station(files, record, year)
    except (InputError, StoreError) as error:
        faults += _faults_of_file("station", files.station, error)
    try:
        forecast = read_forecast(located(files.forecast, beside)) if files.forecast else None
        faults += _faults_of_forecast(files, forecast, year)
    except (InputError, StoreError) as error:
        faults += _faults_of_file("forecast", str(files.forecast), error)
    if record is None or faults:
        return None, faults
    return _joined(files, record, forecast, year), faults


def _joined(
    files: WeatherFiles, record: DailyRecord, forecast: Forecast | None, year: int
) -> Weather:
    if files.stand_in_year is None:
        return Weather(record.without_year(year), record.only_year(year), forecast)
    this = record.only_year(files.stand_in_year).redated(year)
    return Weather(record.without_year(files.stand_in_year), this, forecast)


def built_in() -> list[str]:
    """The station records that come with the package, as a scenario names them."""
    folder = resources.files("tierpole") / "data" / "weather"
    names = (file.name for file in folder.iterdir() if file.name.endswith(".csv.gz"))
    return sorted(f"{BUILT_IN}{name.removesuffix('.csv.gz')}" for name in names)


def located(written: str, beside: Path) -> Path:
    """The path of a weather file a scenario names: built in, or beside the scenario."""
    if written.startswith(BUILT_IN):
        folder = resources.files("tierpole") / "data" / "weather"
        return Path(str(folder / f"{written.removeprefix(BUILT_IN)}.csv.gz"))
    return beside.parent / written


def _faults_of_file(field: str, written: str, error: InputError | StoreError) -> Iterator[Fault]:
    """A file that is not there is a fault of the scenario; what is wrong in it, of its own rows."""
    if isinstance(error, InputError):
        yield from (replace(f, place=f"{error.file}, {f.place}") for f in error.faults)
    elif written.startswith(BUILT_IN):
        yield Fault("weather", field, written, f"one of {', '.join(built_in())}")
    else:
        why = str(error).rpartition("(")[2].rstrip(").").lower()
        yield Fault("weather", field, written, f"a file beside the scenario that opens ({why})")


def _faults_of_station(files: WeatherFiles, record: DailyRecord, year: int) -> Iterator[Fault]:
    whole = [int(one) for one in np.unique(record.year) if record.has_year(int(one))]
    stand_in = files.stand_in_year
    if not [one for one in whole if one not in (year, stand_in)]:
        allowed = "a record of whole seasons, April to December, besides this one"
        yield Fault("weather", "station", files.station, allowed)
    elif stand_in is not None and stand_in not in whole:
        span = f"{whole[0]} to {whole[-1]}"
        allowed = f"a year the station recorded from April to December ({span}, if without gaps)"
        yield Fault("weather", "stand_in_year", stand_in, allowed)


def _faults_of_forecast(
    files: WeatherFiles, forecast: Forecast | None, year: int
) -> Iterator[Fault]:
    if forecast is not None and forecast.issued.year != year:
        allowed = f"a forecast issued in {year} (it was issued on {forecast.issued})"
        yield Fault("weather", "forecast", files.forecast, allowed)
