"""What the page of a place tells: its air, moistures and mould by the hour, alarm and advice.

The hours run from the first batch that still hangs to some days ahead; until now they are as
foretold from one reading to the next, from now on they are foretold.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import xarray as xr

from tierpole.barn import Controls, PlaceTrace, advice, targets
from tierpole.barn.advice import Advice, Means, Rule, Score
from tierpole.barn.runs import Run, finish
from tierpole.barn.sensors import AirSeries, Finding
from tierpole.barn.storage import Window, bag_activity, brittle_chance, case_windows
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Hanging, Place
from tierpole.outlook.watched import Watched, watched
from tierpole.season import Season

Array = np.ndarray

COEFFICIENTS = Table(
    "Watching a place",
    (
        Value("alarm", 0.10, "chance", Mark.PRACTICE, "of visible mould at which a page speaks up"),
        Value("bag_stem", 0.10, "share", Mark.INFERENCE, "stem left in a bag of stripped flower"),
        Value("draws", 80.0, "1", Mark.PRACTICE, "draws that rules of airing are tried on"),
        Value("thinned", 1 / 3, "share", Mark.PRACTICE, "of the sticks hung elsewhere, as a trial"),
    ),
)  # fmt: skip
_C = COEFFICIENTS


@dataclass(frozen=True, eq=False)
class HangingWatch:
    """One hanging by the hour: moisture of its flower (wet basis), chance of mould by tier.

    `dry_day` is the day of the season on which each draw has it dry enough; `measured` are
    moistures read, `windows` hours in which it may be stripped. `bagged` is the water activity a
    bag of it would settle at, filled now; `brittle` the highest chance, in the hours ahead, that it
    is so dry that it shatters.
    """

    hanging: Hanging
    tiers: tuple[int, ...]
    moisture: Array  # [draw, hour], NaN before it is hung
    mould: Array  # [draw, hour, tier]
    dry_day: Array  # [draw]
    measured: tuple[tuple[int, float], ...]
    windows: tuple[Window, ...]
    bagged: Array  # [draw]
    brittle: float

    @property
    def mould_worst(self) -> Array:
        """In its worst tier [draw, hour]."""
        rows = [tier - 1 for tier in self.tiers]
        return self.mould[:, :, rows].max(axis=2)


@dataclass(frozen=True)
class Alarm:
    """The chance of mould passes a tenth in so many hours, if vents stay shut or as they are."""

    lot: str
    hours: int
    is_shut: bool


@dataclass(frozen=True)
class Thinned:
    """What hanging some of the sticks elsewhere would change: mould in the end, days until dry."""

    share: float
    mould: tuple[float, float]  # as it is, thinned
    days: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Watch:
    """A place under watch; hours are of the season, arrays [draw, hour] from `first_hour` on.

    `over_now` is what the rule advised gains over leaving things as they are [USD]; `at_stake` what
    hangs is worth. Where a place has no vents, rules open and shut its fans.
    """

    place: Place
    first_hour: int
    now_hour: int
    temperature: Array
    humidity: Array
    humidity_outside: Array
    readings: AirSeries
    hangings: tuple[HangingWatch, ...]
    lots: tuple[str, ...]  # of every batch, as findings number them
    findings: tuple[Finding, ...]
    alarm: Alarm | None
    advice: Advice
    over_now: float
    has_vents: bool
    at_stake: float
    thinned: Thinned

    @property
    def now(self) -> int:
        """The column of the hour that is just over."""
        return max(self.now_hour - self.first_hour - 1, 0)


@lru_cache(maxsize=8)
def _watch(season: Season, seed: int, name: str, worth: tuple[float, ...]) -> Watch | None:
    found = watched(season, seed, name)
    up = [] if found is None else [
        number for number, hanging in enumerate(found.hangings) if hanging in season.hanging_now()
    ]  # fmt: skip
    if found is None or not up:
        return None
    asis = found.ahead(_span(found.run.controls, found))
    joined = _Joined.of([*found.corrected.traces, asis])
    first = found.run.first
    outside = found.run.outside.humidity[found.run.season_row]
    outcome = found.finished()
    found_advice, over_now = _advice(season, found, np.array(worth))
    return Watch(
        place=found.place,
        first_hour=found.origin + first,
        now_hour=found.origin + found.now,
        temperature=joined.temperature.mean(axis=1),
        humidity=np.minimum(joined.humidity, 1.0).mean(axis=1),
        humidity_outside=outside[:, first : first + joined.humidity.shape[2]],
        readings=_shifted(found.readings.air, found.origin),
        hangings=tuple(
            _hanging(season, found, number, joined, outcome.drying_days[:, number]) for number in up
        ),
        lots=tuple(hanging.lot for hanging in found.hangings),
        findings=tuple(
            replace(f, first_hour=f.first_hour + found.origin, last_hour=f.last_hour + found.origin)
            for f in found.corrected.findings
        ),
        alarm=_alarm(found, up, asis),
        advice=found_advice,
        over_now=over_now,
        has_vents=found.run.place.vent_area > 0,
        at_stake=float(sum(worth[number] for number in up)),
        thinned=_thinned(found, up),
    )


def watch(season: Season, outlook: xr.Dataset, name: str) -> Watch | None:
    """A place under watch; None where nothing hangs."""
    worth = tuple(
        h.sticks * stick_worth(season, outlook, h) for h in season.hangings if h.place == name
    )
    return _watch(season, int(outlook.attrs["seed"]), name, worth)


def stick_worth(season: Season, outlook: xr.Dataset, hanging: Hanging) -> float:
    """What a hung stick brings before losses of drying, on average over the draws [USD]."""
    lot = season.lots[season.lot_index(hanging.lot)]
    at = {"lot": lot.name, "day": np.datetime64(hanging.hung_on)}
    kept = (1 - outlook["field_loss"].sel(at)) * (1 - outlook["frost_loss"].sel(at))
    mass = outlook["flower_mass"].sel(at) * kept * lot.plants_per_stick
    content = 1.0
    if season.market.form.value == "point":
        content = outlook["cbd"].sel(at) / outlook["top_to_plant"].sel(lot=lot.name)
    whole = mass / (1 - season.market.moisture) * content
    return float((whole * outlook["price"] * outlook["paid_share"]).mean())


# --- by the hour ----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Joined:
    """Several traces end to end."""

    temperature: Array  # [draw, tier, hour]
    humidity: Array
    moisture: Array  # [draw, batch, tier, part, hour]
    mould_chance: Array  # [draw, batch, tier, hour]

    @classmethod
    def of(cls, traces: list[PlaceTrace]) -> _Joined:
        names = ("temperature", "humidity", "moisture", "mould_chance")
        return cls(*(np.concatenate([getattr(t, n) for t in traces], axis=-1) for n in names))


def _shifted(air: AirSeries, origin: int) -> AirSeries:
    return replace(air, hour=air.hour + origin)


def _hanging(
    season: Season, found: Watched, number: int, joined: _Joined, days: Array
) -> HangingWatch:
    """One hanging by the hour, weighed over the tiers it hangs on."""
    hanging, share = found.hangings[number], found.run.tier_share()[number]
    moisture = joined.moisture[:, number, :, 0]
    wet = targets.wet_basis(np.einsum("dth,t->dh", moisture, share))
    first, now = found.origin + found.run.first, found.now - found.run.first
    return HangingWatch(
        hanging=hanging,
        tiers=tuple(int(tier) + 1 for tier in np.flatnonzero(share > 0)),
        moisture=wet,
        mould=np.fmax.accumulate(joined.mould_chance[:, number].transpose(0, 2, 1), axis=1),
        dry_day=season.index(hanging.hung_on) + days,
        measured=tuple(
            (one.hour + found.origin, one.moisture)
            for one in found.readings.metered
            if one.batch == number
        ),
        windows=tuple(case_windows(first, wet))[-8:],
        bagged=_bagged(found, number, share),
        brittle=float(brittle_chance(wet[:, now:]).max()),
    )


def _bagged(found: Watched, number: int, share: Array) -> Array:
    """Water activity of a bag filled now with flower and some stem [draw]."""
    parts = targets.wet_basis(np.einsum("dtp,t->dp", found.state.moisture[:, number], share))
    mass, draws = np.array([1 - _C["bag_stem"], _C["bag_stem"]]), found.draws
    return bag_activity(mass, parts[:, [0, 2]], scale=draws.scale_flower, exponent=draws.exponent)


def _span(controls: Controls, found: Watched) -> Controls:
    """Controls of the hours watched ahead."""
    hours = round(24 * advice.COEFFICIENTS["horizon"])
    start = found.now - found.run.first
    span = slice(start, min(start + hours, controls.vents.shape[-1]))
    return Controls(controls.vents[..., span], controls.fans[..., span], controls.heat[..., span])


# --- alarm ----------------------------------------------------------------------------------------


def _alarm(found: Watched, up: list[int], asis: PlaceTrace) -> Alarm | None:
    """The first hanging whose chance of mould passes a tenth, as it is aired or else shut."""
    usual = _span(found.run.controls, found)
    shut = found.ahead(replace(usual, vents=np.zeros_like(usual.vents)))
    passing = [
        Alarm(found.hangings[number].lot, hours, is_shut)
        for is_shut, trace in ((False, asis), (True, shut))
        for number in up
        if (hours := _passes(trace, number)) is not None
    ]
    if any(not one.is_shut and one.hours == 0 for one in passing):
        return min((one for one in passing if not one.is_shut), key=lambda one: one.hours)
    soonest = sorted(passing, key=lambda one: (one.hours, one.is_shut))
    return soonest[0] if soonest else None


def _passes(trace: PlaceTrace, number: int) -> int | None:
    """Hours until the chance of mould passes the alarm in some tier; None when it does not."""
    mean = np.nanmax(trace.mould_chance[:, number].mean(axis=0), axis=0)
    over = np.flatnonzero(mean >= _C["alarm"])
    return int(over[0]) if over.size else None


# --- advice ---------------------------------------------------------------------------------------


def _advice(season: Season, found: Watched, worth: Array) -> tuple[Advice, float]:
    """The best rule of airing for the days ahead, and what it gains over things as they are.

    Scored by what is lost until all is dry, with fuel and power.
    """
    place, costs = found.place, season.costs
    has_heater = place.heater is not None and place.is_heater_listed_vented
    trial = _Trial.of(found, int(_C["draws"]), has_heater)
    power = 1.0
    if place.fan_power is not None and trial.run.place.fan_power > 0:
        power = place.fan_power / trial.run.place.fan_power
    means = Means(
        has_fans=trial.run.place.fan_flow > 0 and trial.run.place.vent_area > 0,
        has_heater=has_heater,
    )

    def score(controls: Controls) -> Score:
        lost, heat, work = trial.follow(controls)
        fuel = advice.fuel_cost(heat, costs.propane)
        return Score(lost @ worth, fuel + advice.power_cost(power * work, costs.electricity))

    best = advice.advise(means, lambda rule: score(trial.controls(rule)))
    followed, asis = (
        score(controls).cost[1::2].mean() for controls in (trial.controls(best.rule), trial.asis)
    )
    return best, float(asis - followed)


@dataclass(frozen=True, eq=False)
class _Trial:
    """Some draws of a place from now on, to try rules on; `asis` is how it is aired now."""

    found: Watched
    run: Run
    rows: Array
    asis: Controls
    has_heater: bool

    @classmethod
    def of(cls, found: Watched, most: int, has_heater: bool) -> _Trial:
        count = len(found.draws)
        rows = np.unique(np.linspace(0, count - 1, min(most, count)).round().astype(np.int64))
        run = replace(found.run, season_row=found.run.season_row[rows])
        return cls(found, run, rows, _span(found.run.controls, found), has_heater)

    def controls(self, rule: Rule) -> Controls:
        """A rule in hours; where there are no vents it is the fans that open the place.

        Heat that no rule may speak of stays as it is.
        """
        hours = self.asis.vents.size
        outside = self.run.outside.humidity[
            self.run.season_row, self.found.now : self.found.now + hours
        ]
        clock = (self.found.now + np.arange(outside.shape[1])) % 24
        plan = advice.schedule(rule, clock, outside)
        fans = plan.fans.astype(float) if self.run.place.vent_area > 0 else plan.vents
        heat = plan.heat if self.has_heater else np.broadcast_to(self.asis.heat, fans.shape)
        return Controls(plan.vents, fans, heat.astype(float))

    def follow(self, controls: Controls) -> tuple[Array, Array, Array]:
        """Share of value lost [draw, batch], heat and fan work [J] under some controls [draw]."""
        found = self.found
        ahead = replace(self.run, controls=controls, first=found.now)
        draws, state = found.draws.take(self.rows), found.state.take(self.rows)
        state, trace = ahead.advance(draws, state, found.now + controls.vents.shape[-1])
        outcome = finish(ahead, draws, state)
        heat, work = trace.heat.sum(axis=1), trace.fan_energy.sum(axis=1)
        return outcome.drying_loss.astype(float), heat.astype(float), work.astype(float)


def _thinned(found: Watched, up: list[int]) -> Thinned:
    """What becomes of the place with some of its sticks hung elsewhere from now on."""
    left = 1 - _C["thinned"]
    fewer = replace(found.run.hangings, sticks=found.run.hangings.sticks * left)
    both = (found.finished(), finish(replace(found.run, hangings=fewer), found.draws, found.state))
    mould = [float(one.mould_risk[:, up].mean()) for one in both]
    days = [float(np.median(one.drying_days[:, up], axis=0).max()) for one in both]
    return Thinned(_C["thinned"], (mould[0], mould[1]), (days[0], days[1]))
