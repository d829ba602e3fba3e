"""Papers set by typst: a template, plain data, the shipped typeface; tagged PDF/UA, no network.

What a person wrote reaches a template only as data, so no sign in it is ever markup. A picture
without words for it does not compile.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Literal

import typst
import vl_convert
from pydantic_core import to_jsonable_python

from tierpole.charts import Chart

Language = Literal["en", "es"]
LANGUAGES: tuple[Language, ...] = ("en", "es")
Size = Literal["us-letter", "a4"]


@dataclass(frozen=True)
class Draft:
    """A paper before it is set: its template, what is printed in it, and how it is filed."""

    template: str
    name: str
    title: str
    made_on: date
    data: dict[str, Any]
    size: Size = "us-letter"
    language: Language = "en"


@dataclass(frozen=True)
class Paper:
    """A finished paper; `name` is a file name without its ending."""

    name: str
    title: str
    pdf: bytes


@dataclass(frozen=True)
class Picture:
    """A chart for a paper: its drawing, and the words that stand for it."""

    svg: str
    sentence: str


def typeset(draft: Draft) -> Paper:
    """The paper of a draft; same draft, same bytes."""
    told = {"title": draft.title, "size": draft.size, "language": draft.language, **draft.data}
    with as_file(files("tierpole.documents") / "templates") as folder, as_file(_fonts()) as fonts:
        pdf = typst.compile(
            folder / f"{draft.template}.typ", root=folder, font_paths=[fonts],
            ignore_system_fonts=True, format="pdf", pdf_standards="ua-1",
            sys_inputs={"data": json.dumps(to_jsonable_python(told), ensure_ascii=False)},
            timestamp=datetime.combine(draft.made_on, time(), UTC),
        )  # fmt: skip
    return Paper(draft.name, draft.title, pdf)


def picture(chart: Chart) -> Picture:
    """A chart as a drawing on white paper."""
    _tell_fonts()
    spec = chart.looking("paper")
    spec = {**spec, "config": {**spec["config"], "background": "transparent"}}
    return Picture(vl_convert.vegalite_to_svg(spec), chart.sentence)


def file_name(*parts: str) -> str:
    """A name a file may have anywhere: `lot-4-Lane-2026-09-02`."""
    return re.sub(r"[^\w.]+", "-", "-".join(part for part in parts if part)).strip("-.")


def _fonts() -> Any:
    return files("tierpole") / "data" / "fonts"


@cache
def _tell_fonts() -> None:
    """vl-convert draws in the shipped typeface; told once."""
    vl_convert.register_font_directory(str(Path(str(_fonts()))))
