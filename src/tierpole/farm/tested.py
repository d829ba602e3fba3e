"""What was seen and measured in the field: weather, flowering, samples, certificates."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated, Self

from pydantic import ValidationInfo, model_validator

from tierpole.farm.land import ClockTime, Date, Happened, Name, Note
from tierpole.farm.measure import Content, Count, Label, Measure, Noun, is_written, refuse

_Outdoors = Annotated[float, Measure("a temperature", "-60 F", "130 F")]
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
    sampled_on: Happened
    reported_on: Happened
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
    requested_on: Happened
    sampled_on: Date


NOTHING_READ = "a reading of rain or of a temperature"
UPSIDE_DOWN = "a reading whose highest temperature is at or above its lowest"


class GaugeReading(Noun):
    """The farm's own rain gauge and thermometer, as read since the reading before, and set back.

    Read before noon, or at an hour nobody wrote, the rain and the highest temperature are of the
    day before; the lowest is of that morning. That is how a station's morning observer is read.
    """

    read_on: Happened
    read_at: ClockTime | None = None
    rain: Annotated[float, Measure("rain", "0 in", "40 in")] | None = None
    temperature_lowest: _Outdoors | None = None
    temperature_highest: _Outdoors | None = None
    note: Note = ""

    @property
    def is_of_morning(self) -> bool:
        """Whether it was read before noon, as most are."""
        return self.read_at is None or self.read_at < "12:00"

    @property
    def contradiction(self) -> tuple[str, str] | None:
        """The field that cannot be, and what is allowed: nothing was read, or it is upside down."""
        low, high = self.temperature_lowest, self.temperature_highest
        if self.rain is None and low is None and high is None:
            return "rain", "written, or the lowest or highest temperature"
        if low is not None and high is not None and high < low:
            return "temperature_highest", "at or above the lowest temperature"
        return None

    @model_validator(mode="after")
    def _is_possible(self, info: ValidationInfo) -> Self:
        """An entry is refused at once; of a file all is told together."""
        if self.contradiction and not is_written(info):
            raise refuse(NOTHING_READ if self.contradiction[0] == "rain" else UPSIDE_DOWN)
        return self


class Flowering(Noun):
    """Plants begun to flower, `in_flower` of `looked_at`, on a walk through the lot.

    Begun means buds of flowers at the tips; their pistils open about eight days later.
    """

    lot: Name
    seen_on: Happened
    in_flower: Annotated[int, Count(0, 100_000)]
    looked_at: Annotated[int, Count(1, 100_000)]


# --- how a laboratory's certificates are read -----------------------------------------------------


class CertificateField(Noun):
    """Where a field of a certificate stands: in a column, or always the same."""

    field: Name
    column: Annotated[str, Label(longest=200, empty=True)] = ""
    always: Annotated[str, Label(longest=200, empty=True)] = ""


class CertificateLabel(Noun):
    """How a field was found on a paper: the label before it, the heading above it."""

    field: Name
    label: Annotated[str, Label(longest=200)]
    heading: Annotated[str, Label(longest=200, empty=True)] = ""


class CertificateLabels(Noun):
    """How a laboratory's papers are read: what a person chose last; `name` is the laboratory."""

    name: Name
    fields: tuple[CertificateLabel, ...]


class CertificateColumns(Noun):
    """How a laboratory's files are read: told once, remembered; `name` is the laboratory."""

    name: Name
    fields: tuple[CertificateField, ...]
