"""A place and its batches as one thing, to be run on from any hour to a time or to the end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tierpole.barn.air import OutsideAir
from tierpole.barn.draws import BarnDraws
from tierpole.barn.hanging import BarnState, Hangings, PlaceTrace, advance, first_state
from tierpole.barn.losses import Outcome
from tierpole.barn.places import Controls, PlaceAir

Array = NDArray[np.float64]

SPAN = 15 * 24  # hours run at once where nobody looks at them
_GONE = 2  # stage of a batch that was taken down
_NEVER = 10**9  # an hour no season reaches


@dataclass(frozen=True, eq=False)
class Run:
    """A place and its batches, to be run on from any hour; `controls` from hour `first` on."""

    outside: OutsideAir
    place: PlaceAir
    season_row: NDArray[np.int64]
    hangings: Hangings
    controls: Controls
    first: int

    def advance(
        self, draws: BarnDraws, state: BarnState, last: int
    ) -> tuple[BarnState, PlaceTrace]:
        """The place at hour `last`, and the hours until then."""
        span = slice(state.hour - self.first, last - self.first)
        controls = Controls(
            self.controls.vents[..., span], self.controls.fans[..., span],
            self.controls.heat[..., span],
        )  # fmt: skip
        return advance(
            self.outside, self.place, draws, self.season_row, self.hangings, state, controls
        )

    def without_heat(self, first: int, last: int) -> Run:
        """The same place with its heater cold from one hour to another."""
        heat = np.array(self.controls.heat)
        heat[..., first - self.first : last - self.first] = 0.0
        return replace(self, controls=replace(self.controls, heat=heat))

    def start(self, draws: BarnDraws) -> BarnState:
        """The place at hour `first`, nothing hung yet."""
        return first_state(
            self.outside, self.place, draws, self.season_row, self.hangings, self.first
        )

    def tier_share(self) -> Array:
        """How each batch is spread over the tiers [batch, tier]."""
        if self.hangings.tier_share is not None:
            return self.hangings.tier_share
        return np.full((self.hangings.sticks.size, self.place.tiers), 1 / self.place.tiers)


def finish(run: Run, draws: BarnDraws, state: BarnState) -> Outcome:
    """What becomes of every batch of a place from some state on, each taken down when dry.

    Parameters
    ----------
    run : the place; it is aired as usual from now on
    draws : what is known of plants and air [draw]
    state : what stands

    Returns
    -------
    outcome : arrays [draw, batch]
    """
    from tierpole.barn import running  # noqa: PLC0415  loads the compiler

    end, usual = run.outside.temperature.shape[1], run.place.usual()
    while state.hour < end and not (state.stage == _GONE).all():
        # span by span, for the hours in between are not kept
        clock = np.arange(state.hour, min(state.hour + SPAN, end)) % 24
        controls = Controls(usual.vents[clock], usual.fans[clock], usual.heat[clock])
        state, _ = advance(
            run.outside, run.place, draws, run.season_row, run.hangings, state, controls,
            takes_down=True,
        )  # fmt: skip
    return running.outcome(state.record, running.Setting(run.outside, draws, run.season_row))


def joined(one: Hangings, other: Hangings, tiers: int) -> Hangings:
    """Batches of one place, then others that hang evenly."""
    even = np.full((other.sticks.size, tiers), 1 / tiers)
    share = np.full((one.sticks.size, tiers), 1 / tiers)
    down = np.full(one.sticks.size, _NEVER)
    return Hangings(
        hang_hour=np.concatenate((one.hang_hour, other.hang_hour)),
        sticks=np.concatenate((one.sticks, other.sticks)),
        reading_hour=np.concatenate((one.reading_hour, other.reading_hour)),
        reading=np.concatenate((one.reading, other.reading)),
        down_hour=np.concatenate(
            (down if one.down_hour is None else one.down_hour, np.full(len(even), _NEVER))
        ),
        tier_share=np.concatenate((share if one.tier_share is None else one.tier_share, even)),
    )


def waiting_too(state: BarnState, batches: int) -> BarnState:
    """A state with room for batches that are not hung yet."""

    def longer(values: NDArray[Any], fill: float) -> NDArray[Any]:
        shape = (values.shape[0], batches, *values.shape[2:])
        return np.concatenate((values, np.full(shape, fill, values.dtype)), axis=1)

    return replace(
        state,
        stage=longer(state.stage, 0),
        moisture=longer(state.moisture, 0),
        branch=longer(state.branch, 1),
        mould=longer(state.mould, 0),
        record=longer(state.record, 0),
    )
