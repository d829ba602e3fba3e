"""Papers of the synthetic season, and the words in them as an independent reader finds them."""

from __future__ import annotations

from functools import cache

import pypdfium2

import synthetic
from tierpole.documents import (
    make_paper,
)

SEASON, OUTLOOK, PLAN = synthetic.season(), synthetic.outlook(), synthetic.plan()
CUT_DAYS = sorted({cut.day for cut in PLAN.cuts})


@cache
def paper_of(kind, order=None):
    return make_paper(kind, SEASON, OUTLOOK, PLAN, order)


def text_of(paper):
    """The words of a paper, by an independent reader, spaces as one."""
    pages = pypdfium2.PdfDocument(paper.pdf)
    told = " ".join(pages[n].get_textpage().get_text_range() for n in range(len(pages)))
    told = told.replace("\xa0", " ").replace("\u2060", "").replace("\ufffe", "-")  # a broken hyphen
    return " ".join(told.split())
