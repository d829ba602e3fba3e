"""Places to cure: room in sticks, their air, how what hangs in them dries, and mould.

`dry_table` and `simulate` are resolved when first asked for: they load the compiler.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws, draw_barn_parameters
from tierpole.barn.places import PlaceAir, place_air

if TYPE_CHECKING:
    from tierpole.barn.hanging import Hangings, PlaceTrace, simulate
    from tierpole.barn.running import Outcome
    from tierpole.barn.table import dry_table

__all__ = [
    "BarnDraws", "Hangings", "Outcome", "OutsideAir", "PlaceAir", "PlaceTrace",
    "draw_barn_parameters", "dry_table", "place_air", "simulate",
]  # fmt: skip

_LATE = {
    "Hangings": "hanging",
    "PlaceTrace": "hanging",
    "simulate": "hanging",
    "Outcome": "running",
    "dry_table": "table",
}


def __getattr__(name: str) -> Any:
    if name in _LATE:
        return getattr(import_module(f"{__name__}.{_LATE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
