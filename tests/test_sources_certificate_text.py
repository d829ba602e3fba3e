"""What a certificate's text may say: candidates of two invented layouts, and of any text at all."""

from __future__ import annotations

import contextlib
import io
import re
import signal
import struct
import subprocess
import sys
from pathlib import Path

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader, PdfWriter
from pypdf.generic import NameObject, StreamObject

from made_certificates import HILL, RIDGE, pdf, scanned
from tierpole.errors import InputError
from tierpole.sources import PdfPage, candidates, pdf_pages, pdf_picture, pdf_worker
from tierpole.sources import pdf as reader
from tierpole.sources.certificate_text import MOST, day_of
from tierpole.sources.pdf import Word
from tierpole.sources.pdf_worker import TALLEST, WIDTH

SAID = {
    HILL: {
        "lot": ["2 Bank"], "sampled_on": ["2026-09-01"], "reported_on": ["2026-09-04"],
        "delta9_thc": ["0.05", "0.5"], "thca": ["0.22", "2.2"], "cbd": ["0.30", "3.0"],
        "cbda": ["6.61", "66.1"], "total_thc": ["0.243", "2.43"], "total_cbd": ["6.10", "61.0"],
        "moisture": ["9.8"], "uncertainty": ["0.03"], "quantification": ["0.01", "0.01"],
        "basis": ["dry"], "pesticides": ["pass"], "metals": ["pass"], "mycotoxins": ["pass"],
        "microbes": ["fail"],
    },
    RIDGE: {
        "lot": ["1 River"], "sampled_on": ["2026-09-03"], "reported_on": ["2026-09-08"],
        "delta9_thc": ["ND", "ND"], "thca": ["2.21", "0.221"], "cbd": ["4.0", "0.40"],
        "cbda": ["57.3", "5.73"], "total_thc": ["1.94"], "total_cbd": ["54.25"],
        "moisture": ["10.1"], "quantification": ["0.4", "0.4"], "basis": ["as received"],
    },
}  # fmt: skip


@pytest.mark.parametrize("layout", SAID, ids=["table", "cards"])
def test_candidates_of_a_layout(layout):
    """Each value behind its label and under its heading; the 0.877 of the formula is none."""
    found: dict[str, list[str]] = {}
    every = candidates(pdf_pages(pdf(layout)))
    for one in every:
        found.setdefault(one.field, []).append(one.value)
    assert found == SAID[layout]
    assert [one.number for one in every] == list(range(1, len(every) + 1))
    assert all(one.value == "ND" or one.field.endswith("_on") or
               one.value.lower() in one.line.lower() or one.field == "basis"
               for one in every)  # fmt: skip


def test_boxes_lie_on_what_they_mark():
    """The words under a candidate's box, read by the library itself, are its value."""
    data = pdf(HILL)
    page = pypdfium2.PdfDocument(data)[0]
    text, height = page.get_textpage(), page.get_height()
    for one in candidates(pdf_pages(data)):
        left, top, right, bottom = one.box
        under = text.get_text_bounded(left - 1, height - bottom - 1, right + 1, height - top + 1)
        assert one.field.endswith("_on") or one.value.lower() in under.lower()


def test_a_scan_has_a_picture_and_no_candidates():
    data = scanned(HILL)
    assert candidates(pdf_pages(data)) == ()
    assert pdf_picture(data, 0).startswith(b"\x89PNG\r\n\x1a\n")


def _locked():
    """A PDF that opens with a password only."""
    writer, held = PdfWriter(), io.BytesIO()
    writer.append(PdfReader(io.BytesIO(pdf(HILL))))
    writer.encrypt("a word", algorithm="RC4-128")
    writer.write(held)
    return held.getvalue()


def _drawn(content, side=600):
    """A page of a side in points, and what draws it."""
    writer, held, stream = PdfWriter(), io.BytesIO(), StreamObject()
    page = writer.add_blank_page(side, side)
    stream.set_data(content)
    page[NameObject("/Contents")] = writer._add_object(stream.flate_encode())
    writer.write(held)
    return held.getvalue()


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: b"%PDF-1.7 and nothing", "is broken"),
        (lambda: pdf(HILL)[:2000], "is broken"),
        (_locked, "asks for a password"),
        (lambda: pdf("#pagebreak()" * 20), "21 pages"),
    ],
    ids=["no PDF", "cut off", "locked", "long"],
)
def test_what_cannot_be_read_is_refused_with_the_reason(make, said):
    with pytest.raises(InputError, match=said):
        pdf_pages(make())


