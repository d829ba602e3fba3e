"""Reading text files other people wrote, and gathering everything wrong in them."""

from __future__ import annotations

import csv
import gzip
import io
import math
import zlib
from collections.abc import Iterator
from pathlib import Path

from tierpole.errors import Fault, InputError, StoreError

GZIP_MAGIC = b"\x1f\x8b"
MOST_FAULTS = 50
MOST_BYTES = 50_000_000  # of a file's text: a station's century has some ten


def read_text(path: Path) -> str:
    """The text of a plain or gzipped file."""
    try:
        return decode(path.read_bytes())
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror or error}).") from None
    except (EOFError, zlib.error, UnicodeDecodeError) as error:
        fault = Fault("the file", "", str(error), "whole UTF-8 text, plain or gzipped")
        raise InputError(path.name, [fault]) from None


def decode(content: bytes) -> str:
    """Bytes as text, unpacked first when they are gzipped."""
    if content.startswith(GZIP_MAGIC):
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as file:
            content = file.read(MOST_BYTES + 1)
    if len(content) > MOST_BYTES:
        raise EOFError(f"it unpacks to more than {MOST_BYTES // 1_000_000} MB")
    return content.decode("utf-8-sig")


class Faults:
    """What is wrong in a file, gathered row by row and raised together."""

    def __init__(self, file: str) -> None:
        self.file = file
        self._found: list[Fault] = []
        self._more = 0

    def add(self, place: str, field: str, value: object, allowed: str) -> None:
        """Note one fault; after the first fifty they are only counted."""
        if len(self._found) < MOST_FAULTS:
            self._found.append(Fault(place, field, value, allowed))
        else:
            self._more += 1

    def raise_any(self) -> None:
        """Raise `InputError` when there is a fault."""
        if self._more:
            text = f"{self._more:,} more faults"
            self._found.append(Fault("further rows", "values", text, "as said for those above"))
        if self._found:
            raise InputError(self.file, self._found)

    def number(self, place: str, field: str, text: str | None, low: float, high: float) -> float:
        """A number between two limits, NaN (and a fault) when it is anything else."""
        value = _number(text)
        if not low <= value <= high:
            self.add(place, field, text or None, f"a number from {low:g} to {high:g}")
            return math.nan
        return value


def _number(text: str | None) -> float:
    try:
        return float(text or "nan")
    except ValueError:
        return math.nan


def rows(text: str, faults: Faults) -> Iterator[list[str]]:
    """The rows of a CSV text, cells stripped, blank rows kept so that rows can be counted."""
    reader = csv.reader(io.StringIO(text))
    try:
        for row in reader:
            yield [cell.strip() for cell in row]
    except csv.Error as error:
        faults.add(f"row {reader.line_num}", "", str(error), "a row of comma-separated values")
