"""A place of the farm as its readings correct it: from the first sticks hung until now.

Hours inside count from midnight of the day on which the first batch was hung; outside they are
hours of the season.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np

from tierpole.barn import (
    BarnDraws,
    BarnState,
    Controls,
    Hangings,
    Outcome,
    OutsideAir,
    PlaceTrace,
    place_air,
)
from tierpole.barn.correct import Corrected, Metered, Readings, Weighing, correct
from tierpole.barn.runs import Run, finish, joined, waiting_too
from tierpole.barn.sensors import AirSeries, air_series
from tierpole.farm import Airing, Hanging, Place, StickWeight
from tierpole.outlook.curing import HANG_HOUR, barn_parameters, outside_air, stick_weight
from tierpole.outlook.sky import skies
from tierpole.outlook.stowing import elevation
from tierpole.outlook.streams import stream
from tierpole.season import Season

Array = np.ndarray
READ_HOUR = 9  # of the day; people read gauges in the morning
NEVER = 10**9  # an hour no season reaches


@dataclass(frozen=True)
class Batch:
    """Something to hang: in which place, on which day of the season, as how many full sticks."""

    place: int
    day: int
    load: float


@dataclass(frozen=True, eq=False)
class Watched:
    """A place now: its batches, how it has run, and everything corrected by what was read.

    `hangings` are the recorded batches; planned ones follow them in `run`. `origin` is the hour
    of the season from which the hours inside count, `now` one of those. `readings` have hours
    inside too.
    """

    place: Place
    hangings: tuple[Hanging, ...]
    run: Run
    corrected: Corrected
    readings: Readings
    origin: int
    now: int

    @property
    def draws(self) -> BarnDraws:
        """What is known by now of plants and air."""
        return self.corrected.draws

    @property
    def state(self) -> BarnState:
        """What stands now."""
        return self.corrected.state

    def ahead(self, controls: Controls, state: BarnState | None = None) -> PlaceTrace:
        """The hours from now on under some controls, nothing taken down."""
        hours = controls.vents.shape[-1]
        run = replace(self.run, controls=controls, first=self.now)
        start = self.state if state is None else state
        return run.advance(self.draws, start, self.now + hours)[1]

    def finished(self) -> Outcome:
        """What becomes of every batch [draw, batch], each taken down when dry."""
        return finish(self.run, self.draws, self.state)

    def with_planned(self, planned: Sequence[Batch]) -> Watched:
        """The same place with batches to come, which hang after the recorded ones."""
        more = Hangings.unmeasured(
            np.array([b.day * 24 + HANG_HOUR - self.origin for b in planned], dtype=np.int64),
            np.array([b.load for b in planned]),
        )
        state = waiting_too(self.state, len(planned))
        run = replace(self.run, hangings=joined(self.run.hangings, more, self.run.place.tiers))
        return replace(self, run=run, corrected=replace(self.corrected, state=state))


@lru_cache(maxsize=12)
def watched(season: Season, seed: int, name: str) -> Watched | None:
    """A place with its recorded hangings; None where nothing was ever hung."""
    place = season.places[season.place_index(name)]
    hangings = tuple(h for h in season.hangings if h.place == name)
    if not hangings:
        return None
    weather, parameters, season_row = _weather(season, seed)
    origin = min(season.index(h.hung_on) for h in hangings) * 24
    now = _now(season, hangings) - origin
    readings = _readings(season, hangings, name, origin, now)
    batches = _batches(season, hangings, origin)
    air, first = _from(weather, origin), int(batches.hang_hour.min())
    run = Run(
        outside=air,
        place=place_air(place),
        season_row=season_row,
        hangings=batches,
        controls=past_controls(season, place, origin + first, air.temperature.shape[1] - first),
        first=first,
    )
    sticks = np.array([h.sticks for h in hangings], dtype=float)
    rng = stream(seed, f"sensors {name}")
    corrected = correct(run, parameters, readings, now, sticks, rng)
    return Watched(place, hangings, run, corrected, readings, origin, now)


@lru_cache(maxsize=4)
def _weather(season: Season, seed: int) -> tuple[OutsideAir, BarnDraws, Array]:
    sky = skies(season, 1, seed)  # the weather seasons are the same for any number of draws
    return outside_air(season, sky), *barn_parameters(sky, seed)


def _from(air: OutsideAir, origin: int) -> OutsideAir:
    """The air outside from an hour of the season on."""
    span = slice(origin, None)

    def cut(values: Array | None) -> Array | None:
        return None if values is None else np.ascontiguousarray(values[:, span])

    return replace(
        air, temperature=np.ascontiguousarray(air.temperature[:, span]),
        humidity=np.ascontiguousarray(air.humidity[:, span]),
        wind=cut(air.wind), sun=cut(air.sun), sky=cut(air.sky),
    )  # fmt: skip


def _now(season: Season, hangings: Sequence[Hanging]) -> int:
    """The hour of the season a place is looked at: this morning, or after its latest reading.

    A place where everything is down is looked at as it was then.
    """
    name = hangings[0].place
    hung = max(season.index(h.hung_on) for h in hangings) * 24 + HANG_HOUR
    if all(h.down_on is not None and h.down_on <= season.on for h in hangings):
        down = max(season.index(h.down_on) for h in hangings if h.down_on is not None)
        return max(down * 24 + READ_HOUR, hung + 1)
    read = [_hour(season, r.read_on, r.read_at) for r in season.air_readings if r.place == name]
    read += [_hour(season, w.read_on, w.read_at) for w in season.stick_weights if w.place == name]
    return max(season.today * 24 + READ_HOUR, *(hour + 1 for hour in (hung, *read)))


def _hour(season: Season, day: date, at: str | None) -> int:
    """A date and a time of day as an hour of the season."""
    return season.index(day) * 24 + (READ_HOUR if at is None else int(at[:2]))


def past_controls(season: Season, place: Place, first: int, hours: int) -> Controls:
    """How a place was and will be set if nobody changes it: as written down, else as usual.

    From hour `first` of the season on, so many hours.
    """
    usual = place_air(place).usual()
    clock = (first + np.arange(hours)) % 24
    vents, fans, heat = (values[clock].astype(float) for values in _each(usual))
    for airing in sorted(_airings(season, place.name), key=lambda a: (a.set_on, a.set_at)):
        start = max(_hour(season, airing.set_on, airing.set_at) - first, 0)
        vents[start:], fans[start:], heat[start:] = airing.vents, airing.fans, airing.heat
    return Controls(vents, fans, heat)


def _each(controls: Controls) -> tuple[Array, Array, Array]:
    return controls.vents, controls.fans, controls.heat


def _airings(season: Season, name: str) -> list[Airing]:
    return [airing for airing in season.airings if airing.place == name]


def _batches(season: Season, hangings: Sequence[Hanging], origin: int) -> Hangings:
    """Recorded hangings, with their tiers as far as they are known."""
    hung = [season.index(h.hung_on) * 24 + HANG_HOUR - origin for h in hangings]
    down = [
        NEVER if h.down_on is None else season.index(h.down_on) * 24 + READ_HOUR - origin
        for h in hangings
    ]
    loads = [h.sticks * stick_weight(season.lots[season.lot_index(h.lot)]) for h in hangings]
    return replace(
        Hangings.unmeasured(np.array(hung, dtype=np.int64), np.array(loads, dtype=float)),
        down_hour=np.array(down, dtype=np.int64),
        tier_share=_tier_share(season, hangings),
    )


def _tier_share(season: Season, hangings: Sequence[Hanging]) -> Array:
    """How each batch is spread over the tiers [batch, tier]; evenly where nobody knows."""
    found = elevation(season, hangings[0].place)
    hung = (found.room.sum(axis=1) > 0).astype(float)
    by_hanging = {
        hanging: one.sticks.sum(axis=1) / one.total
        for hanging, one in zip(found.hangings, found.stowed, strict=True)
        if found.is_recorded and one.total
    }
    return np.array([by_hanging.get(hanging, hung / hung.sum()) for hanging in hangings])


def _readings(
    season: Season, hangings: Sequence[Hanging], name: str, origin: int, now: int
) -> Readings:
    """Everything read in a place until now, in hours inside."""
    air = [r for r in season.air_readings if r.place == name]
    hours = np.array([_hour(season, r.read_on, r.read_at) - origin for r in air], dtype=np.int64)
    series = air_series(
        hours, [r.temperature for r in air], [r.humidity for r in air], [r.tier or 0 for r in air]
    )
    kept: AirSeries = series.take((series.hour >= HANG_HOUR) & (series.hour < now))
    batch = {(h.lot, h.hung_on): number for number, h in enumerate(hangings)}
    weighings = [
        Weighing(_after(season, hangings[number], w, origin), number, w.mass / w.sticks, w.sticks)
        for w in season.stick_weights
        if w.place == name and (number := batch.get((w.lot, w.hung_on))) is not None
    ]
    metered = [
        Metered(
            max(season.index(r.read_on) * 24 + READ_HOUR - origin,
                _earliest(season, hangings[number], origin)),
            number, r.moisture_flower,
        )
        for r in season.readings
        if r.place == name and (number := batch.get((r.lot, r.hung_on))) is not None
    ]  # fmt: skip
    return Readings(kept, tuple(weighings), tuple(metered))


def _earliest(season: Season, hanging: Hanging, origin: int) -> int:
    """An hour after a batch was hung: what is weighed as it goes up counts then."""
    return season.index(hanging.hung_on) * 24 + HANG_HOUR + 1 - origin


def _after(season: Season, hanging: Hanging, weight: StickWeight, origin: int) -> int:
    read = _hour(season, weight.read_on, weight.read_at) - origin
    return max(read, _earliest(season, hanging, origin))
