"""What hanging costs: the chance that mould is seen, and the share of the value that goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from tierpole.barn import mould, targets
from tierpole.evidence import Mark, Table, Value
from tierpole.moist_air import COEFFICIENTS as AIR

Array = NDArray[np.float64]

COEFFICIENTS = Table(
    "Losses while hanging",
    (
        Value(
            "plant_spread", 1.5, "geometric SD", Mark.INFERENCE,
            "how unlike the plants of one hanging are in what they stand before mould shows",
        ),
        Value(
            "dose_visible", 2.0, "1", Mark.INFERENCE,
            "the critical dose marks the first growth under a microscope; in the index model "
            "growth is seen by eye after about twice that time",
        ),
        Value(
            "mould_value", 0.20, "share", Mark.INFERENCE,
            "value of a stick lost when mould shows on it: cut out, docked or refused", 0.1, 0.6,
        ),
        Value(
            "hang_days", 14.0, "d", Mark.INFERENCE, "the hang that cannabinoid losses are told of",
        ),
        Value("age_reference", 20.0, "°C", Mark.PRACTICE, "at which loss in store is told"),
        Value("gas_constant", 8.314462618, "J/mol/K", Mark.PUBLISHED, "CODATA 2018"),
        Value(
            "heat_plant", 1400.0, "J/kg/K", Mark.INFERENCE, "dry plant matter, as wood and hay",
        ),
        Value(
            "houseburn_humidity", 0.80, "share", Mark.PUBLISHED,
            "above it for three warm days in a row leaf rots (houseburn): University of Kentucky "
            "2003, burley curing; here of the mean over about the last day",
        ),
        Value("houseburn_hours", 72.0, "h", Mark.PUBLISHED, "as above"),
        Value(
            "houseburn_temperature", 15.5, "°C", Mark.INFERENCE, "warm: the 60 °F curing begins at",
        ),
        Value(
            "shatter_slope", 0.6, "share/share", Mark.INFERENCE,
            "hay loses 3 points more leaf at 13 % moisture than at 18 %", 0.3, 1.5,
        ),
    ),
)  # fmt: skip

_C = COEFFICIENTS


@dataclass(frozen=True)
class Outcome:
    """What became of each hanging, arrays [barn_draw, ...] of one shape.

    `drying_days` [d] is the time its flower was above the target until it had been at or below it
    for a day in sum: the day it is dry, plus what damp nights undo. `days_most` where that never
    came. `drying_loss` [share] of the value, `mould_risk` [chance] over all tiers, `wet_days` [d]
    in which grey mould from the field could grow on, `houseburn` 1 where some tier was damp and
    warm for three days on end, else 0; `decarboxylated` [share] of the acids.
    """

    drying_days: NDArray[np.float32]
    drying_loss: NDArray[np.float32]
    mould_risk: NDArray[np.float32]
    wet_days: NDArray[np.float32]
    houseburn: NDArray[np.float32]
    decarboxylated: NDArray[np.float32]


def visible_dose(dose_critical: ArrayLike) -> Array:
    """Dose of damp warmth at which mould is seen by eye.

    Parameters
    ----------
    dose_critical : at which it starts [d at 20 °C and 90 %], any shape

    Returns
    -------
    dose : [d at 20 °C and 90 %]

    Equation: 2 D_crit.
    Source: ours (inference), from the ratio of visible to starting time of Hukka & Viitanen 1999.
    """
    return _C["dose_visible"] * np.asarray(dose_critical, dtype=float)


def mould_chance(dose: ArrayLike, dose_critical: ArrayLike, index: ArrayLike) -> Array:
    """Chance that mould is seen on a stick, two models of equal weight.

    Parameters
    ----------
    dose : of damp warmth felt while hanging [d at 20 °C and 90 %], any shape
    dose_critical : at which mould has started on half the plants [d at 20 °C and 90 %], broadcast
    index : growth index reached [1], broadcast

    Returns
    -------
    chance : [1]

    Equation: P = ½ Φ[ln(D / 2 D_crit)/s] + ½ Φ[ln(M/3)/s], s the log SD between plants.
    Source: ours (inference); D_crit after Thelandersson & Isaksson 2013, index 3 = seen by eye
    after Hukka & Viitanen 1999.
    """
    spread = np.log(_C["plant_spread"])
    with np.errstate(divide="ignore"):  # no dose, no mould: Φ(-∞) is 0
        by_dose = np.log(np.asarray(dose, dtype=float) / visible_dose(dose_critical))
        by_index = np.log(np.asarray(index, dtype=float) / mould.COEFFICIENTS["index_visible"])
    return (ndtr(by_dose / spread) + ndtr(by_index / spread)) / 2


# reference form: tests hold `kernel.hours` to it
def ageing_pace(temperature: ArrayLike, activation: ArrayLike) -> Array:
    """How much faster than at 20 °C cannabinoids change in store.

    Parameters
    ----------
    temperature : [°C], any shape
    activation : energy [J/mol], broadcast

    Returns
    -------
    pace : [1]

    Equation: exp[E/R (1/293.15 - 1/T)], T in K.
    Source: Arrhenius; a first-order network fits flower stored at -20 to 40 °C (Meija et al. 2021,
    Anal. Bioanal. Chem., 10.1007/s00216-020-03098-2). Kinetics of hot ovens, carried down to a
    barn's warmth, overstate the loss ten to a hundred times and are not used.
    """
    zero = AIR["zero_celsius"]
    kelvin, reference = np.asarray(temperature, dtype=float) + zero, _C["age_reference"] + zero
    return np.exp(np.asarray(activation) / _C["gas_constant"] * (1 / reference - 1 / kelvin))


def decarboxylated_share(age: ArrayLike, rate: ArrayLike) -> Array:
    """Share of the acids that has become neutral cannabinoids; total CBD and THC stay.

    Parameters
    ----------
    age : days at 20 °C with the same effect, the sum of `ageing_pace` [d], any shape
    rate : at 20 °C [1/d], broadcast

    Returns
    -------
    share : [1]

    Equation: 1 - exp(-k A).
    Source: first order (Meija et al. 2021, Anal. Bioanal. Chem.); rate ours (inference).
    """
    return -np.expm1(-np.asarray(rate) * np.asarray(age, dtype=float))


def cannabinoid_share_lost(age: ArrayLike, loss: ArrayLike) -> Array:
    """Share of the cannabinoids that is gone after hanging.

    Parameters
    ----------
    age : days at 20 °C with the same effect, the sum of `ageing_pace` [d], any shape
    loss : in an ordinary hang of 14 days at 20 °C [share], broadcast

    Returns
    -------
    share : [1]

    Equation: 1 - (1 - loss)^(A / 14).
    Source: first-order loss (Meija et al. 2021, Anal. Bioanal. Chem.); size is ours (inference).
    Departures: decarboxylation costs no total CBD.
    """
    return 1 - (1 - np.asarray(loss, dtype=float)) ** (np.asarray(age) / _C["hang_days"])


def shatter_share_lost(moisture: ArrayLike) -> Array:
    """Share of leaf and flower that shatters because it is taken down too dry.

    Parameters
    ----------
    moisture : of the flower when taken down, wet basis [share], any shape

    Returns
    -------
    share : [1]

    Equation: 0.6 for each share of moisture below 9 % wet basis.
    Source: ours (inference), slope from hay.
    """
    short = targets.COEFFICIENTS["moisture_brittle"] - np.asarray(moisture, dtype=float)
    return _C["shatter_slope"] * np.maximum(short, 0)


def value_share_lost(mould: ArrayLike, cannabinoid: ArrayLike, shatter: ArrayLike) -> Array:
    """Share of a stick's value lost while hanging, each loss taken from what the others leave.

    Parameters
    ----------
    mould : chance that mould is seen [1], any shape
    cannabinoid : share of cannabinoids lost [1], broadcast
    shatter : share of flower lost by shatter [1], broadcast

    Returns
    -------
    share : [1]

    Equation: 1 - (1 - 0.20 P)(1 - c)(1 - s).
    Source: ours (inference).
    """
    kept = 1 - _C["mould_value"] * np.asarray(mould, dtype=float)
    return 1 - kept * (1 - np.asarray(cannabinoid)) * (1 - np.asarray(shatter))
