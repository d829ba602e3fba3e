"""What the field takes before the cut: frost, grey mould, caterpillars, age.

Each cause is a share of the flower lost by the evening of each day, between 0 and 1 and never
falling. They act on what the others left, and they help each other: mould enters through frosted
and gnawed flowers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

_FROST = "temperature bands of UVM Extension 2019 (hurt 25-28 °F, heavy at 24 °F and below)"
_MOULD_GRAPE = "Broome et al. 1995, grape: coefficients as in two open implementations"
_NO_HEMP = "no field equation for hemp was found; to be replaced by the farm's own records"

COEFFICIENTS = Table(
    "Field losses",
    (
        Value("frost_width", 5 / 9, "°C", Mark.INFERENCE, f"1 °F, inside the {_FROST}"),
        Value("mould_constant", -2.647866, "1", Mark.PUBLISHED, _MOULD_GRAPE),
        Value("mould_wet", -0.374927, "1/h", Mark.PUBLISHED, _MOULD_GRAPE),
        Value("mould_wet_warm", 0.061601, "1/(h °C)", Mark.PUBLISHED, _MOULD_GRAPE),
        Value("mould_wet_warm2", -0.001511, "1/(h °C2)", Mark.PUBLISHED, _MOULD_GRAPE),
        Value("mould_cold_none", 8.0, "°C", Mark.INFERENCE, "outside the range of the experiments"),
        Value("mould_cold_full", 12.0, "°C", Mark.PUBLISHED, "lower end of the experiments"),
        Value("mould_hot_full", 30.0, "°C", Mark.PUBLISHED, "upper end of the experiments"),
        Value("mould_hot_none", 34.0, "°C", Mark.INFERENCE, "outside the range of the experiments"),
        Value("dense_from", 21.0, "d", Mark.INFERENCE, "first dense flower; " + _NO_HEMP),
        Value("dense_full", 49.0, "d", Mark.INFERENCE, "closed heads; " + _NO_HEMP),
        Value(
            "mould_by_frost",
            3.0,
            "1",
            Mark.INFERENCE,
            "mould enters frosted flower three times as fast; after a damaging night cut in 2-3 d",
        ),
        Value(
            "mould_by_wounds",
            2.5,
            "1",
            Mark.INFERENCE,
            "caterpillar wounds let mould in, two to three times as fast",
            low=2.0,
            high=3.0,
        ),
        Value(
            "wounds_full",
            0.08,
            "share",
            Mark.INFERENCE,
            "bud loss of a flight year, at which the wounds count in full",
        ),
        Value("shatter_from", 42.0, "d", Mark.INFERENCE, "fan leaf and ripe flower begin to fall"),
    ),
)

_HOURS_IN_DAY = 24.0


@dataclass(frozen=True)
class LossDraws:
    """What decides the losses of a field, one value per draw [draw].

    `frost_half` [°C] and `frost_most` [-] shape the damage of a night, `mould_rate` [1/d] and
    `mould_growth` [1/d] new and spreading rot, `caterpillar_loss` [-] is the season's loss of
    buds, `shatter_rate` [1/d] the fall of ripe leaf and flower.
    """

    frost_half: Array
    frost_most: Array
    mould_rate: Array
    mould_growth: Array
    caterpillar_loss: Array
    shatter_rate: Array


@dataclass(frozen=True)
class FieldWeather:
    """What the weather does to flowers, [weather season, day].

    `night` is the daily minimum [°C] at the station (at plant height after `in_field`),
    `infection` see `infection_grey_mould`, `wet_share` [1] of the day that is wet.
    """

    night: Array
    infection: Array
    wet_share: Array

    @classmethod
    def of(cls, night: Array, hours_wet: Array, temperature_wet: Array) -> FieldWeather:
        """From nightly minima [°C], wet hours of a night and their mean temperature [°C]."""
        infection = infection_grey_mould(hours_wet, temperature_wet)
        return cls(night, infection, hours_wet / _HOURS_IN_DAY)

    def in_field(self, night_offset: float) -> FieldWeather:
        """The same weather where nights are `night_offset` [°C] warmer (hollows: colder)."""
        return replace(self, night=self.night + night_offset)


@dataclass(frozen=True)
class FieldLoss:
    """Share of the flower lost by the evening of each day, by cause, [draw, day]."""

    frost: Array
    mould: Array
    caterpillars: Array
    shatter: Array

    @property
    def besides_frost(self) -> Array:
        """Lost to mould, caterpillars and shatter together."""
        return 1.0 - (1.0 - self.mould) * (1.0 - self.caterpillars) * (1.0 - self.shatter)

    @property
    def total(self) -> Array:
        """Lost to all causes together."""
        return 1.0 - (1.0 - self.frost) * (1.0 - self.besides_frost)


def frost_damage(night: Array, half: Array | float, most: Array | float) -> Array:
    """Share of flower quality that one cold night takes.

    Parameters
    ----------
    night : minimum temperature at plant height [°C]
    half : temperature of half the most damage [°C]
    most : damage of a very cold night [-]

    Returns
    -------
    share [-], broadcast

    Equation: y = ymax / (1 + exp((T - T50) / width)), width 1 °F.

    Source: inference from the bands of UVM Extension 2019, repeated by Purdue. No source gives
    the effect of duration. CBD itself is not lost; purple colour is no damage.
    """
    return most * expit((half - night) / COEFFICIENTS["frost_width"])


def infection_index(hours_wet: Array | float, temperature: Array | float) -> Array:
    """Linear predictor of grey-mould infection in one wet event.

    Parameters
    ----------
    hours_wet : hours wet in the event [h]
    temperature : mean while wet [°C]

    Returns
    -------
    index z [-], broadcast; <= 0 none, below 0.5 low, below 1 moderate, from 1 high

    Equation: z = -2.647866 - 0.374927 W + 0.061601 W T - 0.001511 W T^2.

    Source: Broome, English, Marois, Latorre & Aviles 1995, Phytopathology 85:97, grape berries.
    Valid range: 12 to 30 °C.
    """
    by_warmth = (
        COEFFICIENTS["mould_wet"]
        + COEFFICIENTS["mould_wet_warm"] * temperature
        + COEFFICIENTS["mould_wet_warm2"] * np.square(temperature)
    )
    return COEFFICIENTS["mould_constant"] + hours_wet * by_warmth


def infection_grey_mould(hours_wet: Array, temperature: Array) -> Array:
    """Chance that exposed flower is infected by grey mould in one wet event, relative.

    Parameters
    ----------
    hours_wet : hours wet in the event [h]
    temperature : mean while wet [°C]

    Returns
    -------
    relative infection [-], broadcast, 0 when dry

    Equation: taper(T) max(0, Y(z) - Y(z at W = 0)), Y logistic.

    Source: `infection_index`.
    Departures: by inference, the baseline of a dry event (0.066) is taken off, and outside the
    12-30 °C of the experiments infection falls to 0 at 8 and 34 °C.
    """
    dry = expit(COEFFICIENTS["mould_constant"])
    raw = expit(infection_index(hours_wet, temperature)) - dry
    return _taper(temperature) * np.maximum(raw, 0.0)


def susceptibility(days_flowering: Array) -> Array:
    """How open flower is to rot.

    Parameters
    ----------
    days_flowering : days since flower initiation [d], any shape

    Returns
    -------
    share [-], same shape

    Equation: (tau - 21)/(49 - 21), within 0..1.

    Source: inference; dense heads hold water, and incidence at harvest follows weather at bloom
    (Wilcox & Seem 1994, Phytopathology 84:264).
    """
    start, full = COEFFICIENTS["dense_from"], COEFFICIENTS["dense_full"]
    return np.clip((days_flowering - start) / (full - start), 0.0, 1.0)


def disease_progress(new: Array, growth: Array) -> Array:
    """Share of flower rotten by the evening of each day.

    Parameters
    ----------
    new : rate of new infection on each day [1/d], [..., day]
    growth : rate at which rot spreads to neighbours on each day [1/d], same shape

    Returns
    -------
    share [-], same shape, never falling

    Equation: dx/dt = (a + g x)(1 - x), solved exactly within each day: with v = 1/(1 - x),
    v' = v e^(a+g) - g (e^(a+g) - 1)/(a + g).

    Source: monomolecular plus logistic disease progress (Madden, Hughes & van den Bosch 2007,
    The Study of Plant Disease Epidemics, ch. 4, from memory).
    """
    rate = new + growth
    swell = np.expm1(rate)
    fed_back = np.divide(growth * swell, rate, out=np.zeros_like(rate), where=rate > 0.0)
    healthy_inverse = np.ones(new.shape[:-1])
    rotten = np.empty_like(new)
    for day in range(new.shape[-1]):
        healthy_inverse = healthy_inverse + healthy_inverse * swell[..., day] - fed_back[..., day]
        rotten[..., day] = 1.0 - 1.0 / healthy_inverse
    return np.maximum.accumulate(np.maximum(rotten, 0.0), axis=-1)


def field_loss(
    days_flowering: Array,
    weather: FieldWeather,
    weather_row: NDArray[np.intp],
    draws: LossDraws,
) -> FieldLoss:
    """Share of a lot's flower lost by each day, by cause.

    Parameters
    ----------
    days_flowering : days since flower initiation [d], [draw, day], days one apart
    weather : what the weather does to flowers, [weather season, day]
    weather_row : weather season of each draw, [draw]
    draws : what decides the losses, fields [draw]

    Returns
    -------
    shares lost [-], [draw, day]

    Equation: frost and shatter 1 - product of what each day leaves; caterpillars in proportion
    to susceptibility; mould by `disease_progress` with new infection b Y S, tripled once frost
    has done all it can and times 2.5 in a full flight of caterpillars.

    Source: inference throughout (see the table), except infection Y.
    """
    flowering = days_flowering > 0.0
    dense = susceptibility(days_flowering)
    damage = frost_damage(
        weather.night[weather_row], draws.frost_half[:, None], draws.frost_most[:, None]
    )
    frost = 1.0 - (1.0 - damage * flowering).cumprod(axis=1)
    caterpillars = draws.caterpillar_loss[:, None] * dense
    entry = _entry(frost / draws.frost_most[:, None], caterpillars)
    new = draws.mould_rate[:, None] * weather.infection[weather_row] * dense * entry
    growth = draws.mould_growth[:, None] * weather.wet_share[weather_row] * (dense > 0.0)
    ripe_days = np.maximum(days_flowering - COEFFICIENTS["shatter_from"], 0.0)
    shatter = -np.expm1(-draws.shatter_rate[:, None] * ripe_days)
    return FieldLoss(frost, disease_progress(new, growth), caterpillars, shatter)


def _entry(frosted: Array, gnawed: Array) -> Array:
    """How many times faster mould enters frosted and gnawed flower than sound flower."""
    by_frost = (COEFFICIENTS["mould_by_frost"] - 1.0) * np.minimum(frosted, 1.0)
    wounded = np.minimum(gnawed / COEFFICIENTS["wounds_full"], 1.0)
    by_wounds = (COEFFICIENTS["mould_by_wounds"] - 1.0) * wounded
    return (1.0 + by_frost) * (1.0 + by_wounds)


def _taper(temperature: Array) -> Array:
    """1 inside the range of the experiments, falling to 0 on both sides."""
    cold_none, cold_full = COEFFICIENTS["mould_cold_none"], COEFFICIENTS["mould_cold_full"]
    hot_full, hot_none = COEFFICIENTS["mould_hot_full"], COEFFICIENTS["mould_hot_none"]
    warm = np.clip((temperature - cold_none) / (cold_full - cold_none), 0.0, 1.0)
    cool = np.clip((hot_none - temperature) / (hot_none - hot_full), 0.0, 1.0)
    return warm * cool
