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

from tierpole.barn import air, isotherm, kernel, lookup, losses, mould, targets
from tierpole.barn.air import COEFFICIENTS as FLOW
from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import COEFFICIENTS as DRAWS
from tierpole.barn.draws import BarnDraws
from tierpole.barn.hanging import Hangings
from tierpole.barn.losses import Outcome
from tierpole.barn.places import COEFFICIENTS as PLACES
from tierpole.barn.places import Controls, PlaceAir

Array = NDArray[np.float64]
Task = TypeVar("Task")
Tick = Callable[[float], None]

SUB_STEPS = 1  # an hour
_NEVER = 10**9  # an hour no season reaches
_READABLE = (0.03, 0.9)  # wet basis: what flower can hold, whatever a reading says


class Setting:
    """Weather, draws and target of a set of runs; cases and batches of single draws."""

    def __init__(
        self,
        outside_air: OutsideAir,
        barn_draws: BarnDraws,
        season_row: NDArray[np.int64],
        moisture_target: float = targets.COEFFICIENTS["moisture_target"],
        sub_steps: int = SUB_STEPS,
        takes_down: bool = True,
    ):
        self.draws, self._season_row = barn_draws, season_row
        self._outside = lookup.outside(outside_air)
        self._activity = lookup.activity_table(barn_draws.exponent)
        self._tables = lookup.tables(outside_air.pressure)
        self.rule = kernel.Rule(
            target=float(targets.dry_basis(moisture_target)),
            hours_at_target=targets.COEFFICIENTS["hours_at_target"] if takes_down else 1.0 * _NEVER,
            hours_most=round(24 * targets.COEFFICIENTS["days_most"]) if takes_down else _NEVER,
            sub_steps=sub_steps,
        )

    def case(
        self, draw: int, place: PlaceAir, controls: Controls | None = None, first_hour: int = 0
    ) -> kernel.Case:
        """A draw's weather and plants in a place, its controls from `first_hour` on."""
        row = self._season_row[draw]
        return kernel.Case(
            outside=kernel.Outside(*(values[row] for values in self._outside)),
            controls=_controls(controls or place.usual(), draw, first_hour),
            space=self._space(draw, place),
            plant=self._plant(draw),
            rule=self.rule,
            tables=self._tables,
        )

    def _space(self, draw: int, place: PlaceAir) -> kernel.Space:
        d = self.draws
        stick = d.mass_flower[draw] + d.mass_leaf[draw] + d.mass_stem[draw]
        roof = place.transmittance / FLOW["film_outside"]
        even = np.full(place.tiers, 1 / place.tiers)
        bottom, top = np.eye(place.tiers)[[0, -1]]
        to_tiers = PLACES["roof_top"] * top + (1 - PLACES["roof_top"]) * even
        return kernel.Space(
            wind_area=float(air.wind_flow(d.vents[draw], place.vent_area, d.shelter[draw])),
            stack_flow=float(air.stack_scale(place.vent_area, place.height / 2)),
            leak_area=float(10 * d.leaks[draw] * place.leaks * place.wall_area),
            leak_stack=FLOW["leak_stack"],
            leak_wind=FLOW["leak_wind"],
            flow_least=float(FLOW["least"] / 3600 * place.volume),
            canopy=float(d.canopy[draw]),
            full=float(place.sticks * stick),
            face=float(place.face),
            speed_still=FLOW["speed_still"],
            speed_fans=float(place.fan_speed),
            fan_flow=float(place.fan_flow),
            fan_power=float(place.fan_power),
            heater=float(place.heater),
            sun_gain=float(place.sun * d.heat_factor[draw]),
            sky_loss=float(roof),
            walls=place.walls * even,
            roof=place.roof * to_tiers,
            store=place.store * even,
            floor=place.floor * bottom,
        )

    def _plant(self, draw: int) -> kernel.Plant:
        d = self.draws
        index = float(d.mould_start[draw])
        visible = float(losses.visible_dose(d.dose_critical[draw]))
        flower, leaf, stem = (
            float(getattr(d, f"conductance_{part}")[draw]) for part in ("flower", "leaf", "stem")
        )
        scale = float(d.scale_flower[draw])
        return kernel.Plant(
            conductance=(flower, leaf, stem),
            scale=(scale, scale, float(d.scale_stem[draw])),
            exposed=float(d.exposed[draw]),
            exponent=float(d.exponent[draw]),
            activity=self._activity[draw],
            loop=float(d.loop[draw]),
            loop_span=isotherm.COEFFICIENTS["loop_span"],
            ageing=float(d.ageing[draw] / losses.COEFFICIENTS["gas_constant"]),
            mould_speed=float(d.mould_speed[draw]),
            mould_decline=float(d.mould_decline[draw]),
            mould_start=index,
            dose_start=index / mould.COEFFICIENTS["index_visible"] * visible,
            dose_visible=visible,
        )

    def batches(self, draw: int, hangings: Hangings, tiers: int) -> kernel.Batches:
        """What hangs, as wet when hung as the draw says, as dry when measured as was read."""
        d = self.draws
        stick = np.array([d.mass_flower[draw], d.mass_leaf[draw], d.mass_stem[draw]])
        wet = np.array([d.moisture_flower[draw], d.moisture_leaf[draw], d.moisture_stem[draw]])
        error = DRAWS["reading_error"] * d.reading_error[draw]
        read = np.clip(hangings.reading + error, *_READABLE)
        count = hangings.sticks.size
        share = np.full((count, tiers), 1 / tiers)
        if hangings.tier_share is not None:
            share = np.asarray(hangings.tier_share, dtype=float)
        down = _NEVER if hangings.down_hour is None else hangings.down_hour
        return kernel.Batches(
            hang_hour=np.array(hangings.hang_hour, dtype=np.int64),
            mass=(hangings.sticks[:, None] * share)[..., None] * stick,
            moisture=np.tile(wet, (count, 1)),
            reading_hour=np.array(hangings.reading_hour, dtype=np.int64),
            reading=targets.dry_basis(read),
            down_hour=np.broadcast_to(down, hangings.sticks.shape).astype(np.int64),
        )


def _controls(controls: Controls, draw: int, first_hour: int) -> kernel.Controls:
    def row(values: Array) -> Array:
        own = values[draw] if values.ndim == 2 else values
        return np.ascontiguousarray(own, dtype=float)

    return kernel.Controls(first_hour, row(controls.vents), row(controls.fans), row(controls.heat))


def outcome(records: Array, setting: Setting) -> Outcome:
    """Days, losses and mould from the kernel's records [barn_draw, ..., column]."""
    rule, d = setting.rule, setting.draws

    def by_draw(values: Array) -> Array:
        return values.reshape(-1, *[1] * (records.ndim - 2))

    is_dry = records[..., kernel.AT_TARGET] >= rule.hours_at_target - 1e-9
    hours = np.where(is_dry, records[..., kernel.ABOVE], rule.hours_most)
    risk, age = records[..., kernel.RISK], records[..., kernel.AGE]
    lost = losses.value_share_lost(
        risk,
        losses.cannabinoid_share_lost(age, by_draw(d.cannabinoid_loss)),
        losses.shatter_share_lost(targets.wet_basis(records[..., kernel.MOISTURE_FLOWER])),
    )
    burnt = records[..., kernel.BURNT] >= losses.COEFFICIENTS["houseburn_hours"]
    neutral = losses.decarboxylated_share(age, by_draw(d.decarboxylation))
    wet = records[..., kernel.HOURS_WET] / 24
    values = (hours / 24, lost, risk, wet, burnt, neutral)
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
