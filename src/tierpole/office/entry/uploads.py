"""Photos and papers that are handed in: known by what they begin with, not by what they claim."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from tierpole.office.entry.told import Told
from tierpole.sources.stations import BESIDE

MOST = 12_000_000  # bytes of one photo or paper
_SIGNS = {
    b"\xff\xd8\xff": "image/jpeg",
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"%PDF-": "application/pdf",
}


@dataclass(frozen=True)
class Upload:
    """A file as it came: its name and its bytes."""

    name: str
    data: bytes


def media_type(data: bytes) -> str | None:
    """What a file is, by its first bytes; None for what is not taken."""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for sign, kind in _SIGNS.items() if data.startswith(sign)), None)


TOO_LARGE = "must be {most} MB at most, got {got} MB"
OTHER_FILE = Told("must be a photo (JPEG, PNG, WebP) or a PDF")


def fault_of(upload: Upload, is_table: bool = False) -> Told | None:
    """What is wrong with a file, in words; None when it can be taken.

    What is in a table is looked at by whoever reads it.
    """
    if len(upload.data) > MOST:
        got = f"{len(upload.data) / 1e6:.0f}"
        return Told(TOO_LARGE, most=f"{MOST // 1_000_000}", got=got)
    if not is_table and media_type(upload.data) is None:
        return OTHER_FILE
    return None


def seen_in(key: str, upload: Upload) -> dict[str, Any]:
    """What a file that answers a question says itself, by the fields of nouns that keep it."""
    name = re.sub(r"[^\w.-]+", "_", upload.name.replace("\\", "/").rpartition("/")[2])
    name = name.strip("._")[-80:] or "file"
    if key == "station_content":
        file = name if name != BESIDE else f"own_{name}"
        return {"station": file, "file": file}
    if key == "forecast_content":
        return {"forecast": name}
    return {"media_type": media_type(upload.data), "size": len(upload.data)}
