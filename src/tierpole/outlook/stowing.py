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

    `hangings` and `stowed` go together. `recorded` is of how many sticks somebody wrote down the
    tier; the rest is drawn as it should have been filled.
    """

    place: Place
    room: np.ndarray
    hangings: tuple[Hanging, ...]
    stowed: tuple[Stowed, ...]
    recorded: int

    @property
    def is_recorded(self) -> bool:
        """Whether somebody wrote down the tier of everything that hangs."""
        return self.recorded >= sum(hanging.sticks for hanging in self.hangings)


def elevation(season: Season, name: str) -> Elevation:
    """What hangs in a place today, bay by bay."""
    place = season.places[season.place_index(name)]
    bays = room.bays(place)
    hangings = tuple(h for h in season.hanging_now() if h.place == name)
    lots = [hanging.lot for hanging in hangings]
    known = [Stowed(hanging.lot, _recorded(season, bays, hanging)) for hanging in hangings]
    rest = [max(h.sticks - one.total, 0) for h, one in zip(hangings, known, strict=True)]
    assumed = room.stow(bays, lots, rest, known)
    stowed = tuple(
        Stowed(one.lot, one.sticks + more.sticks) for one, more in zip(known, assumed, strict=True)
    )
    return Elevation(place, bays, hangings, stowed, sum(one.total for one in known))


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
