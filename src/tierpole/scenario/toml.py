"""TOML as people write it: a value it cannot read does not hide what else is wrong.

A bare value such as ``area = 2.5 acre`` or ``set_on = 2026-02-30`` stops a TOML reader at its first
one. Here it is put in quotes, marked, and read on, so that it becomes one fault of its own field
among all the others. What breaks the file's structure is named by its line.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from tierpole.errors import Fault

MARK = "\ue000"  # for private use: no keyboard writes it
MOST = 200  # repairs of one file

_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_STATEMENT = re.compile(r"""(\s*[\w-]+\s*=\s*+)((?!["'\[{]).*?)(\s*(?:\#.*)?)$""")
_PIECE = re.compile(
    r""""(?:\\.|[^"\\])*"|'[^']*'|\#.*|(?P<none>=\s*(?=[,}]))|(?P<bare>[^"'\[\]{},#=]+)|."""
)
_HEADER = re.compile(r"\s*\[\[?\s*([\w.-]+)\s*\]\]?")
_OPENED = re.compile(r"\s*([\w-]+)\s*=\s*\[[^\]]*$")
_KEY = re.compile(r"\s*([\w-]+)\s*=")
_BRACKETS = "Rows of a list have two brackets, as in [[lots]]."
_SAID = {
    "Cannot overwrite a value": ("a key not written before in its table", ""),
    "Cannot declare": ("a table not headed before", _BRACKETS),
    "Illegal character '\\n'": ("a text with a quote at either end", ""),
    "Unterminated string": ("a text with a quote at either end", ""),
    "Unescaped '\\' in a string": ("a text without a backslash", 'Write "/" for it.'),
}


class Unread(str):
    """What stands in a file where TOML cannot read a value, as it stands there."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


@dataclass(frozen=True)
class Written:
    """What a file says: its tables, values that could not be read, and faults of its structure."""

    tables: dict[str, Any]
    faults: tuple[Fault, ...]
    lines: tuple[str, ...]


def read_toml(text: str) -> Written:
    """The tables of a TOML text, with `Unread` for each value that is not TOML."""
    original = text.replace("\r\n", "\n").split("\n")
    lines, bare, broken = list(original), dict[int, str](), dict[int, str]()
    tables: dict[str, Any] = {}
    for _ in range(MOST):
        try:
            tables = _unmarked(tomllib.loads("\n".join(lines)))
            break
        except tomllib.TOMLDecodeError as error:
            number, column, said = _where(error, lines)
            quoted = _quoted(lines[number - 1], column)
            if broken and number <= max(broken) + 1:  # what was left open spoils what follows
                break
            (broken if quoted is None else bare)[number] = said
            lines[number - 1] = quoted or ""
        except (ValueError, RecursionError) as error:
            fault = Fault("the file", "", Unread("something else"), f"readable TOML ({error})")
            return Written({}, (fault,), tuple(original))
    else:
        broken = bare
    at_fault = sorted((broken | bare).items()) if broken else []
    faults = tuple(_fault(number, original, said) for number, said in at_fault)
    return Written({} if faults else tables, faults, tuple(original))


def _where(error: tomllib.TOMLDecodeError, lines: list[str]) -> tuple[int, int, str]:
    """Line, column and message; the end of a document is its last line that says anything."""
    text = str(error)
    at = _AT.search(text)
    said = text[: at.start()] if at else text
    if at and at[1]:
        return int(at[1]), int(at[2]), said
    number = max((n for n, line in enumerate(lines, 1) if line.strip()), default=1)
    return number, len(lines[number - 1]) + 1, said


def _fault(number: int, lines: list[str], said: str) -> Fault:
    """A line that breaks the file, in plain words where the reader's own are not."""
    line = lines[number - 1].strip()
    known = (plain for start, plain in _SAID.items() if said.startswith(start))
    allowed, cure = next(known, (f"valid TOML ({said[:1].lower()}{said[1:]})", ""))
    if line.startswith("[") and said.startswith("Cannot"):
        allowed, cure = _SAID["Cannot declare"]
    place = Fault(f"line {number}", "", Unread(line or "an empty line"), allowed)
    return replace(place, cure=cure or _left_open(number, lines, said))


def _left_open(number: int, lines: list[str], said: str) -> str:
    """Which list above is perhaps not closed."""
    if said.startswith(("Unclosed array", "Invalid value")):
        for begun in range(number - 1, 0, -1):
            if opened := _OPENED.match(lines[begun - 1]):
                return f'Perhaps the list "{opened[1]}" of line {begun} lacks its closing bracket.'
            if _KEY.match(lines[begun - 1]) or _HEADER.match(lines[begun - 1]):
                break
    return ""


def _quoted(line: str, column: int) -> str | None:
    """The line with the bare value at a column put in quotes; None when there is none."""
    if line.lstrip().startswith("["):
        return None
    whole = _STATEMENT.match(line)
    if whole and MARK not in line and column > whole.start(2):
        return f"{whole[1]}{_marked(whole[2])}{whole[3]}"
    for start, end in _bare(line):
        before, after = line[:start].rstrip(), line[end:]
        is_value = before[-1:] in ("=", "[", ",") and not after.startswith("=")
        if is_value and start < column <= end + 1:
            return f"{line[:start]} {_marked(line[start:end].strip())} {after}"
    return None


def _bare(line: str) -> Iterator[tuple[int, int]]:
    """Where something stands outside of quotes, or nothing where a value should."""
    for piece in _PIECE.finditer(line):
        if piece["bare"] and piece["bare"].strip():
            yield piece.span()
        elif piece["none"] is not None:
            yield piece.start() + 1, piece.end()


def _marked(bare: str) -> str:
    return json.dumps(MARK + bare, ensure_ascii=False)


def _unmarked(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _unmarked(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_unmarked(inner) for inner in value]
    if isinstance(value, str) and value.startswith(MARK):
        return Unread(value.removeprefix(MARK))
    return value


def unread_in(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The paths of all values that could not be read."""
    if isinstance(value, Unread):
        yield path
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from unread_in(inner, (*path, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from unread_in(inner, (*path, number))


# --- lines ----------------------------------------------------------------------------------------

Lines = dict[tuple[str, int, str], int]  # of (table, row from 1, key); key "" is the table's head


def lines_of(written: tuple[str, ...]) -> Lines:
    """Where each table and key stands, lines counted from 1."""
    lines: Lines = {}
    table, row = "", 1
    for number, line in enumerate(written, start=1):
        if head := _HEADER.match(line):
            table = head[1]
            row = 1 + sum(known == table and not key for known, _, key in lines)
            lines[table, row, ""] = number
        elif key := _KEY.match(line):
            lines.setdefault((table, row, key[1]), number)
    return lines


def line_of(fault: Fault, lines: Lines) -> int | None:
    """The line a fault is about: its key's, else its table's, else None."""
    if fault.place == "scenario":
        return lines.get(("", 1, fault.field)) or lines.get((fault.field, 1, ""))
    at = re.match(r"([\w-]+)(?:\.([\w-]+))?(?:\[(\d+)\])?", fault.place)
    if at is None:
        return None
    table, inner, row = at[1], at[2], int(at[3] or 1)
    key = inner or fault.field.partition("[")[0]
    row = 1 if inner else row
    return lines.get((table, row, key)) or lines.get((table, row, ""))
