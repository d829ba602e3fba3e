"""Where in a place each hanging is: as recorded, and for the rest as it should be filled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from tierpole.barn import room
from tierpole.barn.room import Stowed
from tierpole.farm import Hanging, Place, TierLoad
from tierpole.season import Season


@dataclass(frozen=True, eq=False)
class Elevation:
    """A place seen from the side: room of each bay [tier, bent], and what hangs in it.

    `hangings` and `stowed` go together. `is_recorded` says whether somebody wrote down the tier of
    everything that hangs; else the rest is drawn as it should have been filled.
    """

    place: Place
    room: np.ndarray
    hangings: tuple[Hanging, ...]
    stowed: tuple[Stowed, ...]
    is_recorded: bool


def elevation(season: Season, name: str) -> Elevation:
    """What hangs in a place today, bay by bay."""
    place = season.places[season.place_index(name)]
    bays = room.bays(place)
    hangings = tuple(h for h in season.hanging_now() if h.place == name)
    recorded = [_recorded(season, bays, hanging) for hanging in hangings]
    left = np.maximum(bays - sum(recorded, np.zeros_like(bays)), 0)
    rest = [max(h.sticks - int(r.sum()), 0) for h, r in zip(hangings, recorded, strict=True)]
    assumed = room.stow(left, [h.lot for h in hangings], rest)
    stowed = tuple(
        Stowed(hanging.lot, known + more.sticks)
        for hanging, known, more in zip(hangings, recorded, assumed, strict=True)
    )
    return Elevation(place, bays, hangings, stowed, not any(rest))


def _recorded(season: Season, bays: np.ndarray, hanging: Hanging) -> np.ndarray:
    """Sticks of a hanging by tier and bent, as written down; a bent not named is the last."""
    found = np.zeros_like(bays)
    for load in _of(season.tier_loads, hanging):
        bent = min(load.bent or bays.shape[1], bays.shape[1])
        found[load.tier - 1, bent - 1] += load.sticks
    return found


def _of(loads: Iterable[TierLoad], hanging: Hanging) -> Iterable[TierLoad]:
    own = (hanging.lot, hanging.place, hanging.hung_on)
    return (load for load in loads if (load.lot, load.place, load.hung_on) == own)
