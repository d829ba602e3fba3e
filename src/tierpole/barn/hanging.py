"""A place simulated as it is really filled: batch after batch, all in the same air."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole import moist_air
from tierpole.barn import targets
from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws
from tierpole.barn.losses import Outcome
from tierpole.barn.places import PlaceAir

Array = NDArray[np.float64]
Stored = NDArray[np.float32]
Rows = NDArray[np.int64]


@dataclass(frozen=True)
class Hangings:
    """What goes up in one place, a batch a row; a batch comes down when it is dry.

    `sticks` are full sticks; lighter ones count for less. A measured moisture of the flower sets
    that batch's flower at that hour; its stem goes on as simulated. `down_hour` says when a batch
    was taken down before it was dry.
    """

    hang_hour: Rows  # hour of the season, [batch]
    sticks: Array  # [batch]
    reading_hour: Rows  # hour of the season; -1 if never measured, [batch]
    reading: Array  # wet basis [share], [batch]
    down_hour: Rows | None = None  # hour of the season, [batch]; None if only when dry

    @staticmethod
    def unmeasured(hang_hour: Rows, sticks: Array) -> Hangings:
        """Batches whose moisture nobody has measured."""
        return Hangings(hang_hour, sticks, np.full(len(sticks), -1), np.zeros(len(sticks)))


@dataclass(frozen=True)
class PlaceTrace:
    """Air and moisture of a place, hour by hour from `first_hour` of the season, for every draw.

    Where nothing hangs the air is the outside air; a batch's moisture is not a number while it is
    not up. Moistures on the dry basis.
    """

    first_hour: int
    temperature: Stored  # [°C], [barn_draw, hour]
    humidity: Stored  # relative [share], [barn_draw, hour]
    moisture_flower: Stored  # [kg/kg], [barn_draw, batch, hour]
    moisture_stem: Stored  # [kg/kg], [barn_draw, batch, hour]


def simulate(
    outside_air: OutsideAir,
    place: PlaceAir,
    draws: BarnDraws,
    season_row: Rows,
    hangings: Hangings,
    moisture_target: float = targets.COEFFICIENTS["moisture_target"],
    tick: Callable[[float], None] | None = None,
) -> tuple[Outcome, PlaceTrace]:
    """What becomes of each batch [barn_draw, batch] hung in a place, and the place hour by hour.

    Parameters
    ----------
    outside_air : weather seasons
    place : what they hang in
    draws : [barn_draw]
    season_row : weather season of each draw [barn_draw]
    hangings : the batches, past ones and planned; at least one
    moisture_target : at which flower is taken down, wet basis [share]
    tick : told the share done; may raise to stop
    """
    from tierpole.barn import kernel, lookup, running  # noqa: PLC0415  loads the compiler

    setting = running.Setting(outside_air, draws, season_row, moisture_target)
    first = int(hangings.hang_hour.min())
    last = min(
        int(hangings.hang_hour.max()) + setting.rule.hours_most, outside_air.temperature.shape[1]
    )
    batches, hours = hangings.sticks.size, last - first
    records = np.zeros((len(draws), batches, kernel.RESULTS))
    air = np.zeros((len(draws), hours, 2))
    moisture = np.zeros((len(draws), batches, hours, 2), dtype=np.float32)

    def hang(draw: int) -> None:
        state = lookup.new_state(batches, traced_hours=outside_air.temperature.shape[1])
        kernel.dry_batches(setting.case(draw, place), setting.batches(draw, hangings), state)
        records[draw] = state.record
        air[draw] = state.trace_air[first:last]
        moisture[draw] = state.trace_batch[first:last].swapaxes(0, 1)

    running.run_all(hang, range(len(draws)), tick)
    return running.outcome(records, setting), _trace(first, air, moisture, outside_air.pressure)


def _trace(first: int, air: Array, moisture: Stored, pressure: float) -> PlaceTrace:
    humidity = moist_air.relative_humidity(air[..., 0], air[..., 1], pressure)
    return PlaceTrace(
        first_hour=first,
        temperature=air[..., 0].astype(np.float32),
        humidity=humidity.astype(np.float32),
        moisture_flower=moisture[..., 0],
        moisture_stem=moisture[..., 1],
    )
