"""What was read from a scenario, as plain text: the season, what looks odd, what is assumed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tierpole.barn.geometry import place_capacity
from tierpole.charts import words
from tierpole.cli.layout import USUAL, wrap
from tierpole.scenario import Assumed, Checked
from tierpole.season import Season
from tierpole.units import System


def checked_text(
    checked: Checked, assumed: Iterable[Assumed], system: System = "us", width: int = USUAL
) -> str:
    """A scenario without fault: what it says, what is worth a look, what it leaves open."""
    season = checked.season
    lines = [f"{season.farm.name}, season {season.year}, seen on {words.long_day(season.on)}"]
    lines += [wrap(text, width, "  ", "  ") for text in _season(season, system)]
    lines += ["", "No problem found."]
    if checked.remarks:
        lines += ["", "WORTH A SECOND LOOK"]
        lines += [wrap(text, width, "  ", "  ") for text in checked.remarks]
    lines += ["", "NOT WRITTEN, SO TAKEN (docs/scenario.md explains each)"]
    lines += [wrap(_taken(one), width, "  ", "  ") for one in assumed]
    return "\n".join(lines)


def _season(season: Season, system: System) -> Iterator[str]:
    count = words.counted
    standing = sum(season.sticks_standing(lot) for lot in season.lots)
    room = sum(place_capacity(place) for place in season.places)
    hanging = sum(hanging.sticks for hanging in season.hanging_now())
    area = words.area(sum(lot.area for lot in season.lots), system, 3)
    calls = count(len(season.samples), "call to the sampler", "calls to the sampler")
    yield f"{area} in {count(len(season.lots), 'lot')}; {count(standing, 'stick')} standing"
    yield f"{count(len(season.places), 'place')} with room for {room:,} sticks; {hanging:,} hanging"
    yield f"{count(len(season.tests), 'certificate')}, {calls}"
    yield _weather(season)
    yield f"rules of {season.farm.jurisdiction}"


def _weather(season: Season) -> str:
    past, days = season.past_weather, words.counted(len(season.this_weather), "day")
    stands = f" ({season.stand_in_year} stands in)" if season.stand_in_year else ""
    span = f"{past.year[0]} to {past.year[-1]}"
    return f"weather of {past.station.name}, {span}; {days} of this season{stands}"


def _taken(one: Assumed) -> str:
    rows = f" ({', '.join(one.rows)})" if one.rows else ""
    return f"{one.table}, {one.field}{rows}: {one.taken}"
