"""Books that are not there yet, or not yet a farm: begin one, take one in, or look at the demo."""

from __future__ import annotations

import re
import tempfile
import threading
import tomllib
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from pathlib import Path, PurePath
from typing import Any

from tierpole.errors import Fault, InputError, StoreError
from tierpole.office.entry.uploads import Upload
from tierpole.office.farm import FarmOffice
from tierpole.office.office import Settings
from tierpole.office.sources import DEMO, is_address, is_books, keep_scenario
from tierpole.office.start.guide import Guide
from tierpole.records import (
    Store,
    holds_books,
    import_package,
    open_store,
    read_season,
    restore,
)

BUILT_IN = "built-in:"
MOST_TEXT = 1_000_000  # bytes of a scenario
_NAME = re.compile(r"[\w][\w .()-]{0,99}")


class Beginning:
    """The start of a farm's books in a file or on a server, an empty database there.

    `office` is there once they can be planned.
    """

    def __init__(
        self,
        where: str,
        settings: Settings | None = None,
        on: date | None = None,
        make: Callable[..., FarmOffice] = FarmOffice,
    ):
        self.where = where
        self.settings = settings or Settings()
        self.office: FarmOffice | None = None
        self._on, self._make = on, make
        self._turn = threading.Lock()
        self._store = open_store(where) if _are_there(where) else None

    @property
    def guide(self) -> Guide | None:
        """The guide through the start; None while there are no books."""
        return Guide(self._store) if self._store else None

    def begin(self) -> Guide:
        """Make empty books, unless they are there."""
        with self._turn:
            if self._store is None:
                self._store = open_store(self.where, create=True)
        return Guide(self._store)

    def take_in(self, uploads: Mapping[str, Upload], who: str) -> None:
        """Make the books from a scenario, a package or a backup: whole or not at all."""
        with self._turn, tempfile.TemporaryDirectory(prefix="tierpole-") as folder:
            self._must_be_new()
            paths = {key: _laid(Path(folder), one) for key, one in uploads.items()}
            if "file" not in paths:
                raise InputError("the file", [Fault("the file", "", None, "chosen")])
            _take(paths["file"], self.where, who)
            self._store = open_store(self.where)

    def show_demo(self, who: str) -> None:
        """Copy the invented farm into new books."""
        with self._turn:
            self._must_be_new()
            keep_scenario(DEMO, self.where, who)
            self._store = open_store(self.where)

    def open(self) -> FarmOffice | None:
        """The office of the farm once its books are whole; it plans in the background."""
        with self._turn:
            if self.office is None and self._store is not None and is_whole(self._store):
                self.office = self._make(self._store, self.settings, self._on)
                self.office.start()
            return self.office

    def stop(self) -> None:
        """End what works in the background, and let go of the books."""
        if self.office is not None:
            self.office.stop()
        if self._store is not None:
            self._store.close()

    def _must_be_new(self) -> None:
        is_file = not is_address(self.where) and Path(self.where).exists()
        if self._store is not None or is_file:
            raise StoreError("A farm was begun here already. Go on with it, or name another file.")


def is_whole(store: Store) -> bool:
    """Whether books hold all that a plan needs; what contradicts itself is for the pages to say."""
    try:
        season = read_season(store)
    except InputError:
        return False
    return bool(season.lots and season.places)


def is_to_begin(where: str) -> bool:
    """Whether a path or address leads to no books yet, or to a farm that was only begun."""
    if _are_there(where):
        with open_store(where) as store:
            return not is_whole(store)
    return is_address(where) or (not Path(where).exists() and Path(where).suffix != ".toml")


def _are_there(where: str) -> bool:
    return holds_books(where) if is_address(where) else is_books(where)


def _laid(folder: Path, upload: Upload) -> Path:
    """A file that was handed in, under its own name in a folder of ours."""
    name = PurePath(upload.name.replace("\\", "/")).name
    if not _NAME.fullmatch(name):
        raise InputError(
            "the file", [Fault("the file", "its name", name[:60], "letters and digits")]
        )
    path = folder / name
    path.write_bytes(upload.data)
    return path


def _take(path: Path, where: str, who: str) -> None:
    """Take a file in by what it is, not by what it is called."""
    if is_books(path):
        restore(path, where)
    elif path.read_bytes()[:4] == b"PK\x03\x04":
        import_package(path, where)
    else:
        _check_names(path)
        keep_scenario(str(path), where, who)


def _check_names(path: Path) -> None:
    """A scenario from elsewhere may name files handed in with it, and no others."""
    data = path.read_bytes()
    if len(data) > MOST_TEXT or b"\0" in data:
        allowed = "a scenario (.toml), an open package (.zip) or a backup (.db)"
        raise InputError(path.name, [Fault("the file", "", f"{len(data):,} bytes", allowed)])
    try:
        written = tomllib.loads(data.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError):
        return  # what is wrong is told by who reads it
    allowed = "a file handed in beside it, by its name without a folder"
    faults = [
        Fault(table, key, name[:60], allowed)
        for table, key, name in _names(written)
        if not name.startswith(BUILT_IN) and not _NAME.fullmatch(name)
    ]
    if faults:
        raise InputError(path.name, faults)


def _names(written: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Every file a scenario names: table, key, name."""
    for table in ("weather", "files", "loggers"):
        found = written.get(table)
        for row in found if isinstance(found, list) else [found]:
            for key, value in row.items() if isinstance(row, dict) else ():
                names = value if isinstance(value, list) else [value]
                if (table, key) != ("loggers", "place"):
                    yield from ((table, str(key), one) for one in names if isinstance(one, str))
