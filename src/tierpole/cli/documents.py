"""Scenario, room and error, as JSON with a published schema."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, Field

from tierpole._version import __version__
from tierpole.errors import InputError, TierpoleError
from tierpole.office.document import Document
from tierpole.scenario import Assumed, Checked

if TYPE_CHECKING:
    from tierpole.plan.options import Weighed
    from tierpole.season import Season


class ProblemDocument(Document):
    """One thing wrong in a file."""

    place: str = Field(description="table, row counted from 1 with its name, line")
    field: str
    value: str | None = Field(description="as it was found; null when it is missing")
    allowed: str
    cure: str
    text: str = Field(description="all of it as one sentence")


class ErrorDocument(Document):
    """Why there is no plan; printed instead of one."""

    format: Literal["tierpole-error-1"] = "tierpole-error-1"
    version: str = __version__
    kind: str
    exit_status: int
    message: str
    file: str | None
    problems: list[ProblemDocument]


class AssumedDocument(Document):
    """Something a file leaves out, and what is taken instead."""

    table: str
    rows: list[str] = Field(description="names of the rows that leave it out; empty when all do")
    field: str
    taken: str


class CheckDocument(Document):
    """A scenario without fault."""

    format: Literal["tierpole-check-1"] = "tierpole-check-1"
    version: str = __version__
    file: str
    farm: str
    season: int
    on: date
    remarks: list[str]
    assumed: list[AssumedDocument]


class OptionDocument(Document):
    """One way to more room or faster drying, for one season."""

    option: str
    cost_usd: float
    is_cost_assumed: bool = Field(description="a guess of ours, not the farm's own figure")
    cost_per_lot_usd: float
    earns_usd: float = Field(description="before its own cost: the season planned again with it")
    earns_low_usd: float = Field(description="with `earns_high_usd`, what the search leaves open")
    earns_high_usd: float
    left_usd: float


class RoomDocument(Document):
    """Ways to more room, the best first."""

    format: Literal["tierpole-room-1"] = "tierpole-room-1"
    version: str = __version__
    farm: str
    season: int
    seen_on: date
    place: str
    options: list[OptionDocument]


def error_document(error: TierpoleError) -> ErrorDocument:
    """The document of an error."""
    is_input = isinstance(error, InputError)
    return ErrorDocument(
        kind=type(error).__name__,
        exit_status=error.exit_status,
        message=str(error),
        file=error.file if is_input else None,
        problems=[
            ProblemDocument(
                place=fault.place,
                field=fault.field,
                value=None if fault.value is None else fault.shown,
                allowed=fault.allowed,
                cure=fault.cure,
                text=str(fault),
            )
            for fault in (error.faults if is_input else ())
        ],
    )


def check_document(checked: Checked, assumed: Iterable[Assumed]) -> CheckDocument:
    """The document of a scenario without fault."""
    season = checked.season
    return CheckDocument(
        file=season.source,
        farm=season.farm.name,
        season=season.year,
        on=season.on,
        remarks=list(checked.remarks),
        assumed=[
            AssumedDocument(table=a.table, rows=list(a.rows), field=a.field, taken=a.taken)
            for a in assumed
        ],
    )


def room_document(season: Season, place: str, weighed: Iterable[Weighed]) -> RoomDocument:
    """The document of ways to more room, weighed."""
    return RoomDocument(
        farm=season.farm.name,
        season=season.year,
        seen_on=season.on,
        place=place,
        options=[
            OptionDocument(
                option=one.option.name,
                cost_usd=one.option.cost,
                is_cost_assumed=one.option.assumed,
                cost_per_lot_usd=one.cost_per_lot,
                earns_usd=one.earns,
                earns_low_usd=one.low,
                earns_high_usd=one.high,
                left_usd=one.net,
            )
            for one in weighed
        ],
    )


def schema_text(document: type[BaseModel]) -> str:
    """The JSON schema of a document, as it is published."""
    return json.dumps(document.model_json_schema(mode="serialization"), indent=2) + "\n"
