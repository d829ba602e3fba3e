"""Classes of varieties to start from, and when each flowers where the farm lies.

No class is a variety anybody sells. Each says only what its kind is known by; all else keeps the
wide spread of `crop.prior` and `potency.prior` until the farm's own seasons narrow it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from tierpole.charts import words
from tierpole.crop.phenology import flower_day
from tierpole.crop.prior import draw_flowering, flowering_prior
from tierpole.farm import Response, Stock, Variety
from tierpole.outlook.summary import summarise
from tierpole.weather import DailyRecord, clean, day_length, fill_gaps, season_pool
from tierpole.weather.seasons import DAY_OF_YEAR, DAYS

DRAWS = 400


@dataclass(frozen=True)
class VarietyClass:
    """A class of varieties: its key, its name, how it is set, what a variety of it says."""

    key: str
    name: str
    stock: Stock
    says: dict[str, Any]

    def variety(self, name: str, ratio: float | None = None) -> Variety:
        """A variety of this class, with its ratio of CBD to THC if that is known."""
        said = {"name": name, "note": f"Starter class: {self.key}", **self.says}
        known = {} if ratio is None else {"cbd_to_thc": ratio}
        return Variety.model_validate(said | known)


# day lengths: the middle of each class, as `crop.prior` has it (early 15.0 h to late 14.0 h)
CLASSES: tuple[VarietyClass, ...] = (
    VarietyClass("early", "Early, from cuttings", Stock.CLONE,
                 {"critical_day_length": 15.0, "critical_day_length_sd": 0.15}),
    VarietyClass("mid-season", "Mid-season, from cuttings", Stock.CLONE, {}),
    VarietyClass("late", "Late, from cuttings", Stock.CLONE,
                 {"critical_day_length": 14.0, "critical_day_length_sd": 0.15}),
    VarietyClass("day-neutral", "Day-neutral, from seed", Stock.SEED,
                 {"response": Response.DAY_NEUTRAL}),
)  # fmt: skip
USUAL = CLASSES[1]


def class_of(variety: Variety) -> VarietyClass:
    """The class a variety was started from, else the one its response suggests."""
    key = variety.note.removeprefix("Starter class: ")
    neutral = variety.response is Response.DAY_NEUTRAL
    return class_named(key) or (CLASSES[-1] if neutral else USUAL)


def class_named(key: str) -> VarietyClass | None:
    """The class of a key."""
    return next((one for one in CLASSES if one.key == key), None)


def flowering_days(
    variety: Variety, record: DailyRecord, latitude: float, set_on: date
) -> tuple[date, date, date]:
    """Early, middle and late first flower (8 of 10 seasons lie between) of plants set on a day."""
    day = (set_on - date(set_on.year, 4, 1)).days
    pool = _mean_temperature(record)
    rng = np.random.default_rng(1)
    drawn = draw_flowering([flowering_prior(variety)], np.zeros(1, np.intp), DRAWS, rng).of_lot(0)
    length = day_length(latitude, DAY_OF_YEAR)
    rows = np.arange(DRAWS) % len(pool)
    told = summarise(flower_day(length, pool, rows, day, drawn))
    first = date(set_on.year, 4, 1)
    early, middle, late = (
        first + timedelta(days=min(int(one), DAYS - 1))
        for one in (told.low, told.median, told.high)
    )
    return early, middle, late


def flowering_words(variety: Variety, record: DailyRecord, latitude: float, set_on: date) -> str:
    """When a variety begins to flower, in words."""
    early, middle, late = flowering_days(variety, record, latitude, set_on)
    first, day, last = (words.short_day(one) for one in (early, middle, late))
    return f"begins to flower about {day}, in 8 of 10 seasons from {first} to {last}"


@lru_cache(maxsize=4)
def _mean_temperature(record: DailyRecord) -> np.ndarray:
    """Mean temperature [season, day] of every whole season of a record."""
    pool = season_pool(fill_gaps(clean(record)[0])[0])
    return 0.5 * (pool.t_min + pool.t_max)
