"""A place simulated as it is really filled: batch after batch, all in the same air.

`simulate` follows a place from the first hanging to the last taken down. `first_state` and
`advance` do the same a span of hours at a time, from whatever stands at its beginning: what a
filter corrects by readings, and what advice tries out with other vents, fans and heat.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tierpole import moist_air
from tierpole.barn import targets
from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws
from tierpole.barn.losses import Outcome
from tierpole.barn.places import Controls, PlaceAir

if TYPE_CHECKING:
    from tierpole.barn.running import Setting

Array = NDArray[np.float64]
Stored = NDArray[np.float32]
Rows = NDArray[np.int64]


@dataclass(frozen=True)
class Hangings:
    """What goes up in one place, a batch a row; a batch comes down when it is dry.

    `sticks` are full sticks; lighter ones count for less. A measured moisture of the flower sets
    the mean of that batch's flower at that hour; leaf and stem go on as simulated. `down_hour`
    says when a batch was taken down before it was dry. `tier_share` says how a batch is spread
    over the tiers from the lowest up; evenly when left out.
    """

    hang_hour: Rows  # hour of the season, [batch]
    sticks: Array  # [batch]
    reading_hour: Rows  # hour of the season; -1 if never measured, [batch]
    reading: Array  # wet basis [share], [batch]
    down_hour: Rows | None = None  # hour of the season, [batch]; None if only when dry
    tier_share: Array | None = None  # [batch, tier], rows sum to 1

    @staticmethod
    def unmeasured(hang_hour: Rows, sticks: Array) -> Hangings:
        """Batches whose moisture nobody has measured."""
        return Hangings(hang_hour, sticks, np.full(len(sticks), -1), np.zeros(len(sticks)))


@dataclass(frozen=True, eq=False)
class BarnState:
    """What stands in a place at the beginning of an hour, for every draw.

    Made by `first_state`, moved by `advance`, corrected by whoever has better knowledge, with
    `dataclasses.replace`: all arrays but `stage` and `record` may be set. Tiers count from the
    lowest up, parts are flower, leaf, stem. What is not up yet, or no more, keeps its place in the
    arrays and means nothing.
    """

    hour: int  # of the season; the first that `advance` will run
    stage: NDArray[np.int8]  # of a batch: 0 waiting, 1 hanging, 2 gone, [draw, batch]
    moisture: Array  # dry basis [kg/kg], [draw, batch, tier, part]
    branch: Array  # of the isotherm: 1 drying, 0 rewetting, [draw, batch, tier, part]
    mould: Array  # dose [d], index, hours dry, then sums on houseburn, [draw, batch, tier, 7]
    air: Array  # temperature [°C] and humidity ratio [kg/kg] inside, [draw, tier, 2]
    record: Array  # the kernel's sums since each batch was hung, [draw, batch, column]

    def take(self, rows: Rows) -> BarnState:
        """The state of some draws, in that order; the same one may come twice."""
        arrays = {f.name: getattr(self, f.name)[rows] for f in fields(self) if f.name != "hour"}
        return BarnState(hour=self.hour, **arrays)


@dataclass(frozen=True, eq=False)
class PlaceTrace:
    """Air, moisture and mould of a place, hour by hour from `first_hour` of the season.

    For every draw. Temperature and humidity are the hour's mean, moisture (dry basis) and chance
    of mould stand at its end. A batch's values are not numbers while it is not up, nor is the air
    once all batches are down. Tiers count from the lowest up, parts are flower, leaf, stem.
    """

    first_hour: int
    temperature: Stored  # [°C], [draw, tier, hour]
    humidity: Stored  # relative [share], [draw, tier, hour]
    moisture: Stored  # [kg/kg], [draw, batch, tier, part, hour]
    mould_chance: Stored  # that it is seen on a stick [1], [draw, batch, tier, hour]
    evaporated: Stored  # water the plants gave in the hour [kg], [draw, hour]
    heat: Stored  # of the heater in the hour [J], [draw, hour]
    fan_energy: Stored  # in the hour [J], [draw, hour]
    flow: Stored  # dry air from outside that passes plants [kg/s], [draw, hour]
    stack: Stored  # of it rising (negative: sinking) through the tiers [kg/s], [draw, hour]


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
    place : what they hang in, with its usual vents, fans and heat
    draws : [barn_draw]
    season_row : weather season of each draw [barn_draw]
    hangings : the batches, past ones and planned; at least one
    moisture_target : at which flower is taken down, wet basis [share]
    tick : told the share done; may raise to stop
    """
    from tierpole.barn import running  # noqa: PLC0415  loads the compiler

    setting = running.Setting(outside_air, draws, season_row, moisture_target)
    first = int(hangings.hang_hour.min())
    last = min(
        int(hangings.hang_hour.max()) + setting.rule.hours_most, outside_air.temperature.shape[1]
    )
    state = first_state(outside_air, place, draws, season_row, hangings, first)
    after, trace = _run(setting, place, hangings, state, None, max(last - first, 0), tick)
    return running.outcome(after.record, setting), trace


