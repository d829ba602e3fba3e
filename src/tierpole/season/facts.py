"""The season: every fact known about one farm and one year, frozen and checked.

A season is seen *on* a date. Each fact has a day on which it became known (a test: its report; a
sample, cut, hanging or sighting: its own day; weather: the day after), and `as_seen_on` hides
what came later, so that a plan, a demo and a look back all go the same way.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from tierpole.evidence import Mark, Table, Value
from tierpole.farm import (
    Airing,
    AirReading,
    CleanDown,
    Costs,
    Crew,
    Cut,
    Farm,
    Field,
    Flowering,
    GaugeReading,
    Hanging,
    Laboratory,
    Lot,
    Market,
    Place,
    Reading,
    Sample,
    Sampler,
    StickWeight,
    Test,
    TestKind,
    TierLoad,
    Variety,
)
from tierpole.units import ACRE

if TYPE_CHECKING:
    from tierpole.potency.learn import Learnt
    from tierpole.weather import DailyRecord, Forecast

FIRST_DAY = (4, 1)
LAST_DAY = (12, 31)
DAYS = 275  # 1 April to 31 December; no leap day among them

STAND = Table(
    "Plants that live",
    (
        Value(
            "alive", 0.90, "share", Mark.INFERENCE,
            "3.4 % die at setting and about 7 % in the season, until the lot is counted",
            low=0.80, high=0.97,
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Season:
    """One farm, one year, as known on the day `on`; the last weather known is the day before's.

    `past_weather` (without this season's year) and `this_weather` are as the station wrote them:
    they are checked and filled when looked at, from what was known then.
    """

    year: int
    on: date
    farm: Farm
    fields: tuple[Field, ...]
    varieties: tuple[Variety, ...]
    lots: tuple[Lot, ...]
    places: tuple[Place, ...]
    crew: Crew
    market: Market
    costs: Costs
    sampler: Sampler
    laboratory: Laboratory
    past_weather: DailyRecord
    this_weather: DailyRecord
    forecast: Forecast | None = None
    stand_in_year: int | None = None
    tests: tuple[Test, ...] = ()
    samples: tuple[Sample, ...] = ()
    cuts: tuple[Cut, ...] = ()
    hangings: tuple[Hanging, ...] = ()
    readings: tuple[Reading, ...] = ()
    air_readings: tuple[AirReading, ...] = ()
    stick_weights: tuple[StickWeight, ...] = ()
    airings: tuple[Airing, ...] = ()
    tier_loads: tuple[TierLoad, ...] = ()
    clean_downs: tuple[CleanDown, ...] = ()
    flowering: tuple[Flowering, ...] = ()
    gauge_readings: tuple[GaugeReading, ...] = ()
    learnt: tuple[Learnt, ...] = ()
    source: str = field(default="")

    @property
    def first_day(self) -> date:
        """1 April: index 0 of every day axis."""
        return date(self.year, *FIRST_DAY)

    @cached_property
    def days(self) -> np.ndarray:
        """The day axis [DAYS] as datetime64."""
        return np.datetime64(self.first_day) + np.arange(DAYS)

    def index(self, day: date) -> int:
        """Where a date stands on the day axis; may lie outside it."""
        return (day - self.first_day).days

    def day(self, index: int) -> date:
        """The date at a place on the day axis."""
        return self.first_day + timedelta(days=int(index))

    @property
    def today(self) -> int:
        """`on` as an index on the day axis, kept inside it."""
        return min(max(self.index(self.on), 0), DAYS - 1)

    def lot_index(self, name: str) -> int:
        """The row of a lot by its name."""
        return [lot.name for lot in self.lots].index(name)

    def place_index(self, name: str) -> int:
        """The row of a place by its name."""
        return [place.name for place in self.places].index(name)

    def variety(self, lot: Lot) -> Variety:
        """The variety that grows in a lot."""
        return next(v for v in self.varieties if v.name == lot.variety)

    def field_of(self, lot: Lot) -> Field:
        """The field a lot lies in."""
        return next(f for f in self.fields if f.name == lot.field)

    def sticks_total(self, lot: Lot) -> float:
        """Sticks a lot makes in all: plants alive over plants per stick."""
        counted = lot.plants_counted
        plants = STAND["alive"] * lot.plants_set if counted is None else counted
        return plants / lot.plants_per_stick

    def sticks_cut(self, lot: Lot) -> int:
        """Sticks of a lot cut so far."""
        return sum(cut.sticks for cut in self.cuts if cut.lot == lot.name)

    def sticks_standing(self, lot: Lot) -> float:
        """Sticks of a lot still in the field."""
        return max(0.0, self.sticks_total(lot) - self.sticks_cut(lot))

    def sampled_days(self, lot: Lot) -> list[date]:
        """Days of a lot's official samples, taken and agreed, in order."""
        asked = {sample.sampled_on for sample in self.samples if sample.lot == lot.name}
        official = (test for test in self.tests if test.kind is TestKind.OFFICIAL)
        return sorted(asked | {test.sampled_on for test in official if test.lot == lot.name})

    def hanging_now(self) -> tuple[Hanging, ...]:
        """What hangs in the places today."""
        return tuple(h for h in self.hangings if h.down_on is None or h.down_on > self.on)

    def as_seen_on(self, on: date) -> Season:
        """The same season with everything that became known after `on` hidden."""
        return replace(
            self,
            on=on,
            tests=tuple(t for t in self.tests if t.reported_on <= on),
            samples=tuple(s for s in self.samples if s.requested_on <= on),
            cuts=tuple(c for c in self.cuts if c.cut_on <= on),
            hangings=tuple(_hanging_seen_on(h, on) for h in self.hangings if h.hung_on <= on),
            readings=tuple(r for r in self.readings if r.read_on <= on),
            air_readings=tuple(r for r in self.air_readings if r.read_on <= on),
            stick_weights=tuple(w for w in self.stick_weights if w.read_on <= on),
            airings=tuple(a for a in self.airings if a.set_on <= on),
            tier_loads=tuple(t for t in self.tier_loads if t.hung_on <= on),
            clean_downs=tuple(c for c in self.clean_downs if c.cleaned_on <= on),
            flowering=tuple(f for f in self.flowering if f.seen_on <= on),
            gauge_readings=tuple(g for g in self.gauge_readings if g.read_on <= on),
            places=tuple(_place_seen_on(p, on, self.day(DAYS - 1)) for p in self.places),
            past_weather=self.past_weather.until(on),
            this_weather=self.this_weather.until(on),
            forecast=self.forecast if self.forecast and self.forecast.issued <= on else None,
        )

    def __repr__(self) -> str:
        acres = sum(lot.area for lot in self.lots) / ACRE
        return (
            f"<Season {self.year} of {self.farm.name}, seen on {self.on}: {acres:.1f} acres in "
            f"{len(self.lots)} lots, {len(self.places)} places, {len(self.tests)} tests>"
        )


def _hanging_seen_on(hanging: Hanging, on: date) -> Hanging:
    if hanging.down_on is not None and hanging.down_on > on:
        return hanging.model_copy(update={"down_on": None})
    return hanging


def _place_seen_on(place: Place, on: date, last: date) -> Place:
    """While nobody knows when a place comes free, a plan must not count on it."""
    if place.known_on is not None and place.known_on > on:
        return place.model_copy(update={"free_from": last, "known_on": None})
    return place
