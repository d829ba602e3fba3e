"""Places to cure: room in sticks, their air, how what hangs in them dries, and mould."""

from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws, draw_barn_parameters
from tierpole.barn.hanging import (
    BarnState,
    Hangings,
    PlaceTrace,
    advance,
    first_state,
    simulate,
)
from tierpole.barn.losses import Outcome
from tierpole.barn.places import Controls, PlaceAir, place_air
from tierpole.barn.sky import weather_at_barn
from tierpole.barn.table import dry_table

__all__ = [
    "BarnDraws", "BarnState", "Controls", "Hangings", "Outcome", "OutsideAir", "PlaceAir",
    "PlaceTrace", "advance", "draw_barn_parameters", "dry_table", "first_state", "place_air",
    "simulate", "weather_at_barn",
]  # fmt: skip
