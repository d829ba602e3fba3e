"""What the command line says of a scenario or an error, as JSON with a published schema."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date
from typing import Literal

from pydantic import BaseModel, Field

from tierpole._version import __version__
from tierpole.errors import InputError, TierpoleError
from tierpole.office.document import Document
from tierpole.scenario import Assumed, Checked


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


def schema_text(document: type[BaseModel]) -> str:
    """The JSON schema of a document, as it is published."""
    return json.dumps(document.model_json_schema(mode="serialization"), indent=2) + "\n"
