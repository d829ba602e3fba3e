"""A season out of the books, as it was known on a day; and one put into them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tierpole.errors import Fault, InputError
from tierpole.farm import Laboratory, Noun, Sampler
from tierpole.farm.books import SeasonYear
from tierpole.records import schema
from tierpole.records.chain import canonical, sha256
from tierpole.records.journal import NEW, Change, Receipt, write_all
from tierpole.records.kinds import IN_SEASON, Kind, setting_id
from tierpole.records.reading import Entry, Known, entry_of, in_force, known
from tierpole.records.store import Store
from tierpole.records.weather import (
    WeatherFiles,
    keep_learnt,
    keep_weather,
    learnt_of,
    weather_of,
)
from tierpole.season import Season

ALWAYS = date.max
_ASSUMED: dict[str, Noun] = {"sampler": Sampler(), "laboratory": Laboratory()}
_WANTED = ["season", "weather", "learnt", "remediation", *(kind.name for kind in IN_SEASON)]


def seasons(store: Store) -> list[int]:
    """The years of the seasons in the books."""
    current = schema.current.c
    query = sa.select(current.season).where(current.kind == "season", ~current.is_withdrawn)
    with store.reading() as connection:
        return sorted(connection.execute(query).scalars())


def read_season(
    store: Store, on: date | None = None, year: int | None = None, until: int | None = None
) -> Season:
    """The season as it was known on a day: today, unless said; the latest season, unless said.

    `until` looks only at the first entries of the books, as they stood when the last of them was
    written. Raises `InputError` listing what a season still lacks.
    """
    year = year or max(seasons(store), default=None)
    if year is None:
        raise InputError(str(store), [Fault("season", "", None, "begun: the books hold none")])
    with store.reading() as connection:
        day = on or _day(connection, year)
        return whole_season(connection, year, day, day, until).as_seen_on(day)


def is_as_read(store: Store, after: int) -> bool:
    """Whether nothing that a season is made from was entered after an entry of the books."""
    entry = schema.entry.c
    query = sa.select(entry.seq).where(entry.seq > after, entry.kind.in_(_WANTED)).limit(1)
    with store.reading() as connection:
        return connection.execute(query).first() is None


def whole_season(
    connection: Connection, year: int, on: date, known_by: date = ALWAYS, until: int | None = None
) -> Season:
    """A season with all that was known by some day, to be looked at on another."""
    found = defaultdict[str, list[Known]](list)
    for one in known(connection, _WANTED, known_by, until):
        if one.season in (None, year):
            found[one.kind].append(one)
    remediations: list[Any] = [one.noun for one in found["remediation"]]
    remade = {one.name for one in remediations}
    tables = {
        kind.table: _table(kind, [one for one in found[kind.name] if not _is_of(one.noun, remade)])
        for kind in IN_SEASON
    }
    source: Any = found["weather"][0].noun if found["weather"] else None
    missing = [name for name, noun in (tables | {"weather": source}).items() if noun is None]
    if missing:
        faults = [Fault(name, "", None, f"written down for {year}") for name in missing]
        raise InputError(f"season {year}", faults)
    files: list[Any] = [one.noun for one in found["learnt"]]
    tables["learnt"] = tuple(learnt_of(connection, file) for file in files)
    weather = weather_of(connection, source, year)
    return Season(year=year, on=on, source="books", **tables, **weather)  # type: ignore[arg-type]


def _day(connection: Connection, year: int) -> date:
    """The day a season is looked at: its own when it has one, else today, while it lasts."""
    query = (
        sa.select(schema.entry)
        .join(schema.current, schema.current.c.seq == schema.entry.c.seq)
        .where(schema.current.c.kind == "season", schema.current.c.season == year)
    )
    row = connection.execute(query).mappings().first()
    noun = entry_of(row).noun if row else None
    if isinstance(noun, SeasonYear) and noun.on:
        return noun.on
    return min(max(date.today(), _first_day(year)), date(year, 12, 31))  # noqa: DTZ011 farm-local


def _is_of(noun: Any, lots: set[str]) -> bool:
    """Whether a fact is of one of these lots: remediated material is none of the field's."""
    return getattr(noun, "lot", None) in lots


def _table(kind: Kind, found: list[Known]) -> Any:
    if kind.is_single:
        return found[0].noun if found else _ASSUMED.get(kind.name)
    return tuple(one.noun for one in found)


