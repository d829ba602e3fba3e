"""What the kernel takes, made of draws, places and weather; what its records mean.

Importing this loads the compiler, so the public functions do it only when they are called.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tierpole.barn import kernel, lookup, losses, mould, targets
from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import COEFFICIENTS as DRAWS
from tierpole.barn.draws import BarnDraws
from tierpole.barn.drying import hung_conductance
from tierpole.barn.hanging import Hangings
from tierpole.barn.losses import Outcome
from tierpole.barn.places import PlaceAir

Array = NDArray[np.float64]
Task = TypeVar("Task")
Tick = Callable[[float], None]

SUB_STEPS = 1  # an hour: sixteen move 95 of 100 drying days by less than 0.2 %
_NEVER = 10**9  # an hour no season reaches
_READABLE = (0.03, 0.9)  # wet basis: what flower can hold, whatever a reading says


class Setting:
    """Everything of a set of runs but the place and what hangs in it."""

    def __init__(
        self,
        outside_air: OutsideAir,
        barn_draws: BarnDraws,
        season_row: NDArray[np.int64],
        moisture_target: float,
        sub_steps: int = SUB_STEPS,
    ):
        self.draws, self._season_row = barn_draws, season_row
        self._outside = lookup.outside(outside_air)
        self._activity = lookup.activity_table(barn_draws.exponent)
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

    def batches(self, draw: int, hangings: Hangings) -> kernel.Batches:
        """What hangs, as wet when hung as the draw says, as dry when measured as was read."""
        d = self.draws
        stick = np.array([d.mass_flower[draw], d.mass_stem[draw]])
        wet = np.array([d.moisture_flower[draw], d.moisture_stem[draw]])
        error = DRAWS["reading_error"] * d.reading_error[draw]
        read = np.clip(hangings.reading + error, *_READABLE)
        down = _NEVER if hangings.down_hour is None else hangings.down_hour
        return kernel.Batches(
            hang_hour=np.array(hangings.hang_hour, dtype=np.int64),
            mass=hangings.sticks[:, None] * stick,
            moisture=np.tile(wet, (hangings.sticks.size, 1)),
            reading_hour=np.array(hangings.reading_hour, dtype=np.int64),
            reading=targets.dry_basis(read),
            down_hour=np.broadcast_to(down, hangings.sticks.shape).astype(np.int64),
        )


def outcome(records: Array, setting: Setting) -> Outcome:
    """Days, losses and mould from the kernel's records [barn_draw, ..., column]."""
    rule, d = setting.rule, setting.draws

    def by_draw(values: Array) -> Array:
        return values.reshape(-1, *[1] * (records.ndim - 2))

    is_dry = records[..., kernel.AT_TARGET] >= rule.hours_at_target - 1e-9
    hours = np.where(is_dry, records[..., kernel.ABOVE], rule.hours_most)
    risk = losses.mould_chance(
        records[..., kernel.DOSE], by_draw(d.dose_critical), records[..., kernel.INDEX]
    )
    lost = losses.value_share_lost(
        risk,
        losses.cannabinoid_share_lost(records[..., kernel.HUNG] / 24, by_draw(d.cannabinoid_loss)),
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