def test_bombs_limits():
    """A page of a mile's side is drawn as any other; one of ten million strokes ends in time."""
    picture = pdf_picture(_drawn(b"", side=5_000_000), 0)
    wide, tall = struct.unpack(">II", picture[16:24])
    assert wide <= WIDTH
    assert tall <= TALLEST
    swollen = _drawn(b"0 0 m 9 9 l S " * 5_000_000)
    assert len(swollen) < 200_000
    with contextlib.suppress(InputError):
        assert [page.words for page in pdf_pages(swollen)] == [()]


def _limited(folder, **limits):
    """The worker with limits of a test's size."""
    text = Path(pdf_worker.__file__).read_text(encoding="utf-8")
    for name, value in limits.items():
        text, count = re.subn(rf"^{name} = [\d_]+", f"{name} = {value}", text, flags=re.MULTILINE)
        assert count == 1, name
    path = folder / "limited.py"
    path.write_text(text, encoding="utf-8")
    return [sys.executable, "-P", str(path)]


@pytest.mark.skipif(sys.platform != "linux", reason="limits of a process as Linux keeps them")
def test_which_limit_ends_a_bomb_limits(tmp_path):
    """Strokes without end by the time, a stream that swells by the memory; a certificate by none.

    Both are reduced alike for each, so that what ends one would not have ended the other.
    """
    ask = _limited(tmp_path, SECONDS=2, MEMORY=600_000_000)
    strokes, swollen = _drawn(b"0 0 m 600 600 l S " * 600_000), _drawn(b" " * 400_000_000)
    ends = [
        subprocess.run([*ask, what], input=data, capture_output=True, check=False).returncode
        for what, data in (("words", pdf(HILL)), ("0", strokes), ("words", swollen))
    ]
    assert ends[0] == 0
    assert ends[1] in (-signal.SIGKILL, -signal.SIGXCPU)
    assert ends[2] == -signal.SIGABRT
    assert max(len(strokes), len(swollen)) < 500_000


def test_a_bomb_is_told_in_words_limits(tmp_path, monkeypatch):
    """Whoever handed it in reads that it takes too much, and that a photo is taken as well."""
    monkeypatch.setattr(reader, "_WORKER", Path(_limited(tmp_path, MEMORY=600_000_000)[-1]))
    with pytest.raises(InputError, match=r"takes more than a certificate should.*") as told:
        pdf_pages(_drawn(b" " * 400_000_000))
    assert "a photo of the certificate is taken as well" in str(told.value)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("9/4/2026", "2026-09-04"), ("09/04/26", "2026-09-04"), ("2026-9-4", "2026-09-04"),
        ("4 Sep 2026", "2026-09-04"), ("September 4, 2026", "2026-09-04"),
        ("4-Sep-2026", "2026-09-04"), ("31/31/2026", "31/31/2026"), ("soon", "soon"),
    ],
)  # fmt: skip
def test_days_as_laboratories_print_them(text, day):
    assert day_of(text) == day


_sides = st.floats(-10, 900)
_words = st.builds(
    lambda text, left, top, wide, high: Word(text, left, top, left + wide, top + high),
    st.text(min_size=1, max_size=12)
    | st.sampled_from(["THCA", "Total", "THC", "0.22", "Δ9-THC", "LOQ", "%", "mg/g", "İ", "<LOQ"]),
    _sides, _sides, st.floats(0, 90), st.floats(0, 20),
)  # fmt: skip


@given(
    st.lists(
        st.builds(
            PdfPage, st.just(600.0), st.just(800.0), st.lists(_words, max_size=30).map(tuple)
        ),
        max_size=2,
    )
)
def test_any_text_simulated(pages):
    """Whatever stands on a page, in whatever place, is read to some candidates or none."""
    found = candidates(pages)
    for one in found:
        assert sum(other.field == one.field for other in found) <= MOST
        assert one.value


@given(st.text(max_size=30))
def test_any_day_simulated(text):
    """Any text is a day or stands as it is."""
    assert isinstance(day_of(text), str)
