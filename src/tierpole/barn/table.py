"""Drying days, losses and mould by place, hang day and load: what the plan looks up."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tierpole.barn import targets
from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws
from tierpole.barn.hanging import Hangings
from tierpole.barn.losses import Outcome
from tierpole.barn.places import PlaceAir

Array = NDArray[np.float64]
Rows = NDArray[np.int64]


def dry_table(
    outside_air: OutsideAir,
    places: Sequence[PlaceAir],
    draws: BarnDraws,
    season_row: Rows,
    hang_hours: Rows,
    loads: Array,
    moisture_target: float = targets.COEFFICIENTS["moisture_target"],
    tick: Callable[[float], None] | None = None,
) -> Outcome:
    """Outcome by place, hang day and load [barn_draw, place, cut_day, load].

    Parameters
    ----------
    outside_air : weather seasons
    places : what to hang in
    draws : [barn_draw]
    season_row : weather season of each draw [barn_draw]
    hang_hours : hour of the season at which each cut day's sticks hang [cut_day]
    loads : water-weighted fill of a place on the hang day, this hanging included [share], [load]
    moisture_target : at which flower is taken down, wet basis [share]
    tick : told the share done; may raise to stop

    All that hangs in a place is taken as hung that day: it shares the air and dries in step.
    """
    from tierpole.barn import kernel, lookup, running  # noqa: PLC0415  loads the compiler

    setting = running.Setting(outside_air, draws, season_row, moisture_target)
    hours = np.ascontiguousarray(hang_hours, dtype=np.int64)
    fills = np.ascontiguousarray(loads, dtype=float)
    records = np.zeros((len(draws), len(places), hours.size, fills.size, kernel.RECORDS))
    untraced = [lookup.new_trace(0, 1, place.tiers) for place in places]

    def fill(draw: int) -> None:
        for row, place in enumerate(places):
            filling = Hangings.unmeasured(hours[:1], np.array([place.sticks]))
            full = setting.batches(draw, filling, place.tiers)
            state = lookup.new_state(1, place.tiers)
            case = setting.case(draw, place)
            kernel.dry_fillings(case, full, hours, fills, state, untraced[row], records[draw, row])

    running.run_all(fill, range(len(draws)), tick)
    return running.outcome(records, setting)
