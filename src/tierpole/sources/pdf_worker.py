"""Reads one PDF in a process of its own: whatever a file does, only this process suffers.

The file comes on standard input. `words` answers the words of every page with their boxes, as JSON;
a number answers that page as a grey PNG. What cannot be read ends with status 3 and the reason.
Nothing of ours is imported, so that it starts at once.
"""

from __future__ import annotations

import ctypes
import json
import struct
import sys
import zlib
from collections.abc import Iterator
from typing import Any, NoReturn

import pypdfium2 as pdfium
from pypdfium2 import raw

PAGES = 20  # of one certificate
LETTERS = 30_000  # of one page
WIDTH, TALLEST = 1200, 2400  # pixels of a page's picture
MEMORY = 1_500_000_000  # bytes of address space
SECONDS = 20  # of work
FINE = 10  # parts of a point that boxes are told in
REFUSED = 3
ENCRYPTED = 4  # what the library calls a file that wants a password
_GREYS = bytes(round(grey / 17) * 17 for grey in range(256))  # 16 of them pack three times as well


def main() -> None:
    """Answer what the command line asks of the file on standard input."""
    _limit()
    document = _opened(sys.stdin.buffer.read())
    if not 0 < len(document) <= PAGES:
        _refuse(f"has {len(document)} pages; a certificate has 1 to {PAGES}")
    asked = sys.argv[1]
    try:
        if asked == "words":
            sys.stdout.write(json.dumps([_page(document[n]) for n in range(len(document))]))
        else:
            sys.stdout.buffer.write(_picture(document[int(asked)]))
    except pdfium.PdfiumError:
        _refuse("has a page that is broken")


def _limit() -> None:
    if sys.platform != "win32":
        import resource  # noqa: PLC0415 - not there on every system

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))


def _opened(data: bytes) -> pdfium.PdfDocument:
    try:
        return pdfium.PdfDocument(data)
    except pdfium.PdfiumError as error:
        wants = getattr(error, "err_code", None) == ENCRYPTED
        said = "asks for a password: save it without one" if wants else "is broken"
        _refuse(said)


def _refuse(said: str) -> NoReturn:
    sys.stderr.write(said)
    sys.exit(REFUSED)


def _page(page: pdfium.PdfPage) -> dict[str, Any]:
    """A page's size and words, in points from its top left corner, as it is shown."""
    width, height = page.get_size()
    return {"width": width, "height": height, "words": list(_words(page, width, height))}


def _words(page: pdfium.PdfPage, width: float, height: float) -> Iterator[list[Any]]:
    text = page.get_textpage()
    letters: list[str] = []
    box: list[float] = []
    for number in range(min(text.count_chars(), LETTERS)):
        letter = chr(raw.FPDFText_GetUnicode(text, number))
        if letter.isspace() or not letter.isprintable():
            yield from _word(letters, box)
            letters, box = [], []
            continue
        left, top, right, bottom = _shown(page, width, height, text.get_charbox(number, loose=True))
        if letters and (left > box[2] + (bottom - top) or top > box[3] or bottom < box[1]):
            yield from _word(letters, box)
            letters, box = [], []
        letters.append(letter)
        old = box or [left, top, right, bottom]
        box = [min(old[0], left), min(old[1], top), max(old[2], right), max(old[3], bottom)]
    yield from _word(letters, box)


def _word(letters: list[str], box: list[float]) -> Iterator[list[Any]]:
    if letters:
        yield ["".join(letters), *(round(side, 1) for side in box)]


def _shown(
    page: pdfium.PdfPage, width: float, height: float, box: tuple[float, float, float, float]
) -> tuple[float, float, float, float]:
    """A box of the page's own space as it lies on the page that is shown, turned and cut."""
    x, y = ctypes.c_int(), ctypes.c_int()
    found: list[tuple[float, float]] = []
    for corner in (box[:2], box[2:]):
        raw.FPDF_PageToDevice(
            page, 0, 0, int(FINE * width), int(FINE * height), 0, *corner,
            ctypes.byref(x), ctypes.byref(y),
        )  # fmt: skip
        found.append((x.value / FINE, y.value / FINE))
    (ax, ay), (bx, by) = found
    return min(ax, bx), min(ay, by), max(ax, bx), max(ay, by)


def _picture(page: pdfium.PdfPage) -> bytes:
    """A page as a PNG of grey levels."""
    width, height = page.get_size()
    scale = min(WIDTH / max(width, 1.0), TALLEST / max(height, 1.0))
    bitmap = page.render(scale=scale, grayscale=True)
    wide, step = bitmap.width, bitmap.stride
    grey = bytes(bitmap.buffer).translate(_GREYS)
    rows = b"".join(
        b"\0" + grey[n * step : n * step + wide] for n in range(bitmap.height)
    )  # each row begins with its filter: none
    head = struct.pack(">IIBBBBB", wide, bitmap.height, 8, 0, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(rows, 6)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in parts
    )


if __name__ == "__main__":
    main()
