"""A station's latest records fetched from their publisher and merged with what is stored.

Nothing stored is lost: a published row replaces the stored row of the same day and element, and
stored rows the publisher no longer has stay. The file is written beside itself and moved into
place, so it is whole at every moment. What the server says about the version it sent (ETag,
Last-Modified) is kept in ``<file>.fetched.json`` and asked about the next time, unless the stored
file has been changed since.
"""

from __future__ import annotations

import gzip
import hashlib
import http.client
import json
import os
import tempfile
import urllib.error
import urllib.request
import zlib
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tierpole.errors import InputError, StoreError
from tierpole.sources.files import GZIP_MAGIC, Faults, decode, read_text
from tierpole.sources.observations import Observation, parse, write

GHCN_DAILY = "https://www.ncei.noaa.gov/pub/data/ghcn/daily/by_station/"
_VALIDATORS = {"ETag": "If-None-Match", "Last-Modified": "If-Modified-Since"}


@dataclass(frozen=True)
class Update:
    """What a fetch changed: rows new and rows whose value or flags were revised."""

    station: str
    added: int
    revised: int
    first: date
    last: date

    @property
    def is_changed(self) -> bool:
        """Whether the stored file is another one now."""
        return self.added + self.revised > 0


def update_station(file: str | Path, base_url: str = GHCN_DAILY, timeout: float = 20.0) -> Update:
    """Fetch the latest rows of the station in a long-form file and merge them into it.

    `timeout` [s] is how long the server may keep silent. Raises `StoreError` when the publisher
    cannot be reached or sends something else; the stored file is then as it was.
    """
    file = Path(file)
    stored = _stored(file)
    station = stored[0].station
    url = f"{base_url.rstrip('/')}/{station}.csv.gz"
    answer = _fetch(url, _validators(file, url), timeout)
    if answer is None:
        return _update(station, stored, stored)
    body, version = answer
    merged = _merged(stored, _published(url, body, station))
    update = _update(station, stored, merged)
    if update.is_changed:
        packed = file.read_bytes().startswith(GZIP_MAGIC)
        text = write(merged).encode()
        _replace(file, gzip.compress(text, mtime=0) if packed else text)
    kept = version | {"url": url, "sha256": _digest(file)}
    _replace(_sidecar(file), json.dumps(kept, indent=1).encode())
    return update


def _stored(file: Path) -> list[Observation]:
    faults = Faults(file.name)
    observations = parse(read_text(file), faults)
    if observations.is_wide:
        faults.add("the file", "form", "one row a day", "the long form, one row a day and element")
    if not observations.rows:
        faults.add("the file", "rows", 0, "at least one row, which names the station")
    faults.raise_any()
    return observations.rows


def _published(url: str, body: bytes, station: str) -> list[Observation]:
    """The rows a server sent, refused when they are not rows of that station."""
    faults = Faults(url)
    try:
        found = parse(decode(body), faults).rows
        faults.raise_any()
    except (OSError, EOFError, zlib.error, UnicodeDecodeError, InputError):
        found = []
    if not found or {row.station for row in found} != {station}:
        raise StoreError(
            f"{url}: sent something that is not the daily record of {station}, or only a part of "
            "it. The stored record is unchanged. Try again later."
        )
    return found


def _merged(stored: list[Observation], published: list[Observation]) -> list[Observation]:
    rows = {(row.day, row.element): row for row in (*stored, *published)}
    return [rows[key] for key in sorted(rows)]


def _update(station: str, before: list[Observation], after: list[Observation]) -> Update:
    old = {(row.day, row.element): row for row in before}
    new = [row for row in after if (row.day, row.element) not in old]
    revised = sum(row != old.get((row.day, row.element), row) for row in after)
    days = [row.day for row in after]
    return Update(station, len(new), revised, min(days), max(days))


# --- the server -----------------------------------------------------------------------------------


def _fetch(
    url: str, validators: dict[str, str], timeout: float
) -> tuple[bytes, dict[str, str]] | None:
    """The body and its version, or None when the server's version is the one stored."""
    if not url.startswith(("https://", "http://")):
        raise StoreError(f"{url}: an address starts with https:// or http://.")
    request = urllib.request.Request(url, headers=validators)  # noqa: S310 (checked above)
    try:
        with urllib.request.urlopen(request, timeout=timeout) as answer:  # noqa: S310
            body = answer.read()
            version = {name: answer.headers[name] for name in _VALIDATORS if name in answer.headers}
    except urllib.error.HTTPError as error:
        error.close()
        if error.code == http.client.NOT_MODIFIED:
            return None
        raise StoreError(_refused(url, error.code)) from None
    except (OSError, http.client.HTTPException) as error:
        reason = getattr(error, "reason", None) or error
        raise StoreError(
            f"{url}: cannot be reached ({reason}). The stored record is unchanged and can be used "
            "without a connection."
        ) from None
    return body, version


def _refused(url: str, code: int) -> str:
    why = (
        "the publisher has no file of that station"
        if code == http.client.NOT_FOUND
        else f"the publisher refused it (status {code})"
    )
    return f"{url}: {why}. The stored record is unchanged."


# --- the files ------------------------------------------------------------------------------------


def _sidecar(file: Path) -> Path:
    return file.with_name(f"{file.name}.fetched.json")


def _validators(file: Path, url: str) -> dict[str, str]:
    """Request headers that name the stored version; none when it is not the one last fetched."""
    try:
        kept = json.loads(_sidecar(file).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(kept, dict) or kept.get("url") != url or kept.get("sha256") != _digest(file):
        return {}
    return {ask: str(kept[name]) for name, ask in _VALIDATORS.items() if name in kept}


def _digest(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()


def _replace(file: Path, content: bytes) -> None:
    """Write a file so that at every moment it is either the old one or the new one."""
    try:
        handle, name = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
        with os.fdopen(handle, "wb") as out:
            out.write(content)
        Path(name).replace(file)
    except OSError as error:
        raise StoreError(f"{file}: cannot be written ({error.strerror or error}).") from None
