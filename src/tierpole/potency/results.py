"""Certificates as evidence: what each says of which lot, laid out for arithmetic.

What was tested stands in a relation of its own to the curves, which are those of standing tops.
A sample before harvest, the grower's own or the official one, is a composite of a few tops. Dry
flower, dry biomass and the shredded plant are well mixed, so no scatter of plants is left in them,
but they hold less than the top by a factor that is itself unsure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.prior import COEFFICIENTS as PRIOR
from tierpole.potency.sampling import (
    COEFFICIENTS,
    PRECISION_CBD,
    PRECISION_THC,
    Precision,
)

Array = NDArray[np.float64]

CBD, THC = 0, 1
"""Places on the first axis, `substance`, of everything measured."""


class Material(StrEnum):
    """What was tested."""

    TOPS = "standing tops"
    FLOWER = "dry trimmed flower"
    BIOMASS = "dry threshed biomass"
    WHOLE_PLANT = "shredded whole plant"


class Relation(NamedTuple):
    """How a well-mixed material compares with the sampled top.

    Its potency is that of the top over the lot's `factor`, times `ratio`, which is known to within
    `sd` (of the logarithm).
    """

    factor: str
    ratio: float = 1.0
    sd: float = 0.0


RELATIONS = {
    Material.FLOWER: Relation(
        "top_to_flower", PRIOR["trimmed_to_flower"], PRIOR["trimmed_to_flower_sd"]
    ),
    Material.BIOMASS: Relation("top_to_plant"),
    Material.WHOLE_PLANT: Relation(
        "top_to_flower", PRIOR["whole_to_flower"], PRIOR["whole_to_flower_sd"]
    ),
}
"""Materials other than tops."""


@dataclass(frozen=True)
class PotencyTest:
    """A laboratory result of a lot.

    `day` is the day on the season axis when the material last stood in the field: the sampling day
    of tops, the cut of dry material. `plants` is the number of tops in a composite. `cbd` and `thc`
    are totals [share of dry weight], None when not reported; with `_below` set they are the limit
    of quantification that the result stayed under. Results of one `laboratory` share its deviation
    from all laboratories.
    """

    lot: int
    day: float
    plants: int
    laboratory: str
    cbd: float | None = None
    thc: float | None = None
    cbd_below: bool = False
    thc_below: bool = False
    material: Material = Material.TOPS
    precision_cbd: Precision = PRECISION_CBD
    precision_thc: Precision = PRECISION_THC

    @property
    def says_something(self) -> bool:
        """True when there is a number to learn from."""
        return bool(self.cbd or self.thc)

    def of_lot(self, lot: int) -> PotencyTest:
        """The same result, of a lot by another number."""
        return replace(self, lot=lot)


@dataclass(frozen=True)
class Results:
    """Results sorted by lot, [test] or [substance, test]; places of a value not there hold 0.

    `value` is the logarithm of what was `seen`, or of the limit a result stayed `below`. `within`
    and `between` are the stated precision, `reading` the variance of a small reading. `laboratory`
    is a place in `laboratories`.
    """

    lot: NDArray[np.intp]
    laboratory: NDArray[np.intp]
    laboratories: tuple[str, ...]
    material: tuple[Material, ...]
    day: Array
    plants: NDArray[np.intp]
    value: Array
    seen: NDArray[np.bool_]
    below: NDArray[np.bool_]
    within: Array
    between: Array
    reading: Array

    @classmethod
    def of(cls, tests: Sequence[PotencyTest], laboratories: tuple[str, ...]) -> Results:
        """Tests, already sorted by lot, of laboratories named in order."""
        share = np.array([[test.cbd or 0.0, test.thc or 0.0] for test in tests]).T
        below = np.array([[test.cbd_below, test.thc_below] for test in tests], bool).T
        precision = [(test.precision_cbd, test.precision_thc) for test in tests]
        known = share > 0.0
        floor = np.where(known, share, 1.0)
        return cls(
            lot=np.array([test.lot for test in tests], np.intp),
            laboratory=np.array([laboratories.index(test.laboratory) for test in tests], np.intp),
            laboratories=laboratories,
            material=tuple(test.material for test in tests),
            day=np.array([test.day for test in tests], float),
            plants=np.array([test.plants for test in tests], np.intp),
            value=np.log(floor),
            seen=known & ~below,
            below=known & below,
            within=np.array([[each.repeatability for each in pair] for pair in precision]).T,
            between=np.array([[each.between_labs for each in pair] for pair in precision]).T,
            reading=(COEFFICIENTS["reading_error"] / floor) ** 2,
        )

    def __len__(self) -> int:
        return self.lot.size

    def of_material(self, material: Material) -> NDArray[np.bool_]:
        """Which results are of a material [test]."""
        return np.array([each is material for each in self.material], bool)

    def take(self, which: NDArray[np.intp]) -> Results:
        """Some of the results."""
        kept = {
            each.name: value[..., which]
            for each in fields(self)
            if isinstance(value := getattr(self, each.name), np.ndarray)
        }
        return replace(self, material=tuple(self.material[i] for i in which), **kept)


def laboratories_of(tests: Sequence[PotencyTest]) -> tuple[str, ...]:
    """Names of the laboratories of tests, each once, as they first appear."""
    return tuple(dict.fromkeys(test.laboratory for test in tests))
