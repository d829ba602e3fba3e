"""A place as the drying model sees it: its openings, fans, heater, roof and walls.

What a farm does not say of a place follows from its kind, until it is measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.barn import air
from tierpole.barn.draws import COEFFICIENTS as DRAWS
from tierpole.barn.geometry import place_capacity
from tierpole.barn.sky import COEFFICIENTS as SKY
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Place, PlaceKind

Array = NDArray[np.float64]

_VENTS = "vents of 1/4-1/3 of the side walls (Duncan, Wells & Wilhoit, University of Kentucky)"
_TIN = "tin passes U / h_o of what it absorbs: 4 / 20 x 0.6"
_FILM = "film passes 0.75, shade cloth 0.5, and 0.6 of that warms air and plants"
_BOARDS = "boards and tin"
_NONE = "none"

# by kind: what a quantity is, and why
_KINDS: dict[PlaceKind, dict[str, tuple[float, str]]] = {
    PlaceKind.BARN: {
        "vents": (0.27, _VENTS),
        "leaks": (1.0, "board sides, ridge and doors as the draws say"),
        "fans": (0.0, _NONE),
        "fans by night": (0.0, _NONE),
        "fan speed": (0.0, _NONE),
        "heater": (0.0, _NONE),
        "heat by day": (0.0, _NONE),
        "walls": (4.0, _BOARDS),
        "roof": (2.05, "64 x 40 ft barn: 265 m2 of roof on 1,450 m3"),
        "sun": (0.12, _TIN),
        "height": (0.55, "low vents to ridge of a 64 x 40 ft barn, 6 m on 1,450 m3"),
        "floor": (1.0, "earth"),
    },
    PlaceKind.FRAME: {
        "vents": (0.27, f"{_VENTS}: sides rolled up"),
        "leaks": (0.8, "film laps and end doors"),
        "fans": (0.0, _NONE),
        "fans by night": (0.0, _NONE),
        "fan speed": (0.0, _NONE),
        "heater": (0.0, _NONE),
        "heat by day": (0.0, _NONE),
        "walls": (6.5, "single film: Rasheed et al.; Geoola et al. 2009"),
        "roof": (3.1, "30 x 96 ft frame: 268 m2 of ground on 800 m3"),
        "sun": (0.22, _FILM),
        "height": (0.25, "sides to ridge of a 30 x 96 ft frame, 2.3 m on 800 m3"),
        "floor": (1.0, "earth or grass"),
    },
    PlaceKind.SHED: {
        "vents": (0.0, "shut; the fans draw through louvres"),
        "leaks": (1.0, "board sides, as the draws say"),
        "fans": (40.0, "fans of 0.3 m3/s for each 1,000 ft3"),
        "fans by night": (0.25, "turned down"),
        "fan speed": (0.3, "fans stir the air among the plants"),
        "heater": (0.0, _NONE),
        "heat by day": (0.0, _NONE),
        "walls": (4.0, _BOARDS),
        "roof": (2.05, "as of a barn"),
        "sun": (0.12, _TIN),
        "height": (0.4, "as of a low barn"),
        "floor": (0.0, "boards or concrete"),
    },
    PlaceKind.ROOM: {
        "vents": (0.0, "shut; the fans draw through louvres"),
        "leaks": (0.1, "closed and lined"),
        "fans": (60.0, "fans sized for drying"),
        "fans by night": (0.33, "turned down"),
        "fan speed": (0.5, "air blown through the plants"),
        "heater": (18.0, "heater sized to keep 60 % humidity at night"),
        "heat by day": (0.4, "turned down"),
        "walls": (1.5, "closed and lined"),
        "roof": (2.05, "as of a barn"),
        "sun": (0.03, "lined: U / h_o of 1.5 / 20 x 0.4"),
        "height": (0.4, "as of a low barn"),
        "floor": (0.0, "concrete"),
    },
}
_UNITS = {
    "vents": "share of the side walls",
    "leaks": "1",
    "fans": "1/h",
    "fans by night": "share",
    "fan speed": "m/s",
    "heater": "W/m3",
    "heat by day": "share",
    "walls": "W/m2/K",
    "roof": "m2/m2",
    "sun": "share",
    "height": "m/m",
    "floor": "1",
}

COEFFICIENTS = Table(
    "Places by kind",
    (
        Value(
            "envelope", 4.8, "m2/m2", Mark.COMPUTED,
            "walls and roof over volume^(2/3): 611 m2 on 1,450 m3 (64 x 40 ft barn), 420 m2 on "
            "800 m3 (30 x 96 ft frame)",
        ),
        Value(
            "sides", 1.5, "m2/m2", Mark.COMPUTED,
            "both long sides over volume^(2/3): 190 m2 on 1,450 m3 (64 ft long, 16 ft high)",
        ),
        Value(
            "store", 8.0, "kJ/K/m2", Mark.INFERENCE,
            "an inch of boards over walls and roof warms and cools with the air; the frame's film "
            "holds less, its ground more",
        ),
        Value(
            "floor_wetness", 1.4e-8, "kg/s/m2/Pa", Mark.INFERENCE,
            "0.05 kg an hour from a square metre of earth or grass at 1 kPa; told as 0 to 0.1",
        ),
        Value(
            "roof_top", 0.5, "share", Mark.INFERENCE,
            "of the roof's warmth or cold that stays in the top tier; the rest reaches all evenly",
        ),
        Value(
            "fan_power", 141.0, "W s/m3", Mark.MEMORY, "15 cfm a watt at 0.05-0.1 in of water",
            94.0, 188.0,
        ),
        Value(
            "sun_open", 350.0, "W/m2", Mark.INFERENCE,
            "mean sun on level ground from 8 to 18 h in September, to which a farm's own heat gain "
            "is referred",
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

_C = COEFFICIENTS


@dataclass(frozen=True, eq=False)
class Controls:
    """What people set, as shares of all there is: [hour] alike for all draws, or [draw, hour].

    `vents` open, `fans` running, `heat` on. Each from 0 to 1.
    """

    vents: Array
    fans: Array
    heat: Array


@dataclass(frozen=True)
class PlaceAir:
    """What the drying model needs to know of one place; whoever changes it keeps it SI."""

    sticks: float  # that fill it
    volume: float  # [m³]
    tiers: int = 1
    vent_area: float = 0.0  # inlets, as large as the outlets [m²]
    leaks: float = 0.0  # cracks against those drawn for a board-sided barn [1]
    wall_area: float = 0.0  # in which the cracks are [m²]
    height: float = 0.0  # from the low openings to the high ones [m]
    fan_flow: float = 0.0  # [m³/s]
    fan_speed: float = 0.0  # among the plants [m/s]
    heater: float = 0.0  # [W]
    walls: float = 0.0  # walls and roof [W/K]
    roof: float = 0.0  # [m²]
    sun: float = 0.0  # share of the sun on the roof that warms the inside
    transmittance: float = 0.0  # of the roof [W/m²/K]
    store: float = 0.0  # heat the building holds [J/K]
    floor: float = 0.0  # damp floor [kg/s/Pa]
    hours_open: tuple[float, float] = (_C["opened"], _C["closed"])
    fans_by_night: float = 0.0  # share of all fans
    heat_by_day: float = 0.0  # share of the heater

    @property
    def face(self) -> float:
        """What the air goes through: one long side [m²]."""
        return _C["sides"] / 2 * self.volume ** (2 / 3)

    @property
    def fan_power(self) -> float:
        """All fans running [W]."""
        return _C["fan_power"] * self.fan_flow

    def usual(self) -> Controls:
        """What is set by hour of the day [24] when nobody decides: open by day, shut by night."""
        middle = np.arange(0.5, 24.0)
        is_open = (self.hours_open[0] < middle) & (self.hours_open[1] > middle)
        return Controls(
            vents=np.where(is_open, 1.0, 0.0),
            fans=np.where(is_open, 1.0, self.fans_by_night),
            heat=np.where(is_open, self.heat_by_day, 1.0),
        )


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
    return np.asarray(transmittance) * _C["envelope"] * edge**2


def place_air(place: Place) -> PlaceAir:
    """A place of the farm: its own figures where it gives them, else its kind's.

    Air changes a farm has measured stand for vents and cracks, or fans, that would make as many in
    the usual wind.
    """

    def usual(name: str) -> float:
        return _C[f"{place.kind.value}: {name}"]

    square = place.volume ** (2 / 3)
    roof, sides = usual("roof") * square, _C["sides"] * square
    made = PlaceAir(
        sticks=place_capacity(place),
        volume=place.volume,
        tiers=place.tiers,
        vent_area=_given(place.vent_area, usual("vents") * sides) / 2,
        leaks=usual("leaks"),
        wall_area=_C["envelope"] * square - roof,
        height=usual("height") * place.volume ** (1 / 3),
        fan_flow=_given(place.fan_flow, usual("fans") / 3600 * place.volume),
        fan_speed=usual("fan speed"),
        heater=_given(place.heater, usual("heater") * place.volume),
        walls=float(wall_conductance(place.volume, usual("walls"))),
        roof=roof,
        sun=usual("sun"),
        transmittance=usual("walls"),
        store=1e3 * _C["store"] * _C["envelope"] * square,
        floor=usual("floor") * _C["floor_wetness"] * roof,
        hours_open=(
            _given(place.opens, _C["opened"]),
            _given(place.shuts, _C["closed"]),
        ),
        fans_by_night=usual("fans by night"),
        heat_by_day=usual("heat by day"),
    )
    return _as_measured(made, place)


def _given(value: float | None, fallback: float) -> float:
    return fallback if value is None else float(value)


def _as_measured(made: PlaceAir, place: Place) -> PlaceAir:
    """The place with openings or fans that make the air changes the farm has measured."""
    day, night, gain = place.air_changes_day, place.air_changes_night, place.heat_gain_day
    if gain is not None:
        made = replace(made, sun=gain / (_C["sun_open"] * made.roof))
    if made.fan_flow > 0:
        flow = made.fan_flow if day is None else day * made.volume
        share = made.fans_by_night if night is None else min(night * made.volume / flow, 1.0)
        return replace(made, fan_flow=flow, fans_by_night=share)
    wind_day, wind_night = SKY["wind_mean"] + _HALF_DAY * SKY["wind_swing"] * np.array([1, -1])
    if day is not None:
        vents = (DRAWS["vents_least"] + DRAWS["vents_most"]) / 2
        per_area = float(air.wind_flow(vents, 1.0, DRAWS["shelter"] * wind_day))
        made = replace(made, vent_area=day * made.volume / per_area)
    if night is not None:
        cracks = np.sqrt(DRAWS["leaks_least"] * DRAWS["leaks_most"]) * made.wall_area
        usual = float(air.leak_flow(cracks, 0.0, wind_night))
        made = replace(made, leaks=night * made.volume / usual)
    return made


_HALF_DAY = 2 / np.pi  # mean of a cosine over its half that is positive
