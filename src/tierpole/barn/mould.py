"""Mould: how fast it comes in air of a given warmth and dampness.

Two models made for wood, an index of growth and a dose of damp warmth, and the isopleth below
which nothing grows. Neither was made for hemp flower: how much faster it moulds than pine is a
prior with a wide spread. Relative humidity as a share, temperature in °C, time in days.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

_INDEX = "Hukka & Viitanen 1999, Wood Sci. Technol. 33:475-485"
_CLASSES = "Ojanen, Viitanen et al. 2010, Buildings XI: mould growth modeling of building materials"
_DOSE = "Thelandersson & Isaksson 2013, Build. Environ. 65:18-25"
_ISOPLETH = "Zeng et al. 2023, Build. Serv. Eng. Res. Technol., 10.1177/01436244221137846"
_ISOPLETH_FLOORS = {
    "limit": 0.7153,
    "0.1": 0.7300,
    "0.5": 0.7675,
    "1": 0.7950,
    "2": 0.8250,
    "3": 0.8502,
    "4": 0.8701,
}
_BOTRYTIS = "cardinal model of Botrytis cinerea on grape berries: no growth below"


def _rows(mark: Mark, source: str, **values: tuple[float, str]) -> tuple[Value, ...]:
    return tuple(Value(name, number, unit, mark, source) for name, (number, unit) in values.items())


@dataclass(frozen=True)
class Sensitivity:
    """A sensitivity class of the growth index.

    `speed_start` and `speed` multiply growth below and above index 1. The index can reach
    `most_0 + most_1 x - most_2 x²`, x the excess over the critical humidity as a share of what is
    left to saturation. Below `humidity_least` nothing grows.
    """

    speed_start: float
    speed: float
    most_0: float
    most_1: float
    most_2: float
    humidity_least: float


# Ojanen et al. 2010, table of sensitivity classes
_CLASS_VALUES = {
    "very sensitive": (1.0, 2.0, 1.0, 7.0, 2.0, 0.80),
    "sensitive": (0.578, 0.386, 0.3, 6.0, 1.0, 0.80),
    "medium resistant": (0.072, 0.097, 0.0, 5.0, 1.5, 0.85),
    "resistant": (0.033, 0.014, 0.0, 3.0, 1.0, 0.85),
}
_CLASS_FIELDS = tuple(field.name for field in fields(Sensitivity))

COEFFICIENTS = Table(
    "Mould",
    (
        # critical humidity: cubic in °C up to `critical_warm`, then the class's least
        *_rows(
            Mark.PUBLISHED,
            _INDEX,
            critical_0=(1.0, "share"),
            critical_1=(-3.13e-2, "1/K"),
            critical_2=(0.160e-2, "1/K2"),
            critical_3=(-0.00267e-2, "1/K3"),
            critical_warm=(20.0, "°C"),
            coldest=(0.0, "°C"),
            hottest=(50.0, "°C"),
            # weeks until growth starts: exp(a ln T + b ln RH% + c)
            start_temperature=(-0.68, "1"),
            start_humidity=(-13.9, "1"),
            start_constant=(66.02, "1"),
            slowing=(2.3, "1"),
            index_visible=(3.0, "1"),
            decline_first=(0.00133, "1/h"),
            decline_first_hours=(6.0, "h"),
            decline_later=(0.000667, "1/h"),
            decline_later_hours=(24.0, "h"),
        ),
        *(
            Value(f"{name}: {field}", number, "1", Mark.PUBLISHED, _CLASSES)
            for name, numbers in _CLASS_VALUES.items()
            for field, number in zip(_CLASS_FIELDS, numbers, strict=True)
        ),
        *_rows(
            Mark.PUBLISHED,
            _DOSE,
            dose_humidity=(15.53, "1"),
            dose_temperature=(0.74, "1"),
            dose_humidity_reference=(0.90, "share"),
            dose_temperature_reference=(20.0, "°C"),
            dose_coldest=(0.1, "°C"),
            dose_hottest=(30.0, "°C"),
            dose_wet=(0.75, "share"),
            dose_dry_constant=(-2.7, "1/d"),
            dose_dry_slope=(110.0 / 30.0, "1/d"),
            dose_dry_least=(-0.5, "1/d"),
        ),
        *_rows(
            Mark.PUBLISHED,
            _ISOPLETH,
            isopleth_size=(0.02633, "share"),
            isopleth_width=(0.10083, "1/K"),
            isopleth_best=(30.0, "°C"),
        ),
        *(
            Value(f"isopleth_floor: {speed}", floor, "share", Mark.PUBLISHED, _ISOPLETH)
            for speed, floor in _ISOPLETH_FLOORS.items()
        ),
        Value("botrytis_activity", 0.895, "share", Mark.PUBLISHED, _BOTRYTIS),
    ),
)

_C = COEFFICIENTS


def sensitivity(name: str) -> Sensitivity:
    """A class by name: "very sensitive", "sensitive", "medium resistant" or "resistant"."""
    return Sensitivity(*(_C[f"{name}: {field}"] for field in _CLASS_FIELDS))


VERY_SENSITIVE = sensitivity("very sensitive")


def critical_humidity(
    temperature: ArrayLike, humidity_least: float = VERY_SENSITIVE.humidity_least
) -> Array:
    """Relative humidity below which the growth index does not rise.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity_least : of the material's class [share]

    Returns
    -------
    humidity : [share], same shape

    Equation: RH_crit = max(-0.00267 T³ + 0.160 T² - 3.13 T + 100, RH_min) % up to 20 °C, RH_min
    above.
    Source: Hukka & Viitanen 1999, eq. 1; RH_min by class Ojanen et al. 2010.
    Valid range: 0..50 °C.
    """
    t = np.asarray(temperature, dtype=float)
    cubic = _C["critical_0"] + t * (
        _C["critical_1"] + t * (_C["critical_2"] + t * _C["critical_3"])
    )
    cold = np.maximum(cubic, humidity_least)
    return np.where(t <= _C["critical_warm"], cold, humidity_least)


def start_time(temperature: ArrayLike, humidity: ArrayLike) -> Array:
    """Time in unchanging damp air until the first growth shows under a microscope.

    Parameters
    ----------
    temperature : [°C], above 0, any shape
    humidity : relative humidity [share], broadcast

    Returns
    -------
    time : [d]

    Equation: t_m = exp(-0.68 ln T - 13.9 ln RH + 66.02) weeks, RH in %.
    Source: Hukka & Viitanen 1999, eq. 2, for resawn pine (W = SQ = 0), as the classes of 2010 use
    it.
    """
    warm = _C["start_temperature"] * np.log(np.asarray(temperature, dtype=float))
    damp = _C["start_humidity"] * np.log(100 * np.asarray(humidity, dtype=float))
    return 7 * np.exp(warm + damp + _C["start_constant"])


def index_limit(
    temperature: ArrayLike, humidity: ArrayLike, material: Sensitivity = VERY_SENSITIVE
) -> Array:
    """Growth index that unchanging damp air leads to in the end.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity : relative humidity [share], broadcast
    material : sensitivity class

    Returns
    -------
    index : [1]

    Equation: M_max = A + B x - C x², x = (RH_crit - RH) / (RH_crit - 100).
    Source: Hukka & Viitanen 1999, eq. 8 (pine sapwood); classes Ojanen et al. 2010.
    """
    critical = critical_humidity(temperature, material.humidity_least)
    x = (np.asarray(humidity, dtype=float) - critical) / (1 - critical)
    return material.most_0 + material.most_1 * x - material.most_2 * x**2


def growth_rate(
    index: ArrayLike,
    temperature: ArrayLike,
    humidity: ArrayLike,
    material: Sensitivity = VERY_SENSITIVE,
) -> Array:
    """Rise of the growth index of a sensitivity class.

    Parameters
    ----------
    index : so far [1], any shape
    temperature : [°C], broadcast
    humidity : relative humidity [share], broadcast
    material : sensitivity class

    Returns
    -------
    rate : [1/d]; 0 where nothing grows

    Equation: dM/dt = k₁ k₂ / (7 t_m), k₂ = max(1 - exp[2.3 (M - M_max)], 0).
    Source: Hukka & Viitanen 1999, eqs 3, 6, 8; k₁ by class Ojanen et al. 2010.
    """
    t, rh = np.asarray(temperature, dtype=float), np.asarray(humidity, dtype=float)
    speed = np.where(np.asarray(index) < 1, material.speed_start, material.speed)
    gap = np.asarray(index) - index_limit(t, rh, material)
    slowing = np.maximum(1 - np.exp(_C["slowing"] * gap), 0)
    rate = speed * slowing / start_time(np.maximum(t, 1e-3), rh)
    return np.where(is_growing(t, rh, material), rate, 0.0)


def is_growing(
    temperature: ArrayLike, humidity: ArrayLike, material: Sensitivity = VERY_SENSITIVE
) -> NDArray[np.bool_]:
    """True where the growth index rises rather than falls."""
    t = np.asarray(temperature, dtype=float)
    damp = np.asarray(humidity) >= critical_humidity(t, material.humidity_least)
    return damp & (t > _C["coldest"]) & (t < _C["hottest"])


def decline_rate(hours_dry: ArrayLike) -> Array:
    """Fall of the growth index once the air has turned too dry or cold.

    Parameters
    ----------
    hours_dry : since growth stopped [h], any shape

    Returns
    -------
    rate : [1/h], 0 or below

    Equation: -0.00133 for 6 h, 0 until 24 h, -0.000667 after.
    Source: Hukka & Viitanen 1999, eq. 7.
    """
    hours = np.asarray(hours_dry, dtype=float)
    late = np.where(hours < _C["decline_later_hours"], 0.0, -_C["decline_later"])
    return np.where(hours < _C["decline_first_hours"], -_C["decline_first"], late)


# reference form: tests hold `kernel.rot.grow_index` to it
def growth_index(
    temperature: ArrayLike,
    humidity: ArrayLike,
    material: Sensitivity = VERY_SENSITIVE,
    index: ArrayLike = 0.0,
    speed: ArrayLike = 1.0,
    decline: ArrayLike = 1.0,
) -> Array:
    """Growth index hour by hour: 1 seen by microscope, 3 by eye on a tenth, 6 grown over.

    Parameters
    ----------
    temperature : [°C], [..., hour]
    humidity : relative humidity [share], [..., hour]
    material : sensitivity class
    index : at the start [1], [...]
    speed : of growth against the class [1], [...]
    decline : of the fall in dry air against pine [1], [...]

    Returns
    -------
    index : at the end of each hour [1], [..., hour]

    Equation: M grows by `growth_rate`, falls by `decline_rate`, never below 0; one step an hour.
    Source: Hukka & Viitanen 1999; Ojanen et al. 2010.
    """
    warm, damp = np.broadcast_arrays(np.asarray(temperature, float), np.asarray(humidity, float))
    growing = is_growing(warm, damp, material)
    now = np.broadcast_to(np.asarray(index, dtype=float), warm.shape[:-1])
    pace, loss = np.asarray(speed, dtype=float), np.asarray(decline, dtype=float)
    dry, history = np.zeros(warm.shape[:-1]), np.empty(warm.shape)
    for hour in range(warm.shape[-1]):
        grows = growing[..., hour]
        rise = pace * growth_rate(now, warm[..., hour], damp[..., hour], material) / 24
        now = np.maximum(now + np.where(grows, rise, loss * decline_rate(dry)), 0)
        dry = np.where(grows, 0.0, dry + 1)
        history[..., hour] = now
    return history


def dose_humidity_factor(humidity: ArrayLike) -> Array:
    """How much faster or slower than at 90 % humidity damp air brings mould.

    Parameters
    ----------
    humidity : relative humidity [share], any shape

    Returns
    -------
    factor : [1]; 1 at 90 %

    Equation: D_φ = exp[15.53 ln(φ/90)].
    Source: Thelandersson & Isaksson 2013.
    Valid range: above 75 %.
    """
    share = np.asarray(humidity, dtype=float) / _C["dose_humidity_reference"]
    return share ** _C["dose_humidity"]


def dose_temperature_factor(temperature: ArrayLike) -> Array:
    """How much faster or slower than at 20 °C warm damp air brings mould.

    Parameters
    ----------
    temperature : [°C], any shape

    Returns
    -------
    factor : [1]; 1 at 20 °C

    Equation: D_T = exp[0.74 ln(T/20)], held at its ends outside 0.1..30 °C.
    Source: Thelandersson & Isaksson 2013.
    """
    held = np.clip(np.asarray(temperature, dtype=float), _C["dose_coldest"], _C["dose_hottest"])
    return (held / _C["dose_temperature_reference"]) ** _C["dose_temperature"]


def dose_dry_rate(humidity: ArrayLike) -> Array:
    """Dose given back (or barely gained) by air that is not damp.

    Parameters
    ----------
    humidity : relative humidity [share], any shape

    Returns
    -------
    rate : days at 20 °C and 90 % for each day [1/d]

    Equation: D = -2.7 + 1.1 φ/30, φ in %, at least -0.5.
    Source: Thelandersson & Isaksson 2013.
    Valid range: up to 75 %.
    """
    line = _C["dose_dry_constant"] + _C["dose_dry_slope"] * np.asarray(humidity, dtype=float)
    return np.maximum(line, _C["dose_dry_least"])


def dose_rate(temperature: ArrayLike, humidity: ArrayLike) -> Array:
    """Dose of damp warmth that a day of such air adds.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity : relative humidity [share], broadcast

    Returns
    -------
    rate : days at 20 °C and 90 % for each day [1/d]

    Equation: D_φ D_T above 75 %, -2.7 + 1.1 φ/30 (at least -0.5) below; -0.5 in frost.
    Source: Thelandersson & Isaksson 2013.
    """
    t, share = np.asarray(temperature, dtype=float), np.asarray(humidity, dtype=float)
    damp = dose_humidity_factor(share) * dose_temperature_factor(t)
    rate = np.where(share > _C["dose_wet"], damp, dose_dry_rate(share))
    return np.where(t < _C["dose_coldest"], _C["dose_dry_least"], rate)


# reference form: tests hold `kernel.rot.add_dose` to it
def dose_rate_flower(temperature: ArrayLike, humidity: ArrayLike) -> Array:
    """Dose that a day of such air adds to hanging flower: the clock stops below the isopleth.

    Parameters
    ----------
    temperature : [°C], any shape
    humidity : relative humidity felt by the mould [share], broadcast

    Returns
    -------
    rate : days at 20 °C and 90 % for each day [1/d]

    Equation: `dose_rate`, not above 0 where the humidity is below `isopleth`.
    Source: ours (inference): the dose was fitted to wood at 75 % and more in warm air, and would
    let mould grow in cold air that no isopleth allows.
    """
    rate = dose_rate(temperature, humidity)
    return np.where(np.asarray(humidity) < isopleth(temperature), np.minimum(rate, 0), rate)


def dose(temperature: ArrayLike, humidity: ArrayLike, start: ArrayLike = 0.0) -> Array:
    """Dose of damp warmth hour by hour; mould is seen once it passes the material's own.

    Parameters
    ----------
    temperature : [°C], [..., hour]
    humidity : relative humidity [share], [..., hour]
    start : dose at the start [d], [...]

    Returns
    -------
    dose : days at 20 °C and 90 % [d], [..., hour]

    Equation: sum of `dose_rate` over time, never below 0.
    Source: Thelandersson & Isaksson 2013.
    """
    steps = dose_rate(temperature, humidity) / 24
    now = np.broadcast_to(np.asarray(start, dtype=float), steps.shape[:-1])
    history = np.empty(steps.shape)
    for hour in range(steps.shape[-1]):
        now = np.maximum(now + steps[..., hour], 0)
        history[..., hour] = now
    return history


def isopleth(temperature: ArrayLike, speed: str = "limit") -> Array:
    """Relative humidity at which mould grows at a given speed; below "limit" it does not grow.

    Parameters
    ----------
    temperature : [°C], any shape
    speed : "limit", or the growth of the colony: "0.1", "0.5", "1", "2", "3", "4" mm/d

    Returns
    -------
    humidity : [share]

    Equation: LIM = 0.02633 cosh[0.10083 (T - 30)] + c.
    Source: Zeng et al. 2023.
    Valid range: 0..40 °C.
    """
    away = np.asarray(temperature, dtype=float) - _C["isopleth_best"]
    valley = _C["isopleth_size"] * np.cosh(_C["isopleth_width"] * away)
    return valley + _C[f"isopleth_floor: {speed}"]


# reference form: tests hold `kernel.hours` to it
def felt_humidity(humidity: ArrayLike, activity: ArrayLike) -> Array:
    """Relative humidity that mould on hanging flower lives in.

    Parameters
    ----------
    humidity : relative humidity of the air round it [share], any shape
    activity : water activity of the flower [share], broadcast

    Returns
    -------
    humidity : [share]

    Equation: the lower of the two.
    Source: ours (inference): spores on wet flower sit in the air that dries it, and a flower once
    dry stays dry through a damp night.
    """
    return np.minimum(np.asarray(humidity, dtype=float), np.asarray(activity))
