"""What hangs: sticks already up, and any hanging a plan looks at, dried hour by hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from tierpole.barn import BarnDraws, Outcome, OutsideAir, PlaceTrace, place_air, simulate
from tierpole.barn.hanging import Hangings
from tierpole.farm import Hanging, Reading
from tierpole.outlook.curing import (
    HANG_HOUR,
    Curing,
    barn_parameters,
    outside_air,
    stick_weight,
)
from tierpole.outlook.dollars import Dollars
from tierpole.outlook.sky import Skies, skies
from tierpole.season import Season

Array = np.ndarray
READ_HOUR = 9  # of the day; people read gauges in the morning


@dataclass(frozen=True)
class Batch:
    """Something to hang: in which place, on which day of the season, as how many full sticks."""

    place: int
    day: int
    load: float


@dataclass(frozen=True, eq=False)
class Hung:
    """Sticks already up: day each is dry [draw, hanging], what all recorded ones bring [draw]."""

    free_day: Array
    dollars: Array


@dataclass(frozen=True, eq=False)
class Dried:
    """Batches re-simulated with everything else that hangs in their place, [barn_draw, batch]."""

    drying_days: Array
    drying_loss: Array
    mould_risk: Array
    barn_row: Array  # [draw]
    traces: dict[int, PlaceTrace]  # by place


def hung_now(season: Season, sky: Skies, drying: Curing, dollars: Dollars, seed: int) -> Hung:
    """When the sticks already hanging are dry, and what everything hung so far is worth."""
    draws = sky.row.size
    parameters, season_row = barn_parameters(sky, seed)
    air = outside_air(season, sky)
    free = {}
    worth = np.zeros(draws)
    for place in range(len(season.places)):
        hangings = [h for h in season.hangings if season.place_index(h.place) == place]
        if not hangings:
            continue
        outcome, _ = simulate(
            air,
            place_air(season.places[place]),
            parameters,
            season_row,
            _recorded(season, hangings),
        )
        for column, hanging in enumerate(hangings):
            days = outcome.drying_days[drying.barn_row, column]
            free[hanging] = season.index(hanging.hung_on) + days
            loss = outcome.drying_loss[drying.barn_row, column]
            worth += _worth(season, dollars, hanging, loss)
    rows = [free[hanging] for hanging in season.hanging_now()]
    return Hung(np.stack(rows, axis=1) if rows else np.empty((draws, 0)), worth)


def dry_hanging(season: Season, outlook: xr.Dataset, batches: Sequence[Batch]) -> Dried:
    """Dry the batches as they would really hang, all that is up already included."""
    seed, draws = outlook.attrs["seed"], outlook.sizes["draw"]
    sky = skies(season, draws, seed)
    parameters, season_row = barn_parameters(sky, seed)
    air = outside_air(season, sky)
    shape = (len(parameters), len(batches))
    found = {name: np.zeros(shape, np.float32) for name in _OUTCOMES}
    traces = {}
    for place in sorted({batch.place for batch in batches}):
        rows = [row for row, batch in enumerate(batches) if batch.place == place]
        outcome, traces[place] = _dry_place(
            season, place, [batches[row] for row in rows], air, parameters, season_row
        )
        for name in _OUTCOMES:
            found[name][:, rows] = getattr(outcome, name)[:, -len(rows) :]
    return Dried(**found, barn_row=outlook["barn_row"].values, traces=traces)


_OUTCOMES = ("drying_days", "drying_loss", "mould_risk")


def _dry_place(
    season: Season,
    place: int,
    batches: list[Batch],
    air: OutsideAir,
    parameters: BarnDraws,
    season_row: Array,
) -> tuple[Outcome, PlaceTrace]:
    """One place with what hangs there now, then the new batches."""
    name = season.places[place].name
    up = _recorded(season, [h for h in season.hanging_now() if h.place == name])
    new = Hangings.unmeasured(
        np.array([batch.day * 24 + HANG_HOUR for batch in batches], dtype=np.int64),
        np.array([batch.load for batch in batches]),
    )
    both = Hangings(
        *(np.concatenate([getattr(up, field), getattr(new, field)]) for field in _FIELDS)
    )
    return simulate(air, place_air(season.places[place]), parameters, season_row, both)


_FIELDS = ("hang_hour", "sticks", "reading_hour", "reading")


def _recorded(season: Season, hangings: list[Hanging]) -> Hangings:
    """Recorded hangings as the drying model takes them, with each one's latest reading."""
    readings = [_latest(season, hanging) for hanging in hangings]
    return Hangings(
        hang_hour=np.array(
            [season.index(h.hung_on) * 24 + HANG_HOUR for h in hangings], dtype=np.int64
        ),
        sticks=np.array([h.sticks * _weight(season, h) for h in hangings], dtype=float),
        reading_hour=np.array(
            [-1 if r is None else season.index(r.read_on) * 24 + READ_HOUR for r in readings],
            dtype=np.int64,
        ),
        reading=np.array([0.0 if r is None else r.moisture_flower for r in readings], dtype=float),
    )


def _weight(season: Season, hanging: Hanging) -> float:
    return stick_weight(season.lots[season.lot_index(hanging.lot)])


def _latest(season: Season, hanging: Hanging) -> Reading | None:
    own = [
        r
        for r in season.readings
        if (r.place, r.lot, r.hung_on) == (hanging.place, hanging.lot, hanging.hung_on)
    ]
    return max(own, key=lambda r: r.read_on, default=None)


def _worth(season: Season, dollars: Dollars, hanging: Hanging, loss: Array) -> Array:
    """What a recorded hanging brings [draw]; without a pass it will be destroyed."""
    number = season.lot_index(hanging.lot)
    day = np.array([season.index(hanging.hung_on)])
    passed = dollars.stick_pieces(number, day, loss[:, None, None]).total[:, 0, 0]
    chance = dollars.legal.p_sellable(number, hanging.hung_on)
    return hanging.sticks * (chance * passed + (1.0 - chance) * dollars.hung_in_vain())
