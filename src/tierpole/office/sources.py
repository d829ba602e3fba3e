"""Where a season comes from: a scenario file, or a farm's books in a file or on a server."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from tierpole.errors import InputError, StoreError
from tierpole.records import (
    Receipt,
    Store,
    WeatherFiles,
    import_season,
    open_store,
    read_season,
)
from tierpole.scenario import Checked, check_scenario, demo_path, read_whole
from tierpole.season import Season, faults, remarks

DEMO = "demo"
_SIGN = b"SQLite format 3\0"  # what the file of any SQLite database begins with


def is_address(where: str | Path) -> bool:
    """Whether books are meant that are on a server."""
    return "://" in str(where)


def is_books(where: str | Path) -> bool:
    """Whether an address or path leads to books rather than to a scenario."""
    if is_address(where):
        return True
    try:
        with Path(where).open("rb") as file:
            return file.read(len(_SIGN)) == _SIGN
    except OSError:
        return False


def check_source(where: str, on: date | None = None) -> Checked:
    """A season from a scenario or from books, and what is worth a second look in it.

    Raises `InputError` listing every fault, `StoreError` when it cannot be read.
    """
    if not is_books(where):
        return check_scenario(where, on)
    with open_store(where) as store:
        season = season_of(store, on)
    return Checked(season, tuple(remarks(season)))


def read_source(where: str, on: date | None = None) -> Season:
    """A season from a scenario or from books, as seen on its own day or on `on`."""
    return check_source(where, on).season


def season_of(store: Store, on: date | None = None) -> Season:
    """The latest season of the books without contradiction; raises `InputError` naming each."""
    season = replace(read_season(store, on), source=store.path.name if store.path else "books")
    found = faults(season)
    if found:
        raise InputError(season.source, found)
    return season


def keep_scenario(
    path: str, where: str, who: str, *, keep_day: bool = False
) -> tuple[Receipt, ...]:
    """Put a scenario (or `demo`) into books, which are made if there are none: all or nothing."""
    is_demo = path == DEMO and not Path(path).exists()
    whole = read_whole(demo_path() if is_demo else path)
    named = whole.files
    files = WeatherFiles(
        whole.station, named.station, whole.forecast, named.forecast, named.stand_in_year
    )
    is_new = not is_books(where)
    try:
        with open_store(where, create=True) as store:
            return import_season(
                store, whole.season, files, who, keep_day=keep_day or is_demo, learnt=whole.learnt
            )
    except (InputError, StoreError):
        if is_new:
            _without(Path(where))
        raise


def _without(path: Path) -> None:
    """Books that were just made and hold nothing are taken away again."""
    if is_books(path):
        path.unlink()
