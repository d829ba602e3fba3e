"""Certificates of analysis from files: CSV with a header, or JSON with a list of objects.

Both have the same fields, one certificate a row or an object. Required are lot, laboratory, kind,
sampled_on, reported_on, plants, unit and basis, and of the contents total_thc, or delta9_thc and
thca. Further ones are total_cbd, cbd, cbda, moisture (percent), uncertainty and quantification.
Contents stand as printed, digits and all: 0.30, ND, <0.05.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Any, TypeVar

from tierpole.compliance.certificate import (
    CONTENTS,
    Basis,
    Certificate,
    Printed,
    Unit,
    check,
)
from tierpole.errors import Fault, InputError
from tierpole.farm import TestKind
from tierpole.sources.files import Faults, read_text, rows

REQUIRED = ("lot", "laboratory", "kind", "sampled_on", "reported_on", "plants", "unit", "basis")
OPTIONAL = (*CONTENTS, "moisture", "uncertainty", "quantification")

Choice = TypeVar("Choice", bound=StrEnum)


def read_certificates(path: Path) -> list[Certificate]:
    """Every certificate of a file; `InputError` lists all that is wrong in any of them."""
    faults = Faults(path.name)
    printed = [(place, _printed(place, each, faults)) for place, each in _records(path, faults)]
    checked = [check(each, place) for place, each in printed if each is not None]
    wrong = [fault for each in checked if isinstance(each, tuple) for fault in each]
    try:
        faults.raise_any()
    except InputError as unreadable:
        raise InputError(path.name, [*unreadable.faults, *wrong]) from None
    if wrong:
        raise InputError(path.name, wrong)
    return [each for each in checked if isinstance(each, Certificate)]


def certificate_of(fields: Mapping[str, str], place: str) -> Certificate | tuple[Fault, ...]:
    """One certificate of fields that stand as printed, or everything that is wrong with it."""
    faults = Faults(place)
    printed = _printed(place, fields, faults)
    if printed is not None:
        return check(printed, place)
    try:
        faults.raise_any()
    except InputError as error:
        return error.faults
    return ()


def _records(path: Path, faults: Faults) -> Iterator[tuple[str, dict[str, str]]]:
    text = read_text(path)
    if path.suffix.lower() == ".json" or text.lstrip()[:1] in ("[", "{"):
        return _from_json(text, faults)
    return _from_csv(text, faults)


def _from_csv(text: str, faults: Faults) -> Iterator[tuple[str, dict[str, str]]]:
    lines = enumerate(rows(text, faults), start=1)
    header = [cell.lower().replace(" ", "_") for cell in next(lines, (1, [""]))[1]]
    for name in REQUIRED:
        if name not in header:
            faults.add("the header", name, None, "a column")
    for name in header:
        if name not in (*REQUIRED, *OPTIONAL):
            faults.add("the header", name, name, f"one of {', '.join((*REQUIRED, *OPTIONAL))}")
    if set(REQUIRED) <= set(header):
        for number, row in lines:
            if any(row):
                yield f"row {number}", dict(zip(header, row, strict=False))


def _from_json(text: str, faults: Faults) -> Iterator[tuple[str, dict[str, str]]]:
    try:
        # numbers keep the digits they are written with
        content = json.loads(text, parse_float=str, parse_int=str)
    except json.JSONDecodeError as error:
        faults.add(f"line {error.lineno}", "", error.msg, "JSON")
        return
    records: list[Any] = content if isinstance(content, list) else [content]
    for number, record in enumerate(records, start=1):
        place = f"certificate {number}"
        if not isinstance(record, dict):
            faults.add(place, "", record, "an object with the fields of a certificate")
            continue
        for name in sorted(set(record) - {*REQUIRED, *OPTIONAL}):
            faults.add(place, name, record[name], f"one of {', '.join((*REQUIRED, *OPTIONAL))}")
        yield place, {name: "" if value is None else str(value) for name, value in record.items()}


def _printed(place: str, fields: Mapping[str, str], faults: Faults) -> Printed | None:
    lot = _text(place, "lot", fields, faults)
    laboratory = _text(place, "laboratory", fields, faults)
    kind = _choice(place, "kind", fields, TestKind, faults)
    unit = _choice(place, "unit", fields, Unit, faults)
    basis = _choice(place, "basis", fields, Basis, faults)
    sampled, reported = (
        _day(place, name, fields, faults) for name in ("sampled_on", "reported_on")
    )
    plants = _whole(place, "plants", fields, faults)
    if not (lot and laboratory and kind and unit and basis and sampled and reported and plants):
        return None
    return Printed(
        lot=lot,
        laboratory=laboratory,
        kind=kind,
        sampled_on=sampled,
        reported_on=reported,
        plants=plants,
        unit=unit,
        basis=basis,
        contents={name: fields.get(name, "") for name in CONTENTS},
        moisture=fields.get("moisture", ""),
        uncertainty=fields.get("uncertainty", ""),
        quantification=fields.get("quantification", ""),
    )


def _text(place: str, name: str, fields: Mapping[str, str], faults: Faults) -> str:
    text = fields.get(name, "").strip()
    if not text:
        faults.add(place, name, None, "a name")
    return text


def _choice(
    place: str, name: str, fields: Mapping[str, str], choices: type[Choice], faults: Faults
) -> Choice | None:
    text = fields.get(name, "").strip().lower()
    if text in set(choices):
        return choices(text)
    allowed = ", ".join(f'"{choice}"' for choice in choices)
    faults.add(place, name, text or None, f"one of {allowed}")
    return None


def _day(place: str, name: str, fields: Mapping[str, str], faults: Faults) -> date | None:
    text = fields.get(name, "").strip()
    try:
        return date.fromisoformat(text)
    except ValueError:
        faults.add(place, name, text or None, "a date such as 2026-09-14")
        return None


def _whole(place: str, name: str, fields: Mapping[str, str], faults: Faults) -> int | None:
    text = fields.get(name, "").strip()
    if text.isdecimal() and int(text) > 0:
        return int(text)
    faults.add(place, name, text or None, "a whole number, 1 or more")
    return None
