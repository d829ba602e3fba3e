"""Certificates that no laboratory ever wrote, as PDFs: two layouts with text, and one scanned."""

from __future__ import annotations

import io

import pypdfium2
import typst

HILL = r"""
#set page(width: 8.5in, height: 11in, margin: 0.8in)
= Certificate of analysis (invented)
Hill Lab, invented layout
#grid(columns: 2, gutter: 8pt, [Client sample: 2 Bank], [Sample type: Flower],
  [Date collected: 09/01/2026], [Date reported: 09/04/2026])
#table(columns: 4, [Analyte], [LOQ (%)], [Mass (%)], [Mass (mg/g)],
  [Δ9-THC], [0.01], [0.05], [0.5], [THCA], [0.01], [0.22], [2.2],
  [CBD], [0.01], [0.30], [3.0], [CBDA], [0.01], [6.61], [66.1],
  [Total THC], [], [0.243], [2.43], [Total CBD], [], [6.10], [61.0])
Results are on a dry weight basis. Moisture: 9.8 %.

Measurement uncertainty of total THC: ± 0.03 %. Total THC = Δ9-THC + THCA x 0.877.

Pesticides: PASS #h(2em) Heavy metals: PASS #h(2em) Mycotoxins: PASS #h(2em) Microbials: FAIL
"""
RIDGE = r"""
#set page(width: 8.5in, height: 11in, margin: 0.6in)
#set text(size: 9pt)
#align(center)[*Ridge Testing (invented layout)*]
#grid(columns: (1fr, 1fr, 1fr), gutter: 6pt, [*Sample ID*], [*Sampling date*], [*Report date*],
  [1 River], [3 Sep 2026], [September 8, 2026])
#grid(columns: (1fr, 1fr, 1fr), gutter: 12pt, [Total THC], [Total CBD], [Moisture],
  [1.94 mg/g], [54.25 mg/g], [10.1 %])
#table(columns: 5, [Cannabinoid], [LOD mg/g], [LOQ mg/g], [Result mg/g], [Result %],
  [delta-9-THC], [0.1], [0.4], [\<LOQ], [\<LOQ],
  [Tetrahydrocannabinolic acid (THCA)], [0.1], [0.4], [2.21], [0.221],
  [CBDV], [0.1], [0.4], [ND], [ND],
  [Cannabidiol (CBD)], [0.1], [0.4], [4.0], [0.40],
  [Cannabidiolic acid (CBDA)], [0.1], [0.4], [57.3], [5.73])
Contents as received.
"""


def pdf(text: str) -> bytes:
    """A page of markup as a PDF."""
    return typst.compile(text.encode())


def photo(text: str, form: str = "JPEG") -> bytes:
    """The first page of markup as a picture."""
    page = pypdfium2.PdfDocument(pdf(text))[0]
    picture = io.BytesIO()
    page.render(scale=1.2).to_pil().save(picture, form)
    return picture.getvalue()


def scanned(text: str) -> bytes:
    """A PDF that holds nothing but the picture of a page."""
    page = pypdfium2.PdfDocument(pdf(text))[0]
    held = io.BytesIO()
    page.render(scale=1.2).to_pil().save(held, "PDF")
    return held.getvalue()
