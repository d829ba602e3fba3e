"""The packet of a lot for an inspection, and labels: what is on record, and nothing else."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pypdfium2
import pytest
import zxingcpp

from made_papers import CUT_DAYS, OUTLOOK, PLAN, SEASON, paper_of, text_of
from tierpole.documents import (
    PAPERS,
    Filed,
    Order,
    Proof,
    make_paper,
    scan_path,
)
from tierpole.documents.lot_packet import lot_packet
from tierpole.documents.typeset import typeset
from tierpole.farm.books import (
    CustodyStep,
    Disposal,
    DisposalMethod,
    Panel,
    Planting,
    Report,
    ReportKind,
)

# --- inspection ---------------------------------------------------------------------------------


def test_lot_packet_limits():
    """What is recorded is there with its day; nothing forecast is."""
    text = text_of(paper_of("packet", Order(of="1 River")))
    for said in ("Mon 17 Aug 2026", "Sat 22 Aug 2026", "0.142 %", "± 0.04 %", "Wed 16 Sep 2026"):
        assert said in text
    assert "0.142 % total THC is within 0.34 %" in text
    assert "380 sticks, about 1,900 plants" in text
    assert not re.search(r"\d of 20\b|\$|8 of 10", text)
    data = lot_packet(SEASON, OUTLOOK, PLAN, Order(of="1 River")).data
    assert [row[2] for row in data["sticks"].rows] == ["200", "200", "180", "180"]


def test_lot_packet_limits_filed():
    """What the books hold is printed: plants, custody, disposal, the proof of the chain."""
    day = date(2026, 8, 17)
    filed = Filed(
        plantings=(Planting(lot="1 River", set_on=date(2026, 6, 12), plants=5120),),
        custody=(
            CustodyStep(
                lot="1 River", sampled_on=day, handed_on=day, giver="agent", taker="courier",
                seal="S-77",
            ),
        ),
        disposals=(
            Disposal(lot="1 River", disposed_on=date(2026, 9, 1), method=DisposalMethod.BURN,
                     sticks=4, witness="agent"),
            Disposal(lot="7 Hollow", disposed_on=date(2026, 9, 1), method=DisposalMethod.DISK),
            Disposal(lot="1 River", disposed_on=date(2026, 9, 2), method=DisposalMethod.OTHER,
                     note="to the sheriff"),
        ),
        reports=(
            Report(kind=ReportKind.NOTICE, filed_on=date(2026, 8, 31), lot="1 River",
                   number="W-42"),
        ),
        proof=Proof(entries=1234, seal="ab12cd", checked_on="2026-09-02", is_unbroken=False),
    )  # fmt: skip
    text = text_of(paper_of("packet", Order(of="1 River", filed=filed)))
    for said in (
        "5,120",
        "S-77",
        "destroyed: burned",
        "1,234",
        "ab12cd",
        "BROKEN",
        "another way; to the sheriff",
        "W-42",
    ):
        assert said in text
    assert "disked" not in text


def test_lot_packet_limits_broken_rule():
    """A cut that a rule forbade is on the first page."""
    cut = SEASON.cuts[0].model_copy(update={"lot": "7 Hollow"})
    season = replace(SEASON, cuts=(*SEASON.cuts, cut))
    paper = make_paper("packet", season, OUTLOOK, PLAN, Order(of="7 Hollow"))
    first = pypdfium2.PdfDocument(paper.pdf)[0].get_textpage().get_text_range()
    assert "before any official sample" in " ".join(first.split())


def test_failed_panels_limits():
    """The last sample of a lot decides: what failed is not offered; the packet has every panel."""
    about = {"lot": "1 River", "laboratory": "Hill Lab"}
    failed = Panel(**about, sampled_on=date(2026, 8, 20), reported_on=date(2026, 8, 25),
                   microbes_pass=False, metals_pass=True)  # fmt: skip
    again = Panel(**about, sampled_on=date(2026, 8, 24), reported_on=date(2026, 8, 28),
                  microbes_pass=True)  # fmt: skip
    late = again.model_copy(update={"reported_on": date(2026, 12, 1)})
    for panels, is_offered in (
        ((failed,), False),
        ((failed, again), True),
        ((failed, late), False),
    ):
        order = Order(of="1 River", filed=Filed(panels=panels))
        sheet = PAPERS["buyer"](SEASON, OUTLOOK, PLAN, order).data["sentence"]
        assert ("microbes failed its last panel" not in sheet) == is_offered
        grid = lot_packet(SEASON, OUTLOOK, PLAN, order).data["panels"]
        assert "fail" in grid.rows[0]


# --- labels -------------------------------------------------------------------------------------


def _codes(paper):
    """What a scanner reads off the printed pages."""
    pages = pypdfium2.PdfDocument(paper.pdf)
    return [
        code.text
        for n in range(len(pages))
        for code in zxingcpp.read_barcodes(pages[n].render(scale=2).to_numpy())
    ]


def test_labels_against_zxing():
    """An independent scanner reads every code off the printed sheet: an address or plain words."""
    names = [lot.name for lot in SEASON.lots]
    leads = _codes(paper_of("lot-labels", Order(address="http://farm.local:8047/")))
    assert sorted(leads) == sorted(
        f"http://farm.local:8047{scan_path('lots', name)}" for name in names
    )
    assert sorted(_codes(paper_of("lot-labels"))) == sorted(f"lot / {name}" for name in names)
    bags = _codes(paper_of("bag-labels", Order(of="7 Hollow", count=12)))
    assert sorted(bags) == sorted(f"bag / 7 Hollow / {n}" for n in range(1, 13))
    sticks = _codes(paper_of("stick-labels", Order(day=CUT_DAYS[-1])))
    assert sorted(sticks) == sorted(
        f"stick / {cut.lot} / {cut.day} / {cut.place}" for cut in PLAN.cuts
        if cut.day == CUT_DAYS[-1]
    )  # fmt: skip


def test_typeset_limits_picture_without_words():
    """A drawing whose words are missing is refused, not printed."""
    draft = PAPERS["lender"](SEASON, OUTLOOK, PLAN, Order())
    spread = replace(draft.data["spread"], sentence=None)
    with pytest.raises(Exception, match="alt"):
        typeset(replace(draft, data={**draft.data, "spread": spread}))
