"""When each lot flowers and what its tops hold: before the tests, and after them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from tierpole.crop import (
    PLANT_SPREAD,
    carry_shift,
    draw_flowering,
    flower_days,
    flowering_prior,
    shift_counted,
)
from tierpole.crop.prior import COEFFICIENTS as CROP
from tierpole.farm import Flowering, Test, TestKind
from tierpole.outlook.sky import Skies, skies
from tierpole.outlook.streams import stream
from tierpole.potency import (
    Material,
    PotencyDraws,
    PotencyLots,
    PotencyPrior,
    PotencyTest,
    Precision,
    Updated,
    curves,
    draw_potency,
    potency_prior,
    update,
)
from tierpole.potency.sampling import PRECISION_CBD
from tierpole.season import DAYS, Season
from tierpole.weather import DAY_OF_YEAR, day_length

Array = np.ndarray

OWN_LABORATORY = "the laboratory of your own tests"
MATERIAL = {
    TestKind.PRETEST: Material.TOPS,
    TestKind.OFFICIAL: Material.TOPS,
    TestKind.REMEDIATION: Material.WHOLE_PLANT,
    TestKind.FINAL: Material.BIOMASS,
}


@dataclass(frozen=True, eq=False)
class Forecast:
    """Flowering and potency of every lot, draw by draw.

    `before` and `flower_day_before` [draw, lot] hold what sightings and weather say; `updated` adds
    the certificates. `test_rows` are the season's tests that `tests` were made of.
    """

    season: Season
    sky: Skies
    before: PotencyDraws
    flower_day_before: Array
    tests: tuple[PotencyTest, ...]
    test_rows: tuple[int, ...]
    updated: Updated

    @property
    def flower_day(self) -> Array:
        """Flower initiation [draw, lot], a day index."""
        return self.updated.flower_day

    @property
    def potency(self) -> PotencyDraws:
        """What shapes the curves, after the tests."""
        return self.updated.draws

    @property
    def cbd(self) -> Array:
        """Total CBD of the tops [draw, lot, day], after the tests."""
        return self._after[0]

    @property
    def thc(self) -> Array:
        """Total THC of the tops of true-to-type plants [draw, lot, day], after the tests."""
        return self._after[1]

    @cached_property
    def _after(self) -> tuple[Array, Array]:
        return curves(self.potency, self.flower_day, np.arange(DAYS, dtype=float))

    def curves_before(self) -> tuple[Array, Array]:
        """Total CBD and total THC [draw, lot, day] as they stood before any test."""
        return curves(self.before, self.flower_day_before, np.arange(DAYS, dtype=float))


def make_forecast(season: Season, draws: int = 500, seed: int = 1) -> Forecast:
    """What weather, sightings and certificates say of every lot, as `draws` possible seasons."""
    sky = skies(season, draws, seed)
    variety = variety_of_lots(season)
    flower_day = _flower_day(season, sky, variety, seed)
    lots = PotencyLots(variety, tuple(lot.stock for lot in season.lots), np.ones(variety.size))
    before = draw_potency(priors(season), lots, draws, stream(seed, "potency"))
    rows, tests = _tests(season)
    updated = update(before, flower_day, tests, stream(seed, "tests"))
    return Forecast(season, sky, before, flower_day, tests, rows, updated)


def planned_test(forecast: Forecast, lot: int, day: date, plants: int) -> PotencyTest:
    """A test of one's own not yet taken: by the laboratory that ran the last one."""
    season = forecast.season
    own = [test for test in season.tests if test.kind is TestKind.PRETEST]
    laboratory = laboratory_of(season, own[-1]) if own else OWN_LABORATORY
    lab = season.laboratory
    return PotencyTest(
        lot=lot,
        day=float(season.index(day)),
        plants=plants,
        laboratory=laboratory,
        precision_thc=Precision(lab.repeatability, lab.between_labs),
        precision_cbd=PRECISION_CBD,
    )


def variety_of_lots(season: Season) -> Array:
    """The number of each lot's variety [lot]."""
    names = [variety.name for variety in season.varieties]
    return np.array([names.index(lot.variety) for lot in season.lots])


def priors(season: Season) -> list[PotencyPrior]:
    """What is known of each variety before the season: learnt on the farm, or as it is written."""
    learnt = {each.variety: each.prior for each in season.learnt}
    return [learnt.get(v.name) or potency_prior(v) for v in season.varieties]


def laboratory_of(season: Season, test: Test) -> str:
    """Who made a test; where none is named, the official laboratory or that of one's own tests."""
    if test.laboratory:
        return test.laboratory
    is_official = test.kind is TestKind.OFFICIAL
    return season.laboratory.name if is_official else OWN_LABORATORY


def _flower_day(season: Season, sky: Skies, variety: Array, seed: int) -> Array:
    flowering = draw_flowering(
        [flowering_prior(v) for v in season.varieties], variety, sky.row.size,
        stream(seed, "flowering"),
    )  # fmt: skip
    length = day_length(season.farm.latitude, DAY_OF_YEAR)
    mean = 0.5 * (sky.daily.t_min + sky.daily.t_max)
    set_day = np.array([season.index(lot.set_on) for lot in season.lots])
    flower_day = flower_days(length, mean, sky.row, set_day, flowering)
    for seen in season.flowering:
        flower_day = _after_sighting(season, variety, flower_day, seen)
    return flower_day


def _after_sighting(season: Season, variety: Array, flower_day: Array, seen: Flowering) -> Array:
    """Flower days after a count of plants in flower; sister lots move as far as they share."""
    lot = season.lot_index(seen.lot)
    sisters = np.flatnonzero(variety == variety[lot])
    shifted = shift_counted(
        flower_day[:, lot],
        season.index(seen.seen_on),
        seen.in_flower,
        seen.looked_at,
        PLANT_SPREAD[season.lots[lot].stock],
        CROP["sighting_error"],
    )
    moved = flower_day.copy()
    place = int(np.flatnonzero(sisters == lot)[0])
    moved[:, sisters] = carry_shift(flower_day[:, sisters], place, shifted)
    return moved


def _tests(season: Season) -> tuple[tuple[int, ...], tuple[PotencyTest, ...]]:
    """Certificates as evidence on the curves, and the rows of the season's tests they are."""
    stood = [(row, test, _last_stood(season, test)) for row, test in enumerate(season.tests)]
    told = [(row, _as_evidence(season, test, day)) for row, test, day in stood if day is not None]
    rows, tests = zip(*told, strict=True) if told else ((), ())
    return rows, tests


def _as_evidence(season: Season, test: Test, day: float) -> PotencyTest:
    lab = season.laboratory
    return PotencyTest(
        lot=season.lot_index(test.lot),
        day=day,
        plants=test.plants,
        cbd=test.total_cbd,
        thc=test.total_thc,
        cbd_below=test.cbd_below,
        thc_below=test.thc_below,
        laboratory=laboratory_of(season, test),
        material=MATERIAL[test.kind],
        precision_thc=Precision(lab.repeatability, lab.between_labs),
        precision_cbd=PRECISION_CBD,
    )


def _last_stood(season: Season, test: Test) -> float | None:
    """The day on which what was tested last stood in the field; None for one no cut explains."""
    if MATERIAL[test.kind] is Material.TOPS:
        return float(season.index(test.sampled_on))
    cuts = [c for c in season.cuts if c.lot == test.lot and c.cut_on <= test.sampled_on]
    if not cuts:
        return None
    days = [season.index(cut.cut_on) for cut in cuts]
    return float(np.average(days, weights=[cut.sticks for cut in cuts]))
