"""What was seen and measured in the field: flowering, samples, certificates."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated

from tierpole.farm.land import Date, Name, Note
from tierpole.farm.measure import Content, Count, Label, Measure, Noun

Potency = Annotated[float, Measure("a share", "0 %", "40 %")]


class TestKind(StrEnum):
    """What a certificate is of."""

    __test__ = False  # not a test class, whatever its name says

    PRETEST = "pre-test"
    OFFICIAL = "official"
    REMEDIATION = "post-remediation"
    FINAL = "final"


class Test(Noun):
    """A certificate of analysis (COA): total CBD and total THC, dry basis, of `plants` tops.

    With `cbd_below` or `thc_below` the content is the limit of quantification that it stayed under.
    """

    __test__ = False

    lot: Name
    kind: TestKind
    sampled_on: Date
    reported_on: Date
    plants: Annotated[int, Count(1, 500)]
    total_cbd: Potency | None = None
    total_thc: Potency
    cbd_below: bool = False
    thc_below: bool = False
    uncertainty: Annotated[float, Measure("a share", "0 %", "1 %")] | None = None
    laboratory: Annotated[str, Label(empty=True)] = ""
    note: Note = ""
    paper: Content | None = None

    @property
    def known_on(self) -> date:
        """A test is known on the day it is reported."""
        return self.reported_on


class Sample(Noun):
    """A call to the official sampler and the visit agreed; its result comes as an official test."""

    lot: Name
    requested_on: Date
    sampled_on: Date


class Flowering(Noun):
    """Plants begun to flower, `in_flower` of `looked_at`, on a walk through the lot.

    Begun means buds of flowers at the tips; their pistils open about eight days later.
    """

    lot: Name
    seen_on: Date
    in_flower: Annotated[int, Count(0, 100_000)]
    looked_at: Annotated[int, Count(1, 100_000)]