def first_state(
    outside_air: OutsideAir,
    place: PlaceAir,
    draws: BarnDraws,
    season_row: Rows,
    hangings: Hangings,
    hour: int,
) -> BarnState:
    """A place at the beginning of an hour of the season with all its batches still to be hung.

    Air inside is as outside. To follow recorded hangings start at or before the first one's hour.
    """
    count, batches = len(draws), hangings.sticks.size
    from tierpole.barn import kernel, lookup  # noqa: PLC0415  loads the compiler

    outside, row = lookup.outside(outside_air), max(hour - 1, 0)
    now = np.stack([outside.temperature[season_row, row], outside.ratio[season_row, row]], axis=-1)
    parts = (count, batches, place.tiers, kernel.PARTS)
    return BarnState(
        hour=hour,
        stage=np.zeros((count, batches), dtype=np.int8),
        moisture=np.zeros(parts),
        branch=np.ones(parts),
        mould=np.zeros((*parts[:3], kernel.MOULDS)),
        air=np.repeat(now[:, None], place.tiers, axis=1),
        record=np.zeros((count, batches, kernel.RECORDS)),
    )


def advance(
    outside_air: OutsideAir,
    place: PlaceAir,
    draws: BarnDraws,
    season_row: Rows,
    hangings: Hangings,
    state: BarnState,
    controls: Controls,
    takes_down: bool = False,
) -> tuple[BarnState, PlaceTrace]:
    """A place some hours on, and those hours one by one.

    Parameters
    ----------
    outside_air : weather seasons [season, hour], observed hours and foretold ones alike; they must
        reach from `state.hour` to the end of the span
    place : what the batches hang in
    draws : [draw], with what is known by now of plants and air; may differ from call to call
    season_row : row of `outside_air` each draw lives in [draw]
    hangings : the same batches in every call, those not yet hung included: a batch goes up when
        its `hang_hour` is reached, comes down at its `down_hour`, and a reading sets its flower
    state : what stands at `state.hour`; not changed
    controls : vents, fans and heat for each hour of the span, [hour] or [draw, hour]; their length
        is the length of the span
    takes_down : whether batches come down by themselves once they are dry, as in `simulate`;
        without, each stays up until its `down_hour`

    Returns
    -------
    state : at the end of the span, its `hour` moved by the span's length
    trace : the span's hours

    Two calls over two spans give what one call over both gives.
    """
    from tierpole.barn import running  # noqa: PLC0415  loads the compiler

    setting = running.Setting(outside_air, draws, season_row, takes_down=takes_down)
    return _run(setting, place, hangings, state, controls, controls.vents.shape[-1], None)


def _run(
    setting: Setting,
    place: PlaceAir,
    hangings: Hangings,
    state: BarnState,
    controls: Controls | None,
    hours: int,
    tick: Callable[[float], None] | None,
) -> tuple[BarnState, PlaceTrace]:
    from tierpole.barn import kernel, lookup, running  # noqa: PLC0415

    count, batches = state.stage.shape
    first, start = state.hour, 0 if controls is None else state.hour
    moved = {f.name: np.array(getattr(state, f.name)) for f in fields(state) if f.name != "hour"}
    shapes = lookup.new_trace(hours, batches, place.tiers)
    kept = [np.empty((count, *each.shape), np.float32) for each in shapes]

    def run(draw: int) -> None:
        scratch = lookup.new_state(batches, place.tiers)
        own = scratch._replace(**{name: values[draw] for name, values in moved.items()})
        weights = setting.batches(draw, hangings, place.tiers)
        own.before[:] = _mean_flower(own.moisture, weights.mass)
        trace = lookup.new_trace(hours, batches, place.tiers)
        case = setting.case(draw, place, controls, start)
        kernel.run_hours(case, weights, own, trace, first, first + hours)
        trace.air[..., kernel.RATIO] = moist_air.relative_humidity(
            trace.air[..., 0], trace.air[..., 1], case.tables.constants.pressure
        )
        for mine, all_draws in zip(trace, kept, strict=True):
            all_draws[draw] = mine

    running.run_all(run, range(count), tick)
    return BarnState(hour=first + hours, **moved), _trace(first, kept)


def _mean_flower(moisture: Array, mass: Array) -> Array:
    """Mean moisture of each batch's flower [batch]."""
    flower = mass[..., 0]
    return (moisture[..., 0] * flower).sum(-1) / flower.sum(-1)


def _trace(first: int, kept: list[Stored]) -> PlaceTrace:
    from tierpole.barn import kernel  # noqa: PLC0415

    air, moisture, mould, place = (np.moveaxis(values, 1, -1) for values in kept)
    tiers = air.shape[1]
    through = place[:, kernel.THROUGH]
    return PlaceTrace(
        first_hour=first,
        temperature=air[:, :, kernel.TEMPERATURE],
        humidity=air[:, :, kernel.RATIO],
        moisture=moisture,
        mould_chance=mould,
        evaporated=place[:, kernel.EVAPORATED],
        heat=place[:, kernel.HEAT],
        fan_energy=place[:, kernel.FAN_ENERGY],
        flow=tiers * place[:, kernel.CROSS] + np.abs(through),
        stack=through,
    )
