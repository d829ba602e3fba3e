"""What hangs: sticks already up, and any hanging a plan looks at, dried hour by hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from tierpole.barn import BarnDraws, Outcome, OutsideAir, place_air, simulate
from tierpole.barn.hanging import Hangings
from tierpole.farm import Hanging
from tierpole.outlook.curing import HANG_HOUR, Curing, barn_parameters, outside_air
from tierpole.outlook.dollars import Dollars
from tierpole.outlook.sky import skies
from tierpole.outlook.watched import Batch, watched
from tierpole.season import Season

Array = np.ndarray


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


def hung_now(season: Season, drying: Curing, dollars: Dollars, seed: int) -> Hung:
    """When the sticks already hanging are dry, and what everything hung so far is worth."""
    draws = drying.barn_row.size
    free = {}
    worth = np.zeros(draws)
    for place in season.places:
        found = watched(season, seed, place.name)
        if found is None:
            continue
        outcome = found.finished()
        for column, hanging in enumerate(found.hangings):
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
    for place in sorted({batch.place for batch in batches}):
        rows = [row for row, batch in enumerate(batches) if batch.place == place]
        outcome = _dry_place(
            season, place, [batches[row] for row in rows], seed, air, parameters, season_row
        )
        for name in _OUTCOMES:
            found[name][:, rows] = getattr(outcome, name)[:, -len(rows) :]
    return Dried(**found, barn_row=outlook["barn_row"].values)


_OUTCOMES = ("drying_days", "drying_loss", "mould_risk")


def _dry_place(
    season: Season,
    place: int,
    batches: list[Batch],
    seed: int,
    air: OutsideAir,
    parameters: BarnDraws,
    season_row: Array,
) -> Outcome:
    """One place with what hangs there, as its readings correct it, then the new batches."""
    found = watched(season, seed, season.places[place].name)
    if found is not None:
        return found.with_planned(batches).finished()
    new = Hangings.unmeasured(
        np.array([batch.day * 24 + HANG_HOUR for batch in batches], dtype=np.int64),
        np.array([batch.load for batch in batches]),
    )
    return simulate(air, place_air(season.places[place]), parameters, season_row, new)[0]


def _worth(season: Season, dollars: Dollars, hanging: Hanging, loss: Array) -> Array:
    """What a recorded hanging brings [draw]; without a pass it will be destroyed."""
    number = season.lot_index(hanging.lot)
    day = np.array([season.index(hanging.hung_on)])
    passed = dollars.stick_pieces(number, day, loss[:, None, None]).total[:, 0, 0]
    chance = dollars.legal.p_sellable(number, hanging.hung_on)
    return hanging.sticks * (chance * passed + (1.0 - chance) * dollars.hung_in_vain())
