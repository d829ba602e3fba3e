"""The farm, its fields, what grows there and in which lots."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated

from tierpole.farm.measure import Count, Day, Label, Measure, Noun, Pattern, Ratio

Name = Annotated[str, Label()]
Note = Annotated[str, Label(longest=500, empty=True)]
Share = Annotated[float, Measure("a share", "0 %", "100 %")]
Date = Annotated[date, Day()]
Happened = Annotated[date, Day(is_past=True)]  # the day of what happened: never one to come
ClockTime = Annotated[str, Pattern(r"([01]\d|2[0-3]):[0-5]\d", 'a time of day such as "14:30"')]


class Farm(Noun):
    """Where the farm lies and whose rules it is under."""

    name: Name
    jurisdiction: Name
    latitude: Annotated[float, Measure("an angle", "-60 deg", "65 deg")]
    longitude: Annotated[float, Measure("an angle", "-180 deg", "180 deg")]
    elevation: Annotated[float, Measure("a length", "-300 ft", "12000 ft")] = 0.0
    is_invented: bool = False
    note: Note = ""


class Field(Noun):
    """A field; `night_offset` is how much colder (negative) its nights are than the station's."""

    name: Name
    night_offset: Annotated[float, Measure("a temperature difference", "-15 F", "9 F")] = 0.0
    note: Note = ""


class Response(StrEnum):
    """What makes a variety flower."""

    PHOTOPERIOD = "photoperiod"
    DAY_NEUTRAL = "day-neutral"


class Stock(StrEnum):
    """What was set: rooted cuttings of one plant, or seedlings."""

    CLONE = "clone"
    SEED = "seed"


class Variety(Noun):
    """A variety; what is left out takes the default of its kind, with a wide spread.

    `critical_day_length` counts sunrise to sunset plus half an hour of twilight. `cbd_plateau` is
    total CBD of the official top at maturity, `cbd_to_thc` the ratio when THC peaks. Every `_sd`
    is how unsure the value is for this farm; a variety grown here before has small ones.
    """

    name: Name
    response: Response = Response.PHOTOPERIOD
    critical_day_length: Annotated[float, Measure("a day length", "11 h", "17 h")] | None = None
    critical_day_length_sd: Annotated[float, Measure("a day length", "0 h", "1 h")] | None = None
    inductive_days: Annotated[float, Measure("a number of days", "1 days", "60 days")] | None = None
    cbd_plateau: Annotated[float, Measure("a share", "0.5 %", "30 %")] | None = None
    cbd_plateau_sd: Annotated[float, Ratio(0.0, 1.0)] | None = None
    cbd_to_thc: Annotated[float, Ratio(1.0, 100.0)] | None = None
    cbd_to_thc_sd: Annotated[float, Ratio(0.0, 1.0)] | None = None
    peak_day: Annotated[float, Measure("a number of days", "20 days", "120 days")] | None = None
    peak_day_sd: Annotated[float, Measure("a number of days", "0 days", "20 days")] | None = None
    is_invented: bool = False
    note: Note = ""


class Lot(Noun):
    """A contiguous area of one variety: the unit the law samples, passes and fails.

    `plants_set` went into the ground, `plants_counted` (when counted) are alive. `plant_yield` is
    the threshed dry biomass expected of one plant at the selling moisture.
    """

    name: Name
    field: Name
    variety: Name
    stock: Stock = Stock.CLONE
    area: Annotated[float, Measure("an area", "0.05 acre", "500 acre")]
    set_on: Date
    plants_set: Annotated[int, Count(10, 2_000_000)]
    plants_counted: Annotated[int, Count(0, 2_000_000)] | None = None
    plants_per_stick: Annotated[int, Count(1, 12)]
    plant_yield: Annotated[float, Measure("a mass", "0.02 lb", "8 lb")]
    plant_yield_sd: Annotated[float, Ratio(0.0, 1.0)] | None = None
    note: Note = ""
