"""The words of what the crew reads, in its languages: days, tiers, chances, cautions."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any

from tierpole.charts import words
from tierpole.documents.parts import head
from tierpole.documents.tiers import Bundle, on_tiers
from tierpole.documents.typeset import Language
from tierpole.rulebook import cautions
from tierpole.season import Season

Say = dict[str, Any]


@cache
def crew_words(language: Language) -> Say:
    """The words of a language by their keys."""
    text = (files("tierpole.documents") / "crew_words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)[language]


def crew_head(season: Season, say: Say) -> dict[str, Any]:
    """The head of a paper, its day and what in it is not real in the crew's words."""
    farm = say["invented_farm"] if season.farm.is_invented else ""
    year = season.stand_in_year
    is_not_real = f"{farm} {say['stand_in'].format(year=year) if year else ''}".strip()
    seen = f"{said_date(say, season.on)}, {season.year}"
    return {**head(season), "seen": seen, "invented": is_not_real}


def said_date(say: Say, day: date) -> str:
    """A day in full words."""
    weekday, month = say["weekdays"][day.weekday()], say["months"][day.month - 1]
    return say["date"].format(weekday=weekday, day=day.day, month=month)


def short_date(say: Say, day: date) -> str:
    """A day as it stands in a table: `Wed 9 Sep`."""
    weekday, month = say["weekdays"][day.weekday()], say["months"][day.month - 1]
    return f"{weekday[:3]} {day.day} {month[:3]}"


def said_sticks(say: Say, sticks: float) -> str:
    """So many sticks."""
    number = f"{sticks:,.0f}"
    return say["one_stick" if number == "1" else "sticks"].format(sticks=number)


def said_odds(say: Say, chance: float) -> str:
    """A chance as `5 of 20`."""
    said = words.short_odds(chance)
    for phrase, own in (("fewer than", "fewer"), ("more than", "more"), ("of", "of")):
        said = said.replace(f"{phrase} ", f"{say[own]} ")
    return said


def said_tier(say: Say, tier: int | None, top: int) -> str:
    """A tier by its number from the ground."""
    if tier is None:
        return say["tier_any"]
    return say["tier_top"].format(tier=tier) if tier == top > 1 else str(tier)


def said_tiers(say: Say, bundles: Iterable[Bundle], top: int) -> list[str]:
    """Sticks tier by tier: `3 (top): 96`."""
    return [f"{said_tier(say, one.tier, top)}: {one.sticks:,}" for one in on_tiers(bundles)]


def said_bents(say: Say, bundles: Iterable[Bundle]) -> str:
    """The bents that sticks hang in: `bents 4 to 5`; empty where none has room."""
    bents = sorted({bundle.bent for bundle in bundles if bundle.bent})
    if not bents:
        return ""
    key = "bent" if len(bents) == 1 else "bents"
    return say[key].format(first=bents[0], last=bents[-1])


def crew_cautions(language: Language, keys: Sequence[str] = ()) -> Iterator[str]:
    """The cautions of the barn, or those of them that are named."""
    own = crew_words(language).get("caution")
    for caution in cautions("barn"):
        if not keys or caution.key in keys:
            yield own[caution.key] if own else caution.says
