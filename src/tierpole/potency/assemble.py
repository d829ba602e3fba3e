"""The model of one season: which lots the certificates reach, in which order, with what law."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.draws import PotencyDraws
from tierpole.potency.flower_law import FlowerLaw
from tierpole.potency.model import Model
from tierpole.potency.pooled import Evenness
from tierpole.potency.results import PotencyTest, Results, laboratories_of

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Problem:
    """A model with the lots of the season it is of.

    `tests` are those that say something, as given; `lots` [model lot] and `varieties` [model
    variety] are numbers of the season, `order` [result] is the place of each result in `tests`.
    `before` [draw, model lot] are the flower days before the tests.
    """

    tests: tuple[PotencyTest, ...]
    lots: Index
    varieties: Index
    order: Index
    model: Model
    evenness: Evenness
    before: Array

    @classmethod
    def of(
        cls, draws: PotencyDraws, flower_day: Array, tests: Sequence[PotencyTest]
    ) -> Problem | None:
        """The problem of all lots of varieties that have tests; None when no test says anything."""
        telling = tuple(test for test in tests if test.says_something)
        if not telling:
            return None
        law = draws.law
        varieties = np.unique(law.variety[[test.lot for test in telling]])
        lots = np.flatnonzero(np.isin(law.variety, varieties))
        lots = lots[np.argsort(law.variety[lots], kind="stable")]
        place = {int(lot): number for number, lot in enumerate(lots)}
        order = np.argsort([place[test.lot] for test in telling], kind="stable")
        placed = [telling[i].of_lot(place[telling[i].lot]) for i in order]
        variety = np.searchsorted(varieties, law.variety[lots])
        before = flower_day[:, lots]
        model = Model(
            variety=variety,
            mean=law.mean[lots],
            shared_sd=law.shared_sd[lots],
            lot_sd=law.lot_sd[lots],
            flowering=FlowerLaw.of(before, variety),
            results=Results.of(placed, laboratories_of(telling)),
        )
        return cls(telling, lots, varieties, order, model, Evenness.of(draws, lots), before)

    def continues(self, earlier: Problem) -> bool:
        """True when this is the earlier problem with more tests: nothing else has changed."""
        ours = {int(lot): place for place, lot in enumerate(self.lots)}
        if self.tests[: len(earlier.tests)] != earlier.tests or not set(ours) >= set(earlier.lots):
            return False
        places = np.array([ours[int(lot)] for lot in earlier.lots])
        mine = self.evenness.plant_cv[:, places], self.before[:, places], self.model.mean[places]
        theirs = earlier.evenness.plant_cv, earlier.before, earlier.model.mean
        return all(np.array_equal(a, b) for a, b in zip(mine, theirs, strict=True))
