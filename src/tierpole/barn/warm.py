"""Have the compiler do its work before anybody waits for it."""

import numpy as np

from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import draw_barn_parameters
from tierpole.barn.hanging import Hangings, simulate
from tierpole.barn.places import PlaceAir
from tierpole.barn.table import dry_table


def compile_kernel() -> None:
    """Dry one stick for a day both ways; the compiled code stays in the compiler's cache."""
    air = OutsideAir(np.full((1, 24), 20.0), np.full((1, 24), 0.6))
    place = PlaceAir(sticks=1.0, volume=100.0)
    draws, row = draw_barn_parameters(np.random.default_rng(0), 1), np.zeros(1, dtype=np.int64)
    dry_table(air, [place], draws, row, row, np.ones(1))
    simulate(air, place, draws, row, Hangings.unmeasured(row, np.ones(1)))
