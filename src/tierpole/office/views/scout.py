"""What to look for in the field now: the insects of hemp, by the warmth of this season."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
import xarray as xr

from tierpole.charts import words
from tierpole.crop import insects
from tierpole.crop.insects import CORN_BORER, INSECTS, Warmth, warmth_of
from tierpole.season import Season
from tierpole.units import System

AHEAD = 14  # days before a lot begins to flower from which its flower is walked
STAGES = {
    "spring_moths": "the first moths of spring fly",
    "spring_eggs": "the first eggs of spring are laid",
    "spring_peak": "the spring flight is at its height",
    "summer_moths": "the first moths of summer fly",
    "summer_eggs": "the first eggs of summer are laid",
    "summer_hatch": "the eggs of summer hatch",
    "summer_peak": "the summer flight is at its height",
    "summer_end": "the summer flight is past",
}
LOOK = {
    "summer_moths": "Look under the leaves beside the heads for eggs.",
    "summer_hatch": "Look for pinholes and frass on stalks, and for wilted tops.",
    "summer_end": "Look for broken branches and bored stalks; rot enters there.",
}
NO_COUNT = (
    "No count at which to act is known for hemp: write down what you see. Use only what its label "
    "allows on hemp, and as the label says; ask the department or the extension service."
)


def scout_lines(season: Season, outlook: xr.Dataset, system: System) -> tuple[str, ...]:
    """What to look for, while anything stands in the field."""
    if not any(season.sticks_standing(lot) for lot in season.lots):
        return ()
    lines = [_corn_borer(season, system)]
    flowers = float(np.median(outlook["flower_day"].values, axis=0).min())
    if season.today >= flowers - AHEAD:
        lines += _in_the_heads(season, system)
    return (*lines, NO_COUNT)


def _corn_borer(season: Season, system: System) -> str:
    found = _warmth(season, insects.corn_borer)
    so_far = _count(found.so_far, system)
    reached = [stage for stage in CORN_BORER if INSECTS[stage] <= found.so_far]
    coming = [stage for stage in CORN_BORER if INSECTS[stage] > found.so_far]
    said = f"European corn borer: {so_far} since 1 January"
    if reached:
        said = f"{said}; {STAGES[reached[-1]]}"
    if coming:
        said = f"{said}. {_next(found, coming[0], system)}"
    looks = [LOOK[stage] for stage in reached if stage in LOOK]
    return " ".join([f"{said}.", *looks[-1:]])


def _next(found: Warmth, stage: str, system: System) -> str:
    """When the next stage is usual, by the years on record."""
    ahead = found.days_to(INSECTS[stage] - found.so_far)
    what = f"At {_count(INSECTS[stage], system)} {STAGES[stage]}"
    if not np.isfinite(np.median(ahead)):
        return f"{what}, in most years not before winter"
    early, late = (_day(found.until, np.quantile(ahead[np.isfinite(ahead)], q)) for q in (0.1, 0.9))
    return f"{what}, in 8 of 10 years on record {words.span(early, late)}"


def _in_the_heads(season: Season, system: System) -> Iterator[str]:
    """How fast what is laid now grows: the time between two walks."""
    reach, hatch = INSECTS["earworm_reach"], INSECTS["hemp_borer_hatch"]
    if days := _median_days(_warmth(season, insects.earworm), reach):
        yield (
            f"Corn earworm: what a moth lays today is too big for a biological after about "
            f"{words.counted(days, 'day')} ({_count(reach, system)}): walk the heads twice in "
            "that time."
        )
    if days := _median_days(_warmth(season, insects.hemp_borer), hatch):
        yield (
            f"Hemp borer: eggs laid today hatch in about {words.counted(days, 'day')} (assumed); "
            "it winters in stalks and heads left lying."
        )


def _warmth(season: Season, rule: insects.Rule) -> Warmth:
    return warmth_of(rule, season.past_weather, season.this_weather, season.on)


def _median_days(found: Warmth, warmth: float) -> int:
    """Days in the middle year; 0 where it is too cold for it."""
    days = float(np.median(found.days_to(warmth)))
    return round(days) if np.isfinite(days) else 0


def _count(warmth: float, system: System) -> str:
    """Degree days as growers of either system count them."""
    number, unit = (warmth * 1.8, "°F") if system == "us" else (warmth, "°C")
    return f"{number:,.0f} {unit} degree days"


def _day(first: date, ahead: float) -> date:
    return first + timedelta(days=round(ahead) - 1)
