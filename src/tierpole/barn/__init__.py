"""Places to cure: room in sticks, their air, how what hangs in them dries, and mould."""

from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws, draw_barn_parameters
from tierpole.barn.hanging import Hangings, PlaceTrace, simulate
from tierpole.barn.losses import Outcome
from tierpole.barn.places import PlaceAir, place_air
from tierpole.barn.table import dry_table

__all__ = [
    "BarnDraws", "Hangings", "Outcome", "OutsideAir", "PlaceAir", "PlaceTrace",
    "draw_barn_parameters", "dry_table", "place_air", "simulate",
]  # fmt: skip
