"""Photos and papers that are handed in: known by what they begin with, not by what they claim."""

from __future__ import annotations

from dataclasses import dataclass

from tierpole.office.entry.told import Told

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


def fault_of(upload: Upload) -> Told | None:
    """What is wrong with a file, in words; None when it can be taken."""
    if len(upload.data) > MOST:
        got = f"{len(upload.data) / 1e6:.0f}"
        return Told(TOO_LARGE, most=f"{MOST // 1_000_000}", got=got)
    if media_type(upload.data) is None:
        return OTHER_FILE
    return None
