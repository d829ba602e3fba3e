"""What the tests of the books share: a small farm in them, scenarios, equality of seasons."""

from dataclasses import fields, replace
from datetime import date
from functools import cache
from uuid import uuid4

import numpy as np

from tierpole.farm import Field, Lot, Place, Variety
from tierpole.farm.books import Attachment
from tierpole.records import Change, WeatherFiles, content_key, write, write_with
from tierpole.scenario import demo_path, read_whole
from tierpole.season import Season
from tierpole.weather import DailyRecord, Forecast

PLACE = Place(name="Frame", kind="greenhouse frame", tiers=1, runs=7, run_length="96 ft",
              stick_spacing="18 in", volume="26000 ft3")  # fmt: skip
LOT = Lot(name="4 Lane", field="Home", variety="Ridge Early", area="2 acre", set_on="2026-06-08",
          plants_set=3484, plants_per_stick=3, plant_yield="0.8 lb")  # fmt: skip


def farm_of(store):
    """A field, a variety, a place and a lot in the books: by kind, the change that wrote each."""
    changes = {
        "field": Change(Field(name="Home")),
        "variety": Change(Variety(name="Ridge Early")),
        "place": Change(PLACE),
        "lot": Change(LOT),
    }
    write(store, changes.values(), who="Ann")
    return changes


def attach(store, data, name, media_type, who, entry=None, **about):
    """Keep a photo or paper and what is said about it, as a form does; the receipt."""
    about.setdefault("added_on", date(2026, 9, 1))
    noun = Attachment(name=name, media_type=media_type, content=content_key(data), size=len(data),
                      **about)  # fmt: skip
    return write_with(store, [Change(noun, id=entry or uuid4())], [data], who)[0]


# --- seasons --------------------------------------------------------------------------------------


@cache
def scenario(name="demo"):
    """A scenario that comes with the package: path, whole season, season as seen, its files."""
    path = demo_path(name)
    read = read_whole(path)
    named, whole = read.files, read.season
    files = WeatherFiles(read.station, named.station, stand_in_year=named.stand_in_year)
    return path, whole, whole.as_seen_on(whole.on), files


def same(one, other):
    """Whether two seasons, records or forecasts hold the same facts, wherever they came from."""
    if isinstance(one, Season):
        one, other = replace(one, source=""), replace(other, source="")
    if isinstance(one, Season | DailyRecord | Forecast):
        return all(_alike(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    return _alike(one, other)


def _alike(one, other):
    if isinstance(one, DailyRecord | Forecast):
        return same(one, other)
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    return one == other and _said(one) == _said(other)


def _said(noun):
    """What a noun says by itself; the rest are defaults, which pages show as assumed."""
    fields_set = getattr(noun, "model_fields_set", ())
    return {name for name in fields_set if getattr(noun, name) is not None}
