"""What a rulebook holds: every rule as a value with the words, the citation and how sure we are.

A `Provision` is one rule as data. `Rulebook` is all of them on a span of dates, already composed:
a state's own text over the federal one in force. Shares are fractions and lengths metres inside;
`unit` keeps the unit the text itself uses.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, model_validator

from tierpole.evidence import Mark
from tierpole.farm.books import DisposalMethod, RemediationMethod

T = TypeVar("T")
_TO_INNER = {"": Decimal(1), "%": Decimal("0.01"), "in": Decimal("0.0254")}  # exact

Share = Annotated[Decimal, Field(gt=0, le=1)]
Days = Annotated[int, Field(ge=0, le=366)]
Years = Annotated[int, Field(ge=0, le=50)]
Number = Annotated[int, Field(ge=0)]
NOT_STATED = "not stated"
NotStated = Literal["not stated"]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Provision(_Frozen, Generic[T]):
    """One rule: its value, what it says in short words, where it was read and how sure we are.

    `verify` asks the reader to confirm it with the department; `book` is the id of the text it
    stands in, which for a state's rulebook may be the federal one.
    """

    value: T
    unit: Literal["", "%", "in", "days", "years"] = ""
    says: Annotated[str, Field(min_length=10)]
    citation: Annotated[str, Field(min_length=5)]
    mark: Mark
    verify: bool = False
    read_on: date
    book: str

    @model_validator(mode="before")
    @classmethod
    def _to_inner_unit(cls, written: Any) -> Any:
        factor = _TO_INNER.get(written.get("unit", "")) if isinstance(written, dict) else None
        if factor in (None, 1) or "value" not in written:
            return written
        return {**written, "value": _scaled(written["value"], factor)}


def _scaled(value: Any, factor: Decimal) -> Any:
    if isinstance(value, list):
        return [_scaled(part, factor) for part in value]
    return value * factor if isinstance(value, int | Decimal) else value


class ByAcres(_Frozen):
    """Detection sample with the finite population correction, the population being acres."""

    method: Literal["acres_fpc"]
    confidence: Share
    share: Share


class ByPlants(_Frozen):
    """The same formula with the number of plants as the population."""

    method: Literal["plants_fpc"]
    confidence: Share
    share: Share


class Hypergeometric(_Frozen):
    """Sampling without replacement (Cannon-Roe approximation), at least `least` plants."""

    method: Literal["hypergeom"]
    confidence: Share
    share: Share
    least: Annotated[int, Field(ge=1)] = 1


class StepTable(_Frozen):
    """A printed table: `steps` are (fewest plants in the lot, plants to cut), rising."""

    method: Literal["table"]
    steps: Annotated[tuple[tuple[int, int], ...], Field(min_length=1)]


class FixedNumber(_Frozen):
    """The same number from every lot."""

    method: Literal["fixed"]
    count: Annotated[int, Field(ge=1)]


class PerAcre(_Frozen):
    """A number from each acre or part of one, at least `least`."""

    method: Literal["per_acre"]
    count: Annotated[Decimal, Field(gt=0)]
    least: Annotated[int, Field(ge=1)] = 1


PlantsMethod = Annotated[
    ByAcres | ByPlants | Hypergeometric | StepTable | FixedNumber | PerAcre,
    Field(discriminator="method"),
]


class Strikes(_Frozen):
    """`count` negligent seasons within `years` revoke the license for `bar_years`."""

    count: Annotated[int, Field(ge=1)]
    years: Years
    bar_years: Years


class DayOfYear(_Frozen):
    """The same day of every year."""

    month: Annotated[int, Field(ge=1, le=12)]
    day: Annotated[int, Field(ge=1, le=31)]

    def of(self, year: int) -> date:
        """The day in one year."""
        return date(year, self.month, self.day)

    def __str__(self) -> str:
        return f"{self.of(2000):%-d %b}"


Laboratory = Literal["any", "same", "none"]


class Head(_Frozen):
    """The head of a rulebook file: which text it is, when it holds, what it builds on.

    `extends` names the jurisdiction whose text in force is filled in where this one is silent;
    `amends` names the one earlier book of the same jurisdiction that it changes.
    """

    id: Annotated[str, Field(pattern=r"^[a-z0-9-]+$")]
    jurisdiction: Annotated[str, Field(pattern=r"^[a-z-]+$")]
    title: str
    text: str
    effective_from: date
    effective_to: date | None = None
    read_on: date
    status: Literal["read", "verify"]
    extends: str = ""
    amends: str = ""
    cautions: tuple[str, ...] = ()


class Rulebook(_Frozen):
    """Every rule of one jurisdiction on a span of dates; `layers` are the ids of its texts."""

    jurisdiction: str
    title: str
    texts: tuple[str, ...]
    layers: tuple[str, ...]
    effective_from: date
    effective_to: date | None
    status: Literal["read", "verify"]
    cautions: tuple[str, ...]

    limit: Provision[Share] = Field(title="Legal limit")
    limit_decimals: Provision[Number | Literal["as printed"]] = Field(title="Rounding of a result")
    analytes: Provision[tuple[str, ...]] = Field(title="What is counted")
    factor: Provision[Share] = Field(title="THCA to THC")
    mu_allowed: Provision[bool] = Field(title="Measurement uncertainty allowed")
    window_days: Provision[Days] = Field(title="Days from sample to harvest")
    window_counts_sample_day: Provision[bool] = Field(title="Sample day is day 1")
    window_event: Provision[Literal["start", "completion"]] = Field(title="What must be in time")
    cut_before_sample: Provision[bool] = Field(title="Cutting before the sample")
    cut_before_result: Provision[bool] = Field(title="Cutting before the result")
    request_lead_days: Provision[Days] = Field(title="Request ahead of the sample")
    pre_harvest_report_days: Provision[Days] = Field(title="Report ahead of harvest")
    sampler: Provision[str] = Field(title="Who samples")
    plants: Provision[PlantsMethod] = Field(title="Plants to cut")
    cut_length: Provision[tuple[float, float]] = Field(title="Length of the cutting")
    lot_definition: Provision[str] = Field(title="What a lot is")
    performance_sampling: Provision[bool] = Field(title="Lots that may go unsampled")
    retests_allowed: Provision[Number | NotStated] = Field(title="Further tests")
    retest_lab: Provision[Laboratory] = Field(title="Laboratory of a further test")
    disposal_notice_days: Provision[Days | NotStated] = Field(title="Notice after a fail")
    disposal_report_days: Provision[Days | NotStated] = Field(title="Report of the disposal")
    disposal_methods: Provision[tuple[DisposalMethod, ...]] = Field(title="Ways to destroy")
    remediation: Provision[tuple[RemediationMethod, ...]] = Field(title="Ways to save part of it")
    biomass_retest: Provision[bool] = Field(title="Test of shredded biomass")
    negligence_line: Provision[Share] = Field(title="Line of negligence")
    strikes: Provision[Strikes] = Field(title="Strikes")
    cap_years: Provision[Years] = Field(title="Corrective action plan")
    record_years: Provision[Years] = Field(title="Keeping records")
    planting_report: Provision[DayOfYear | NotStated] = Field(title="Report of what was planted")
    annual_report: Provision[DayOfYear | NotStated] = Field(title="Report of the year")
    fees: Provision[str] = Field(title="Fees")
    hot_result_steps: Provision[tuple[str, ...]] = Field(title="First 24 hours after a hot result")

    def provisions(self) -> Iterator[tuple[str, str, Provision[Any]]]:
        """Every rule as (name, title, provision), in reading order."""
        for name in PROVISIONS:
            yield name, str(Rulebook.model_fields[name].title), getattr(self, name)

    def covers(self, day: date) -> bool:
        """True when the rulebook is in force on `day`."""
        return self.effective_from <= day <= (self.effective_to or date.max)


PROVISIONS: tuple[str, ...] = tuple(n for n, field in Rulebook.model_fields.items() if field.title)