def _first_day(year: int) -> date:
    """From here on a season may be looked at: the winter before."""
    return date(year - 1, 11, 1)


# --- putting a season in --------------------------------------------------------------------------


def import_season(
    store: Store,
    season: Season,
    weather: WeatherFiles,
    who: str,
    *,
    why: str = "imported",
    keep_day: bool = False,
    learnt: Sequence[Path] = (),
) -> tuple[Receipt, ...]:
    """Put a whole season into the books, all or nothing: every fact known on its own day.

    A farm, field, variety or place that is in the books under the same name is the same one; where
    it says something else now, that is a correction. A season can be put in once. With `keep_day`
    it is looked at from its own day for ever, as a demonstration is; else from today. `learnt` are
    the files of what the season was told of earlier ones.
    """
    with store.writing() as connection:
        if connection.execute(_begun(season.year)).first() is not None:
            fault = Fault("season", "year", season.year, "one the books do not hold yet")
            raise InputError(season.source or "season", [fault])
        source = keep_weather(connection, weather)
        begun = SeasonYear(year=season.year, **({"on": season.on} if keep_day else {}))
        changes = _changes(connection, season, {"season": begun, "weather": source}, why)
        taught = (
            Change(noun, why=why, season=season.year)
            for noun in keep_learnt(connection, learnt, _first_day(season.year))
        )
        return write_all(connection, chain(changes, taught), who)


def _begun(year: int) -> sa.Select[Any]:
    current = schema.current.c
    return sa.select(current.seq).where(
        current.kind == "season", current.season == year, ~current.is_withdrawn
    )


def _changes(
    connection: Connection, season: Season, ours: dict[str, Noun], why: str
) -> Iterator[Change]:
    first, year = _first_day(season.year), season.year
    there = _lasting(connection)
    for name, noun in ours.items():
        yield Change(noun, setting_id(name, year), why=why, known_on=first, season=year)
    for kind in IN_SEASON:
        rows = getattr(season, kind.table)
        for noun in (rows,) if kind.is_single else rows:
            if kind.is_lasting:
                yield from _lasting_change(kind, noun, there, year, why)
                continue
            day = None if kind.is_single or kind.name == "lot" else kind.day_of(noun)
            of = setting_id(kind.name, year) if kind.is_single else NEW
            yield Change(noun, of, why=why, known_on=day or first, season=year)


def _lasting_change(
    kind: Kind, noun: Any, there: dict[tuple[str, str], Entry], year: int, why: str
) -> Iterator[Change]:
    """What outlives a season: new, or corrected from the new year on, or as it is."""
    old = there.get((kind.name, _own_name(kind.name, noun)))
    if old is None:
        of = setting_id(kind.name) if kind.is_single else NEW
        yield Change(noun, of, why=why, known_on=_first_day(year))
    elif old.noun != noun:
        yield Change(noun, old.of, (old.id,), why, known_on=date(year, 1, 1))


def _lasting(connection: Connection) -> dict[tuple[str, str], Entry]:
    """The farm, fields, varieties and places in the books, by kind and name."""
    kinds = [kind.name for kind in IN_SEASON if kind.is_lasting]
    found = in_force(connection, kinds)
    return {(one.kind, _own_name(one.kind, one.noun)): one for one in found}


def _own_name(kind: str, noun: Any) -> str:
    """What tells nouns of a kind apart; there is only one farm, whatever it is called."""
    return "" if kind == "farm" else noun.name


# --- hash -----------------------------------------------------------------------------------------


def season_hash(season: Season) -> str:
    """The hash of all that a plan is made from: what a kept plan says its inputs were."""
    says = {kind.table: _plain(getattr(season, kind.table)) for kind in IN_SEASON}
    says |= {"year": season.year, "on": str(season.on)}
    says |= {name: _digest(getattr(season, name)) for name in ("past_weather", "this_weather")}
    says["forecast"] = _digest(season.forecast)
    says["learnt"] = [str(one) for one in season.learnt]
    return sha256(canonical(says))


def _plain(table: Any) -> Any:
    if isinstance(table, tuple):
        return [_plain(noun) for noun in table]
    return table.model_dump(mode="json")


def _digest(weather: Any) -> Any:
    """Arrays by their bytes, all else by its text."""
    if weather is None:
        return None
    return {
        name: sha256(value.tobytes()) if isinstance(value, np.ndarray) else str(value)
        for name, value in vars(weather).items()
        if name not in ("provenance", "source")
    }
