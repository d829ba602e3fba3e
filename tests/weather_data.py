"""The published weather the tests compare with, read once (see data/weather/PROVENANCE.md)."""

import csv
import gzip
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np

from tierpole.errors import TierpoleError
from tierpole.sources import read_station
from tierpole.weather import SeasonWeather, Station, clean, fill_gaps

DATA = Path(__file__).parent / "data" / "weather"
PACKAGED = Path(str(resources.files("tierpole") / "data" / "weather"))
DEMO = PACKAGED / "mopex_03238500.csv.gz"
FRONT_ROYAL = PACKAGED / "USC00443229.csv.gz"


@cache
def raw(path):
    """A station's record as it stands in its file."""
    return read_station(path)


@cache
def record(path):
    """A station's record as a farm uses it: read, cleaned, filled."""
    believed, _ = clean(raw(path))
    return fill_gaps(believed)[0]


def columns(name):
    """A CSV of the test data as arrays of text by column name."""
    with gzip.open(DATA / name, "rt", encoding="utf-8") as file:
        header, *body = csv.reader(file)
    return {
        title: np.array(cells) for title, cells in zip(header, zip(*body, strict=True), strict=True)
    }


def numbers(text):
    """Text cells as floats, NaN where blank or NA."""
    return np.array([float(cell) if cell not in ("", "NA") else np.nan for cell in text])


def outcome(read, path):
    """What a reader makes of a file: its result, or its words about what is wrong."""
    try:
        return read(path)
    except TierpoleError as error:
        return str(error)


def celsius(fahrenheit):
    return (fahrenheit - 32) / 1.8


def as_season(t_min, t_max, rain, latitude, dew_point):
    """One stretch of days as a season of one row; the model reads only arrays and latitude."""
    return SeasonWeather(
        station=Station("X", "X", latitude, 0.0, 0.0),
        year=2001,
        years=np.array([2001]),
        t_min=t_min[None],
        t_max=t_max[None],
        rain=rain[None],
        dew_point=dew_point[None],
        origin=np.full(len(t_min), "past"),
    )
