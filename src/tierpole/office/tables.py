"""Tables that are dear to make, kept on disk by the hash of what they were made from."""

from __future__ import annotations

import contextlib
import os
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, MutableMapping
from pathlib import Path

import numpy as np

Table = dict[str, np.ndarray]

KEPT = 24  # tables kept before the oldest is dropped; one is about a megabyte


def cache_folder() -> Path | None:
    """Where tables may be kept, or None when nothing can be written anywhere."""
    home = Path(os.environ.get("XDG_CACHE_HOME") or "~/.cache").expanduser()
    wanted = Path(os.environ.get("TIERPOLE_CACHE") or home / "tierpole")
    for folder in (wanted, Path(tempfile.gettempdir()) / f"tierpole-{_user()}"):
        with contextlib.suppress(OSError):
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            if os.access(folder, os.W_OK):
                return folder
    return None


def _user() -> str:
    return str(os.getuid()) if hasattr(os, "getuid") else "user"


class DiskTables(MutableMapping[str, Table]):
    """A mapping from a hash to arrays; a damaged or missing file is simply not there.

    Files are written whole and then renamed, so that a kill leaves the old one or the new one.
    """

    def __init__(self, folder: Path | None = None):
        self.folder = folder or cache_folder()
        self._memory: dict[str, Table] = {}

    def __getitem__(self, key: str) -> Table:
        if key not in self._memory:
            self._memory[key] = self._load(key)
        return self._memory[key]

    def __setitem__(self, key: str, table: Table) -> None:
        self._memory[key] = table
        if self.folder is not None:
            with contextlib.suppress(OSError):  # a full disk only costs the next run its time
                self._save(self.folder, key, table)
                self._drop_oldest(self.folder)

    def __delitem__(self, key: str) -> None:
        del self._memory[key]
        if self.folder is not None:
            (self.folder / f"{key}.npz").unlink(missing_ok=True)

    def __iter__(self) -> Iterator[str]:
        on_disk = (p.stem for p in self.folder.glob("*.npz")) if self.folder else ()
        return iter({*self._memory, *on_disk})

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def _load(self, key: str) -> Table:
        if self.folder is None:
            raise KeyError(key)
        try:
            with np.load(self.folder / f"{key}.npz", allow_pickle=False) as stored:
                return {name: stored[name] for name in stored.files}
        except (OSError, ValueError, EOFError, zipfile.BadZipFile, zlib.error) as error:
            raise KeyError(key) from error

    @staticmethod
    def _save(folder: Path, key: str, table: Table) -> None:
        handle, name = tempfile.mkstemp(dir=folder, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                np.savez_compressed(stream, **table)  # pyright: ignore[reportArgumentType]
            Path(name).replace(folder / f"{key}.npz")
        finally:
            Path(name).unlink(missing_ok=True)

    @staticmethod
    def _drop_oldest(folder: Path) -> None:
        stored = sorted(folder.glob("*.npz"), key=lambda path: path.stat().st_mtime)
        for path in stored[:-KEPT]:
            path.unlink(missing_ok=True)
