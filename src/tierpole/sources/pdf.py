"""A PDF from elsewhere: its words with their places, and its pages as pictures.

It is read by `pdf_worker` in a process of its own, with limits on time and memory.
"""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tierpole.errors import Fault, InputError

SECONDS = 30  # that a file may take in all
_WORKER = Path(__file__).with_name("pdf_worker.py")
_REFUSED = 3


@dataclass(frozen=True)
class Word:
    """A word and its box, in points from the top left corner of its page."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True)
class PdfPage:
    """A page: its size in points, its words as the file has them one after another."""

    width: float
    height: float
    words: tuple[Word, ...]


def pdf_pages(data: bytes, name: str = "the file") -> tuple[PdfPage, ...]:
    """The pages of a PDF; raises `InputError` with the reason when it cannot be read."""
    pages = json.loads(_asked(data, "words", name))
    return tuple(
        PdfPage(page["width"], page["height"], tuple(Word(*word) for word in page["words"]))
        for page in pages
    )


def pdf_picture(data: bytes, page: int, name: str = "the file") -> bytes:
    """A page of a PDF, the first is 0, as a grey PNG."""
    return _asked(data, str(page), name)


def _asked(data: bytes, what: str, name: str) -> bytes:
    command = [sys.executable, "-P", str(_WORKER), what]
    try:
        done = subprocess.run(  # noqa: S603 - our own script
            command, input=data, capture_output=True, timeout=SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        raise _refused(name, f"takes longer than {SECONDS} s to read") from None
    if done.returncode == 0:
        return done.stdout
    is_told = done.returncode == _REFUSED
    said = done.stderr.decode() if is_told else "takes more than a certificate should to read"
    raise _refused(name, said)


def _refused(name: str, said: str) -> InputError:
    allowed = "a PDF that can be read; a photo of the certificate is taken as well"
    return InputError(name, [Fault(name, "", said, allowed)])
