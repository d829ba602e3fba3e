"""Readings of air and of weights before they are believed: gaps, stuck sensors, wrong units, drift.

What is found is named with its hours and left out or widened, never silently bent.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from enum import StrEnum
from math import nan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value
from tierpole.units import POUND

Array = NDArray[np.float64]
Hours = NDArray[np.int64]
Bools = NDArray[np.bool_]

_LOGGER = "cheap loggers are sold with 3-5 points and half a kelvin; tier and draught add to it"

COEFFICIENTS = Table(
    "Readings in a barn",
    (
        Value(
            "temperature_error", 1.0, "K", Mark.INFERENCE,
            f"SD of a block's mean temperature against the place's: {_LOGGER}", 0.5, 2.0,
        ),
        Value(
            "humidity_error", 0.04, "share", Mark.INFERENCE,
            f"SD of a block's mean humidity against the place's: {_LOGGER}", 0.03, 0.05,
        ),
        Value(
            "weight_error", 0.3 * POUND, "kg", Mark.INFERENCE,
            "SD of a hanging scale, 0.1-0.5 lb", 0.1 * POUND, 0.5 * POUND,
        ),
        Value(
            "stick_error", 0.03, "share", Mark.INFERENCE,
            "SD of what a few sticks weigh against what all of the hanging do, once both have lost "
            "the same share",
        ),
        Value("offset_warm", 0.5, "K", Mark.INFERENCE, "SD of a thermometer's own offset"),
        Value("drift_start", 0.02, "share", Mark.INFERENCE, "SD of a humidity sensor's own offset"),
        Value(
            "drift_dry", 0.002, "share/√d", Mark.INFERENCE, "how fast that offset wanders when dry",
        ),
        Value(
            "drift_wet", 0.01, "share/√d", Mark.INFERENCE,
            "and after hours above `wet`: sensors read high for a day or more after wetting",
        ),
        Value("wet", 0.95, "share", Mark.INFERENCE, "humidity that wets a sensor"),
        Value("block", 3.0, "h", Mark.INFERENCE, "readings so near each other count as one"),
        Value("gap", 6.0, "h", Mark.PRACTICE, "a silence as long as this is told: a night is gone"),
        Value(
            "stuck", 12.0, "h", Mark.PRACTICE,
            "as long without the least change is a stuck sensor; air moves more, fog aside",
        ),
        Value("fog", 0.985, "share", Mark.PRACTICE, "humidity at which a sensor may truly stand"),
        Value(
            "heater_short", 3.0, "K", Mark.INFERENCE,
            "colder than foretold by as much, while the heater should run, is a failing heater",
        ),
    ),
)  # fmt: skip

_C = COEFFICIENTS


class Trouble(StrEnum):
    """What may be wrong with readings, or what they tell of a place."""

    GAP = "gap"
    STUCK = "stuck"
    GROSS = "gross"
    KILOGRAMS = "kilograms"  # written as pounds
    POUNDS = "pounds"  # written as kilograms
    HEATER = "heater"


# what makes a weight in the wrong unit right
FACTORS = {Trouble.KILOGRAMS: 1 / POUND, Trouble.POUNDS: POUND}


@dataclass(frozen=True)
class Finding:
    """One trouble: of what (temperature, humidity, or the lot weighed), when, and the figures."""

    trouble: Trouble
    what: str
    first_hour: int
    last_hour: int
    value: float = nan  # read
    likely: float = nan  # foretold


@dataclass(frozen=True)
class AirSeries:
    """Air of a place by hour of the season, readings within an hour averaged [reading].

    `tier` is where it was read, 1 the lowest; 0 for the place as a whole.
    """

    hour: Hours
    temperature: Array  # [°C]
    humidity: Array  # [share]
    tier: Hours

    def __len__(self) -> int:
        return self.hour.size

    def take(self, rows: NDArray[np.int64] | Bools) -> AirSeries:
        """Some of the readings."""
        return AirSeries(*(getattr(self, field.name)[rows] for field in fields(self)))


def air_series(
    hour: ArrayLike, temperature: ArrayLike, humidity: ArrayLike, tier: ArrayLike = 0
) -> AirSeries:
    """Readings in any order as a series, one an hour; at several tiers, the place as a whole."""
    hours, row = np.unique(np.asarray(hour, dtype=np.int64), return_inverse=True)
    count = np.maximum(np.bincount(row, minlength=hours.size), 1)
    where = np.broadcast_to(np.asarray(tier, dtype=float), row.shape)
    warm, damp, mean, square = (
        np.bincount(row, values, hours.size) / count
        for values in (
            np.asarray(temperature, dtype=float), np.asarray(humidity, dtype=float),
            where, where**2,
        )
    )  # fmt: skip
    is_one = square - mean**2 < 1e-9
    return AirSeries(hours, warm, damp, np.where(is_one, mean, 0).astype(np.int64))


def gaps(hour: Hours) -> Iterator[Finding]:
    """Silences of `gap` hours or more of what else reads every hour or so: of a logger."""
    if hour.size < 3 or np.median(np.diff(hour)) > _C["block"]:
        return
    for row in np.flatnonzero(np.diff(hour) > _C["gap"]):
        yield Finding(Trouble.GAP, "air", int(hour[row]) + 1, int(hour[row + 1]) - 1)


def stuck(series: AirSeries) -> tuple[Bools, list[Finding]]:
    """Readings that did not move for `stuck` hours, and the stretches; fog may hold humidity."""
    marked = np.zeros(len(series), dtype=np.bool_)
    found: list[Finding] = []
    for what in ("temperature", "humidity"):
        values = getattr(series, what)
        for first, last in _still(values):
            span = int(series.hour[last] - series.hour[first])
            is_fog = what == "humidity" and values[first] >= _C["fog"]
            if span + 1 >= _C["stuck"] and not is_fog:
                hours = int(series.hour[first]), int(series.hour[last])
                found.append(Finding(Trouble.STUCK, what, *hours, float(values[first])))
                marked[first : last + 1] = True
    return marked, found


def _still(values: Array) -> Iterator[tuple[int, int]]:
    """First and last row of every stretch of equal values."""
    edges = np.flatnonzero(np.diff(values) != 0)
    starts = np.concatenate(([0], edges + 1))
    ends = np.concatenate((edges, [values.size - 1]))
    yield from ((int(a), int(b)) for a, b in zip(starts, ends, strict=True) if b > a)


def blocks(hour: Hours) -> Hours:
    """The block of `block` hours each reading belongs to [reading]."""
    return hour // int(_C["block"])


def drift_variance(humidity: ArrayLike, hours: ArrayLike) -> Array:
    """How much more unsure a humidity sensor's offset has become after some hours.

    Parameters
    ----------
    humidity : that it read [share], any shape
    hours : that passed [h], broadcast

    Returns
    -------
    variance : to add to that of its offset [share²]

    Equation: q² t, q larger above the wetting humidity; t in days.
    Source: ours (inference): a random walk; capacitive sensors read high after wetting.
    """
    pace = np.where(np.asarray(humidity) > _C["wet"], _C["drift_wet"], _C["drift_dry"])
    return np.square(pace) * np.asarray(hours, dtype=float) / 24


def unit_slip(value: float, predicted: Array, error: float, limit: float) -> Trouble | None:
    """Whether a weight that nobody foretold would be one in the other unit.

    Parameters
    ----------
    value : as written [kg]
    predicted : of the members [kg], [member]
    error : standard deviation of the scale [kg]
    limit : how far from the forecast a weight may lie [SD]

    Returns
    -------
    trouble : `KILOGRAMS` where kilograms were written as pounds, `POUNDS` the other way, else None
    """
    mean = float(predicted.mean())
    spread = float(np.sqrt(predicted.var(ddof=1) + error**2))

    def misses(weight: float) -> float:
        return abs(weight - mean) / spread

    if misses(value) <= limit:
        return None
    for trouble, factor in FACTORS.items():
        if misses(value * factor) <= limit:
            return trouble
    return None


def heater_finding(
    hour: Hours, temperature: Array, predicted: Array, heated: Bools
) -> Finding | None:
    """A heater that should run and gives nothing, by how cold it is against the forecast.

    Parameters
    ----------
    hour : of the readings [reading]
    temperature : read [°C], [reading]
    predicted : mean of the forecast with the heater running [°C], [reading]
    heated : whether it should have run [reading]
    """
    short = heated & (predicted - temperature > _C["heater_short"])
    if short.sum() < 2 or short[heated].mean() < 0.5:
        return None
    rows = np.flatnonzero(short)
    first, last = int(hour[rows[0]]), int(hour[rows[-1]])
    read, likely = float(temperature[rows].mean()), float(predicted[rows].mean())
    return Finding(Trouble.HEATER, "temperature", first, last, read, likely)
