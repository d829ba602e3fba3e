"""The air of a kind of place: what it lets in, keeps out and warms, until the farm measures it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.barn.geometry import place_capacity
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Place, PlaceKind

Array = NDArray[np.float64]

_OPEN = "wind of 1-1.5 m/s through vents of 1/4-1/3 of the side walls, Q = 0.4 A U"
_TIN = "a sunned tin roof, half of its gain reaching the plants"

# kind: {quantity: (value, reason)}; air changes in 1/h, heat in W a cubic metre of the place,
# walls in W/m2/K of the envelope
_KINDS: dict[PlaceKind, dict[str, tuple[float, str]]] = {
    PlaceKind.BARN: {
        "air changes by day": (30.0, _OPEN),
        "air changes by night": (4.0, "boards and ridge leak with the doors shut"),
        "heat by day": (5.0, _TIN),
        "heat by night": (0.0, "none"),
        "walls": (4.0, "boards and tin"),
        "draught": (1.0, "air hardly moves between the plants"),
        "wind": (1.0, "moved by wind alone"),
    },
    PlaceKind.FRAME: {
        "air changes by day": (25.0, f"{_OPEN}, in a low and narrow place"),
        "air changes by night": (4.0, "film laps leak with the sides down"),
        "heat by day": (30.0, "sun of 350 W/m2 through film under shade cloth, 2.7 m high"),
        "heat by night": (0.0, "none"),
        "walls": (6.5, "single film: Rasheed et al.; Geoola et al. 2009"),
        "draught": (1.0, "air hardly moves between the plants"),
        "wind": (1.0, "moved by wind alone"),
    },
    PlaceKind.SHED: {
        "air changes by day": (40.0, "fans of 0.3 m3/s for each 1,000 ft3"),
        "air changes by night": (10.0, "fans turned down, doors shut"),
        "heat by day": (5.0, _TIN),
        "heat by night": (1.0, "fan motors"),
        "walls": (4.0, "boards and tin"),
        "draught": (2.0, "fans stir the air; conductance goes with the root of air speed"),
        "wind": (0.4, "fans, hindered by what hangs"),
    },
    PlaceKind.ROOM: {
        "air changes by day": (60.0, "fans sized for drying"),
        "air changes by night": (20.0, "fans sized for drying"),
        "heat by day": (10.0, "heater and fan motors"),
        "heat by night": (20.0, "heater and fan motors"),
        "walls": (1.5, "closed and lined"),
        "draught": (2.5, "air blown through; conductance goes with the root of air speed"),
        "wind": (0.2, "fans, hindered a little by what hangs"),
    },
}
_UNITS = {
    "air changes by day": "1/h",
    "air changes by night": "1/h",
    "heat by day": "W/m3",
    "heat by night": "W/m3",
    "walls": "W/m2/K",
    "draught": "1",
    "wind": "1",
}

COEFFICIENTS = Table(
    "Air of places by kind",
    (
        Value(
            "envelope", 4.8, "m2/m2", Mark.COMPUTED,
            "walls and roof over volume^(2/3): 611 m2 on 1,450 m3 (64 x 40 ft barn), 420 m2 on "
            "800 m3 (30 x 96 ft frame)",
        ),
        Value("opened", 8.0, "h", Mark.PRACTICE, "opened once the dew is off, standard time"),
        Value("closed", 18.0, "h", Mark.PRACTICE, "closed before the evening damp, standard time"),
        *(
            Value(f"{kind.value}: {name}", number, _UNITS[name], Mark.INFERENCE, reason)
            for kind, values in _KINDS.items()
            for name, (number, reason) in values.items()
        ),
    ),
)  # fmt: skip

_MID_HOURS: Array = np.arange(0.5, 24.0)


@dataclass(frozen=True)
class PlaceAir:
    """What the drying model needs to know of one place.

    `draught` multiplies the air's side of the plants' conductance (1: hardly moving air). `wind`
    says how far the air exchange goes with the wind: 1 wholly, 0 not at all.
    """

    sticks: float  # that fill it
    volume: float  # [m³]
    air_changes_day: float  # [1/s]
    air_changes_night: float  # [1/s]
    heat_day: float  # mean while open [W]
    heat_night: float  # [W]
    walls: float  # [W/K]
    draught: float = 1.0
    wind: float = 1.0

    def flow(self, factor: float) -> Array:
        """Outside air let in by hour of the day [m³/s]; `factor` is the wind."""
        changes = np.where(_is_open(), self.air_changes_day, self.air_changes_night)
        return self.volume * changes * factor**self.wind

    def heat(self, factor: float) -> Array:
        """Heat gained by hour of the day [W], a half sine while open; `factor` is the sun."""
        day = np.where(_is_open(), np.sin(np.pi * _share_of_day()) * np.pi / 2, 0.0)
        return np.where(_is_open(), self.heat_day * factor * day, self.heat_night)


def _is_open() -> NDArray[np.bool_]:
    return (COEFFICIENTS["opened"] < _MID_HOURS) & (COEFFICIENTS["closed"] > _MID_HOURS)


def _share_of_day() -> Array:
    opened, closed = COEFFICIENTS["opened"], COEFFICIENTS["closed"]
    return (_MID_HOURS - opened) / (closed - opened)


def wall_conductance(volume: ArrayLike, transmittance: ArrayLike) -> Array:
    """Heat that walls and roof of a place pass for each degree.

    Parameters
    ----------
    volume : of the place [m³], any shape
    transmittance : of the walls [W/m²/K], broadcast

    Returns
    -------
    conductance : [W/K]

    Equation: UA = U c V^(2/3).
    Source: geometry of two common buildings (computed); floor left out.
    """
    edge: Array = np.cbrt(np.asarray(volume, dtype=float))
    return np.asarray(transmittance) * COEFFICIENTS["envelope"] * edge**2


def place_air(place: Place) -> PlaceAir:
    """The air of a place of the farm: its own figures where it gives them, else its kind's."""

    def usual(name: str) -> float:
        return COEFFICIENTS[f"{place.kind.value}: {name}"]

    def given(value: float | None, fallback: float) -> float:
        return fallback if value is None else value

    return PlaceAir(
        sticks=place_capacity(place),
        volume=place.volume,
        air_changes_day=given(place.air_changes_day, usual("air changes by day") / 3600),
        air_changes_night=given(place.air_changes_night, usual("air changes by night") / 3600),
        heat_day=given(place.heat_gain_day, usual("heat by day") * place.volume),
        heat_night=usual("heat by night") * place.volume,
        walls=float(wall_conductance(place.volume, usual("walls"))),
        draught=usual("draught"),
        wind=usual("wind"),
    )
