"""The law's view of the draws: chance to pass on each sampling day, official and at the buyer's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Protocol

import numpy as np

from tierpole.compliance import (
    Composite,
    LotStatus,
    lot_status,
    p_buyer_pass,
    p_over_one,
    p_pass,
    plants_to_cut,
)
from tierpole.compliance.status import has_passed, official, ruling
from tierpole.farm import Lot
from tierpole.potency import PotencyDraws, Precision
from tierpole.rulebook import Rulebook, rulebook_on
from tierpole.season import Season

Array = np.ndarray


class Potent(Protocol):
    """Whatever says what lots hold: a forecast, or what the field makes of it."""

    @property
    def flower_day(self) -> Array:
        """Flower initiation [draw, lot]."""
        ...

    @property
    def potency(self) -> PotencyDraws:
        """What shapes the curves."""
        ...

    @property
    def thc(self) -> Array:
        """Total THC [draw, lot, day]."""
        ...


@dataclass(frozen=True, eq=False)
class Legal:
    """Chances [draw, lot, sample_day], given each draw's truth, and the composite behind them."""

    season: Season
    field: Potent
    sample_days: Array

    @cached_property
    def plants(self) -> Array:
        """Plants the agent cuts at least [lot]."""
        return np.array([plants_cut(self.season, number) for number in range(self._lots)])

    @property
    def _lots(self) -> int:
        return len(self.season.lots)

    @cached_property
    def composite(self) -> Composite:
        """What is pooled from each lot, and how well it is tested."""
        potency, lab = self.field.potency, self.season.laboratory
        return Composite(
            plants=self.plants[:, None],
            plant_cv=potency.plant_cv[:, :, None],
            off_type_share=potency.off_type_share[:, :, None],
            off_type_multiple=potency.off_type_multiple[:, :, None],
            precision=Precision(lab.repeatability, lab.between_labs),
        )

    def of_lot(self, number: int) -> Composite:
        """The composite of one lot, kept as a lot axis of length one."""
        whole, only = self.composite, slice(number, number + 1)
        return Composite(
            plants=self.plants[only, None],
            plant_cv=np.asarray(whole.plant_cv)[:, only],
            off_type_share=np.asarray(whole.off_type_share)[:, only],
            off_type_multiple=np.asarray(whole.off_type_multiple)[:, only],
            precision=whole.precision,
        )

    def p_pass(self, thc: Array, book: Rulebook) -> Array:
        """Chance to pass [draw, lot, day] when tops hold `thc`."""
        return p_pass(thc, self.season.laboratory.uncertainty, self.composite, book)

    def p_sellable(self, number: int, cut_on: date) -> Array:
        """Chance that what was cut of a lot on a day may be sold [draw].

        The last sample before the cut rules, whatever the lot did later: once its result is in,
        that is certain. A lot cut without a sample stands as if it had failed, until the
        department says otherwise.
        """
        lot, draws = self.season.lots[number], len(self.field.flower_day)
        sampled = [day for day in self.season.sampled_days(lot) if day <= cut_on]
        if not sampled:
            return np.zeros(draws)
        index = self.season.index(sampled[-1])
        tests = official(test for test in self.season.tests if test.lot == lot.name)
        certificate = ruling(test for test in tests if test.sampled_on == sampled[-1])
        if certificate is not None:
            return np.full(draws, float(has_passed(certificate, self.book(index))))
        thc = self.field.thc[:, :, [index]].astype(float)
        return self.p_pass(thc, self.book(index))[:, number, 0]

    def book(self, day: int) -> Rulebook:
        """The rulebook in force on a day of the season."""
        return rulebook_on(self.season.farm.jurisdiction, self.season.day(day))

    def chances(self) -> dict[str, Array]:
        """`p_pass`, `p_buyer_pass`, `p_over_one`, each [draw, lot, sample_day] float32."""
        thc = self.field.thc[:, :, self.sample_days].astype(float)
        names = ("p_pass", "p_buyer_pass", "p_over_one")
        result = {name: np.empty(thc.shape, np.float32) for name in names}
        books = [self.book(int(day)) for day in self.sample_days]
        for book in dict.fromkeys(books):
            days = np.flatnonzero([other is book for other in books])
            part = self._chances_under(book, thc[:, :, days])
            for name in names:
                result[name][:, :, days] = part[name]
        return result

    def _chances_under(self, book: Rulebook, thc: Array) -> dict[str, Array]:
        sample = self.composite
        to_flower = self.field.potency.top_to_flower[:, :, None]
        return {
            "p_pass": self.p_pass(thc, book),
            "p_buyer_pass": p_buyer_pass(thc, sample, book, to_flower),
            "p_over_one": p_over_one(thc, sample, book),
        }


def lot_states(season: Season) -> tuple[LotStatus, ...]:
    """Where every lot stands on the day the season is seen."""
    return tuple(_lot_state(season, lot) for lot in season.lots)


def _lot_state(season: Season, lot: Lot) -> LotStatus:
    samples = [s for s in season.samples if s.lot == lot.name]
    tests = [t for t in season.tests if t.lot == lot.name]
    return lot_status(
        samples, tests, season.sticks_standing(lot), season.on, ruling_book(season, lot)
    )


def ruling_book(season: Season, lot: Lot) -> Rulebook:
    """The rulebook a lot is judged by: that of the day it was last sampled, or of today."""
    taken = [s.sampled_on for s in season.samples if s.lot == lot.name and s.sampled_on < season.on]
    return rulebook_on(season.farm.jurisdiction, max(taken, default=season.on))


def plants_cut(season: Season, number: int) -> int:
    """The fewest plants the sampling agent cuts from a lot."""
    lot = season.lots[number]
    book = rulebook_on(season.farm.jurisdiction, season.on)
    return plants_to_cut(book.plants.value, lot.area, lot.plants_counted or lot.plants_set)
