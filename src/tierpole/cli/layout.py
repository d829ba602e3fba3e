"""Plain text in columns and paragraphs that fit a terminal."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Iterator, Sequence

TIE = "\ue001"  # for private use: stands for a space where a line must not end
_BOUND = re.compile(r"(?<=\d) (?=%|°|of 20\b|(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec))")
NARROWEST, USUAL, WIDEST = 60, 80, 100


def width_now() -> int:
    """The width to write in: the terminal's within reason, 80 where there is none."""
    columns = shutil.get_terminal_size((USUAL, 24)).columns if sys.stdout.isatty() else USUAL
    return min(max(columns, NARROWEST), WIDEST)


def wrap(text: str, width: int, indent: str = "", hang: str = "") -> str:
    """A paragraph, its first line led by `indent`, the others by `indent` and `hang`.

    A number is not parted from the unit or the month after it.
    """
    filled = textwrap.fill(
        _BOUND.sub(TIE, text), width, initial_indent=indent, subsequent_indent=indent + hang,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    return filled.replace(TIE, " ")


def columns(
    heads: Sequence[str], rows: Sequence[Sequence[str]], width: int, indent: str = "  "
) -> Iterator[str]:
    """A table: a head that starts with ">" stands to the right, with its column.

    What is too wide is taken from the widest column, whose texts then end in "…".
    """
    right = [head.startswith(">") for head in heads]
    cells = [[head.removeprefix(">") for head in heads], *map(list, rows)]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    room = width - len(indent) - 2 * (len(heads) - 1)
    while sum(widths) > room and max(widths) > 6:
        widths[widths.index(max(widths))] -= 1
    for row in cells:
        fitted = (_fit(*cell) for cell in zip(row, widths, right, strict=True))
        yield f"{indent}{'  '.join(fitted)}".rstrip()


def _fit(text: str, width: int, to_right: bool) -> str:
    short = text if len(text) <= width else text[: width - 1] + "…"
    return short.rjust(width) if to_right else short.ljust(width)
