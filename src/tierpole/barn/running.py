"""What the kernel takes, made of draws, places and weather; what its records mean."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tierpole.barn import kernel, lookup, losses, mould, targets
from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws
from tierpole.barn.drying import hung_conductance
from tierpole.barn.places import PlaceAir

Array = NDArray[np.float64]
Task = TypeVar("Task")
Tick = Callable[[float], None]

SUB_STEPS = 2  # an hour; four change drying times by less than a hundredth


class Setting:
    """Everything of a set of runs but the place and what hangs in it."""

    def __init__(
        self,
        outside_air: OutsideAir,
        draws: BarnDraws,
        season_row: NDArray[np.int64],
        moisture_target: float,
        sub_steps: int = SUB_STEPS,
    ):
        self.draws, self._season_row = draws, season_row
        self._outside = lookup.outside(outside_air)
        self._activity = lookup.activity_table(draws.exponent)
        self._tables = lookup.tables(outside_air.pressure)
        self.rule = kernel.Rule(
            target=float(targets.dry_basis(moisture_target)),
            hours_at_target=targets.COEFFICIENTS["hours_at_target"],
            hours_most=round(24 * targets.COEFFICIENTS["days_most"]),
            sub_steps=sub_steps,
        )

    def case(self, draw: int, place: PlaceAir) -> kernel.Case:
        """A draw's weather and plants in the air of a place."""
        row, d = self._season_row[draw], self.draws
        return kernel.Case(
            outside=kernel.Outside(*(values[row] for values in self._outside)),
            space=kernel.Space(
                flow=place.flow(d.air_factor[draw]),
                heat=place.heat(d.heat_factor[draw]),
                walls=place.walls,
            ),
            plant=self._plant(draw, place),
            rule=self.rule,
            tables=self._tables,
        )

    def _plant(self, draw: int, place: PlaceAir) -> kernel.Plant:
        d = self.draws
        flower = hung_conductance(d.conductance_flower[draw], d.exposed[draw], place.draught)
        index = float(d.mould_start[draw])
        way_to_visible = index / mould.COEFFICIENTS["index_visible"]
        return kernel.Plant(
            conductance=(float(flower), float(d.conductance_stem[draw])),
            scale=(float(d.scale_flower[draw]), float(d.scale_stem[draw])),
            exponent=float(d.exponent[draw]),
            activity=self._activity[draw],
            mould_speed=float(d.mould_speed[draw]),
            mould_decline=float(d.mould_decline[draw]),
            mould_start=index,
            dose_start=way_to_visible * float(losses.visible_dose(d.dose_critical[draw])),
        )

    def batches(self, draw: int, hang_hour: NDArray[np.int64], sticks: Array) -> kernel.Batches:
        """Sticks hung on some hours, as wet as the draw says, never measured."""
        d = self.draws
        stick = np.array([d.mass_flower[draw], d.mass_stem[draw]])
        wet = np.array([d.moisture_flower[draw], d.moisture_stem[draw]])
        return kernel.Batches(
            hang_hour=np.array(hang_hour, dtype=np.int64),
            mass=sticks[:, None] * stick,
            moisture=np.tile(wet, (sticks.size, 1)),
            reading_hour=np.full(sticks.size, -1, dtype=np.int64),
            reading=np.zeros(sticks.size),
        )


@dataclass(frozen=True)
class Outcome:
    """What became of each hanging, arrays [barn_draw, ...] of one shape.

    `drying_days` [d] is the time its flower was above the target until it had been at or below it
    for a day in sum: the day it is dry, plus what damp nights undo. `days_most` where that never
    came. `drying_loss` [share] of the value, `mould_risk` [chance], `wet_days` [d] in which grey
    mould from the field could grow on.
    """

    drying_days: NDArray[np.float32]
    drying_loss: NDArray[np.float32]
    mould_risk: NDArray[np.float32]
    wet_days: NDArray[np.float32]


def outcome(records: Array, draws: BarnDraws, rule: kernel.Rule) -> Outcome:
    """Days, losses and mould from the kernel's records [barn_draw, ..., column]."""

    def by_draw(values: Array) -> Array:
        return values.reshape(-1, *[1] * (records.ndim - 2))

    is_dry = records[..., kernel.AT_TARGET] >= rule.hours_at_target - 1e-9
    hours = np.where(is_dry, records[..., kernel.ABOVE], rule.hours_most)
    risk = losses.mould_chance(
        records[..., kernel.DOSE], by_draw(draws.dose_critical), records[..., kernel.INDEX]
    )
    lost = losses.value_share_lost(
        risk,
        losses.cannabinoid_share_lost(
            records[..., kernel.HUNG] / 24, by_draw(draws.cannabinoid_loss)
        ),
        losses.shatter_share_lost(targets.wet_basis(records[..., kernel.MOISTURE_FLOWER])),
    )
    values = (hours / 24, lost, risk, records[..., kernel.HOURS_WET] / 24)
    return Outcome(*(value.astype(np.float32) for value in values))


def run_all(job: Callable[[Task], None], tasks: Sequence[Task], tick: Tick | None) -> None:
    """Run `job` on every task on all cores, telling `tick` the share done; it may raise to stop.

    Threads suffice: the kernel lets go of the interpreter lock.
    """
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        futures = [pool.submit(job, task) for task in tasks]
        try:
            for done, future in enumerate(as_completed(futures), start=1):
                future.result()
                if tick is not None:
                    tick(done / len(futures))
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
