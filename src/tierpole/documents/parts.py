"""What every paper is made of: cells that say when they are assumed, grids, and the head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from tierpole.charts import words
from tierpole.charts.ground import invented
from tierpole.compliance import Deadline
from tierpole.documents.calendar import reason
from tierpole.documents.filed import NOTHING_FILED, Filed
from tierpole.documents.typeset import Language, Size
from tierpole.errors import Fault, InputError
from tierpole.rulebook import Topic, cautions
from tierpole.season import Season
from tierpole.units import System


@dataclass(frozen=True)
class Order:
    """What is wanted of a paper: of which lot or place, for which day, in which words and units.

    `address` is where the farm's pages are found; labels lead there. `count` is how many labels.
    """

    of: str = ""
    day: date | None = None
    language: Language = "en"
    system: System = "us"
    address: str = ""
    count: int = 10
    filed: Filed = NOTHING_FILED

    @property
    def size(self) -> Size:
        """The sheet that whoever reads these units prints on."""
        return "us-letter" if self.system == "us" else "a4"


@dataclass(frozen=True)
class Said:
    """A number as it is said; `assumed` marks weak ground."""

    text: str
    assumed: bool = False


Cell = str | Said


@dataclass(frozen=True)
class Grid:
    """A table of a paper; `numbers` are the columns set flush right, `total` its last row."""

    header: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numbers: tuple[int, ...] = ()
    total: tuple[str, ...] = ()


def head(season: Season) -> dict[str, Any]:
    """The head and foot of a paper: whose it is, of which day, what in it is not real."""
    short, long = invented(season)
    return {
        "farm": season.farm.name,
        "seen": f"{words.day(season.on)} {season.on.year}",
        "invented": short,
        "invented_long": f"{short} {long}".strip(),
    }


def chosen(name: str, names: Sequence[str], what: str) -> str:
    """A lot or place by its name, or the first of them; `InputError` naming those there are."""
    if not name and names:
        return names[0]
    if name not in names:
        allowed = f"the name of a {what} ({', '.join(names) or 'there is none'})"
        raise InputError("paper", [Fault("paper", "of", name, allowed)])
    return name


def warnings(topic: Topic, keys: Sequence[str] = ()) -> list[str]:
    """The cautions of a topic, or those of them that are named."""
    return [caution.says for caution in cautions(topic) if not keys or caution.key in keys]


def deadline_grid(deadlines: Sequence[Deadline]) -> Grid:
    """Days to keep with what to do and why; a reason told once is not told again."""
    rows: list[tuple[Cell, ...]] = []
    told: dict[str, str] = {}
    for one in deadlines:
        why = reason(one)
        rows.append((words.day(one.day), one.what, told.get(why, why)))
        told.setdefault(why, f"as for {one.subject}")
    return Grid(("By", "What", "Why, and under which rule"), tuple(rows))


def full_day(day: date) -> str:
    """A date with its weekday and year, for papers that are kept: `Tue 8 Sep 2026`."""
    return f"{words.day(day)} {day.year}"


def percent(share: float) -> str:
    """A potency as a certificate prints it: `0.142 %`."""
    return f"{100 * share:.3g} %"


def content(share: float, is_below: bool) -> str:
    """The same, or the limit that a content stayed under: `under 0.05 %`."""
    return f"under {percent(share)}" if is_below else percent(share)
