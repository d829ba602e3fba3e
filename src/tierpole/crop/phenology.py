"""When a lot starts to flower.

A photoperiod-sensitive variety counts inductive days: each day adds its temperature response times
its photoperiod response, and flowers start once enough is gathered. A day-neutral variety has an
infinite critical day length, so that temperature alone counts.

A *day* here is a number on the season axis, 0 for the first day. A whole number means the evening
of that day, so a lot that gathers its last tenth of a day on day 131 starts at 130.1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

_HEMP_RESPONSE = "Lisson, Mendham & Carberry 2000, Aust. J. Exp. Agric. 40:405-412"

COEFFICIENTS = Table(
    "Flower initiation",
    (
        Value("temperature_base", 1.0, "°C", Mark.PUBLISHED, _HEMP_RESPONSE),
        Value("temperature_best", 29.0, "°C", Mark.MEMORY, _HEMP_RESPONSE),
        Value("temperature_most", 41.0, "°C", Mark.MEMORY, _HEMP_RESPONSE),
        Value(
            "twilight",
            0.5,
            "h",
            Mark.INFERENCE,
            "about half of civil twilight brings chamber lamp hours and field dates together",
            low=0.25,
            high=0.75,
            note="another 0.5 h moves the date by two to three weeks: never mix conventions",
        ),
    ),
)


@dataclass(frozen=True)
class FloweringDraws:
    """What decides flowering, one value per draw [draw], or per draw and lot [draw, lot].

    `critical` [h] is the day length at half rate (infinite if day-neutral), `slope` [h] how
    gradual the response is, `inductive_days` [d] how many days at full rate are needed, `lag` [d]
    how long after them the first flowers are initiated.
    """

    critical: Array
    slope: Array
    inductive_days: Array
    lag: Array

    def of_lot(self, lot: int) -> FloweringDraws:
        """The draws of one lot."""
        return FloweringDraws(
            self.critical[:, lot], self.slope[:, lot], self.inductive_days[:, lot], self.lag[:, lot]
        )


def temperature_response(temperature: Array) -> Array:
    """Share of the fastest development that a day's mean temperature allows.

    Parameters
    ----------
    temperature : daily mean air temperature [°C], any shape

    Returns
    -------
    share of the fastest development [-], same shape

    Equation: f = (T - 1)/28 up to 29 °C, then (41 - T)/12, both within 0..1.

    Source: cardinal temperatures of hemp, Lisson, Mendham & Carberry 2000, part 1 (base read,
    optimum and maximum from memory). Measured on emergence and leaf growth; that they also hold
    for floral induction is inference.
    Valid range: daily means of 1 to 41 °C.
    """
    base, best, most = (COEFFICIENTS[f"temperature_{name}"] for name in ("base", "best", "most"))
    rising = (temperature - base) / (best - base)
    falling = (most - temperature) / (most - best)
    return np.clip(np.minimum(rising, falling), 0.0, 1.0)


def photoperiod_response(day_length: Array, critical: Array, slope: Array) -> Array:
    """Share of the fastest induction that a day length allows.

    Parameters
    ----------
    day_length : day length as the plant feels it [h]
    critical : day length at half rate [h]; infinite for a day-neutral variety
    slope : how gradual the response is [h]

    Returns
    -------
    share of the fastest induction [-], broadcast

    Equation: 1 / (1 + exp((P - Pc) / w)).

    Source: inference. A logistic form of the phases of Lisson et al. 2000 (40:413), with Pc and w
    chosen to meet the chamber delays of Zhang, Anderson, Brym & Pearson 2021 (Front. Plant Sci.
    12:694153) and field dates of seeded plants at 25.5 °N. Pc, w and the inductive days trade off
    against each other: draw them together.
    Valid range: 11 to 18 h.
    """
    return 1.0 / (1.0 + np.exp((day_length - critical) / slope))


def flower_day(
    day_length: Array,
    temperature_mean: Array,
    weather_row: NDArray[np.intp],
    set_day: int,
    flowering: FloweringDraws,
    juvenile_heat: float = 0.0,
    twilight: float = COEFFICIENTS["twilight"],
) -> Array:
    """Day on which half of a lot's plants have initiated flowers.

    Parameters
    ----------
    day_length : sunrise to sunset [h], [day]
    temperature_mean : daily mean air temperature [°C], [weather season, day]
    weather_row : weather season of each draw, [draw]
    set_day : day of setting, or of emergence when sown in place; the day after it counts first
    flowering : what decides flowering, fields [draw]
    juvenile_heat : degree days above the base before day length counts [°C d]; 0 for rooted
        cuttings and hardened plants of five nodes or more, about 380 from emergence (from memory)
    twilight : hours of twilight that the plant counts as day [h]

    Returns
    -------
    flower initiation [day], [draw]; the number of days on the axis means "not this season"

    Equation: the first day with sum of f(T) / (1 + exp((P - Pc)/w)) >= Dn, plus lag; a share of
    the last day by linear interpolation.

    Source: phases of Lisson, Mendham & Carberry 2000; form and numbers see `photoperiod_response`.
    Departure: on 12-hour days it takes about two weeks, where one trial in south Florida
    (core.ac.uk work 40444499) saw flowers within one week of transplanting.
    Valid range: 25 to 45 degrees of latitude, set from May to July.
    """
    counted = slice(set_day + 1, None)
    temperature = temperature_mean[:, counted]
    by_warmth = temperature_response(temperature) * _share_after(juvenile_heat, temperature)
    by_light = photoperiod_response(
        day_length[counted] + twilight, flowering.critical[:, None], flowering.slope[:, None]
    )
    step = by_warmth[weather_row] * by_light
    gathered = np.cumsum(step, axis=1)
    last = day_length.size
    reached = _crossing(gathered, step, flowering.inductive_days)
    return np.minimum(set_day + reached + flowering.lag, last)


def flower_days(
    day_length: Array,
    temperature_mean: Array,
    weather_row: NDArray[np.intp],
    set_day: NDArray[np.intp],
    flowering: FloweringDraws,
) -> Array:
    """`flower_day` of every lot [draw, lot], from setting days [lot] and draws [draw, lot]."""
    lots = range(set_day.size)
    days = [
        flower_day(
            day_length, temperature_mean, weather_row, int(set_day[lot]), flowering.of_lot(lot)
        )
        for lot in lots
    ]
    return np.stack(days, axis=1)


def _share_after(juvenile_heat: float, temperature: Array) -> Array:
    """Share of each day [row, day] that lies after the juvenile phase."""
    gain = np.maximum(temperature - COEFFICIENTS["temperature_base"], 0.0)
    beyond = np.cumsum(gain, axis=1) - juvenile_heat
    return np.clip(beyond / np.maximum(gain, 1e-9), 0.0, 1.0)


def _crossing(gathered: Array, step: Array, needed: Array) -> Array:
    """Days until `gathered` [draw, day] reaches `needed` [draw]; infinite if it never does."""
    short = gathered < needed[:, None]
    index = np.minimum(short.sum(axis=1), gathered.shape[1] - 1)
    here = (np.arange(needed.size), index)
    missing = needed - (gathered[here] - step[here])
    reached = gathered[:, -1] >= needed
    share = np.divide(missing, step[here], out=np.full(needed.size, np.inf), where=reached)
    return index + share
