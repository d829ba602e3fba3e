"""The office on a farm's books: it plans again when it must, says why, and keeps each plan."""

from __future__ import annotations

import threading
from datetime import date

import httpx
import pypdfium2
import pytest

import synthetic
from books_office import Quick, quick_office, written
from page_server import served
from tierpole.documents import Order
from tierpole.farm import Cut, Place, Sample, Test, TestKind
from tierpole.farm.books import Licence
from tierpole.office import farm
from tierpole.office.changes import News, what_changed
from tierpole.office.kept import document_of, kept_plan, kept_plans, mark_of
from tierpole.records import Change, Wanted, entries, nouns, open_store, season_hash, write

DAY = date(2026, 9, 2)


@pytest.fixture(scope="module")
def before():
    """What is kept of the synthetic plan."""
    return document_of(synthetic.season(), synthetic.outlook(), synthetic.plan(), 10)


def moved(document, lot, **changes):
    """The same document with a lot changed."""
    lots = [one.model_copy(update=changes) if one.lot == lot else one for one in document.plan.lots]
    plan = document.plan.model_copy(update={"lots": lots})
    return document.model_copy(update={"plan": plan})


def test_a_moved_sample_is_told_with_the_test_behind_it(before):
    """In the farm's words: which lot, from when to when, and what the test read against what."""
    lot = next(one for one in before.plan.lots if one.sample_on and one.state == "growing")
    after = moved(before, lot.lot, sample_on=lot.sample_on.replace(day=20))
    test = Test(lot=lot.lot, kind=TestKind.PRETEST, sampled_on=DAY, reported_on=DAY, plants=20,
                total_thc=0.0024)  # fmt: skip
    (said,) = what_changed(before, after, [News("test", test, is_taken_back=False)])
    expected = before.expected(lot.lot, DAY)
    assert said == (
        f"{lot.lot}: sample moves from {lot.sample_on.day} to 20 September: test of 2 September "
        f"reads 0.24 %, was expected {100 * expected:.2f} %."
    )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"sample_on": date(2026, 10, 2)}, "to 2 October"),
        ({"sample_on": None}, "no sample any more, was to be"),
        ({"state": "sampled, result pending"}, "is now sampled"),
        ({"sticks_left": 400}, "400 sticks left standing, before"),
        ({"p_pass": 0.5}, "passes in 10 of 20 seasons, before"),
        ({"cuts": []}, "no first cut any more, was to be"),
    ],
)
def test_each_kind_of_move_is_told(before, change, told):
    """Of one lot, and what another lot's entry or the calendar has to do with it."""
    lot = next(one for one in before.plan.lots if one.sample_on and one.cuts and one.p_pass)
    after = moved(before, lot.lot, **change)
    cut = News("cut", Cut(lot="Elsewhere", cut_on=DAY, sticks=180), is_taken_back=False)
    for entered, why in (
        ([cut], "Elsewhere (180 sticks were cut on 2 September)"),
        ([News("market", None, is_taken_back=False)], "the market was changed"),
        ([], "the season was worked through anew"),
    ):
        said = next(one for one in what_changed(before, after, entered) if one.startswith(lot.lot))
        assert told in said
        assert said.endswith(f": {why}.")
    later = after.model_copy(
        update={"plan": after.plan.model_copy(update={"on": date(2026, 9, 3)})}
    )
    said = what_changed(before, later, [])[0]
    assert said.endswith("the weather up to 3 September is known.")


def test_what_moves_nothing_is_told_too(before):
    """An entry of a lot is answered even when the plan stays; one taken back is called so."""
    lot = before.plan.lots[0].lot
    sample = Sample(lot=lot, requested_on=DAY, sampled_on=date(2026, 9, 8))
    said = what_changed(before, before, [News("sample", sample, is_taken_back=True)])
    told = "the sampler was called for 8 September (taken back since); nothing moves."
    assert said == (f"{lot}: {told}",)
    place = Place(name="Nowhere", kind="air-cured barn", tiers=3, runs=4, run_length="60 ft",
                  stick_spacing="18 in", volume="20000 ft3", free_from=DAY)  # fmt: skip
    assert what_changed(before, before, [News("place", place, is_taken_back=False)]) == ()


# --- planning again -------------------------------------------------------------------------------


@pytest.fixture
def office(tmp_path):
    with quick_office(tmp_path) as office:
        yield office


def test_an_entry_that_matters_starts_a_new_plan(office):
    """A cut does, a memo does not; each plan is kept with the hash of its inputs, once."""
    first = office.mark
    assert office.status().state == "ready"
    assert [one.seen_on for one in kept_plans(office.store, 2026)] == [date(2026, 9, 10)]
    write(office.store, [Change(Cut(lot="2 Bank", cut_on="2026-09-09", sticks=5))], who="Ann")
    office.look()
    office.wait()
    assert len(office.worked) == 2
    assert len(office.worked[1].cuts) == len(office.worked[0].cuts) + 1
    kept = kept_plans(office.store, 2026)
    assert kept[0].inputs == season_hash(office.worked[1])
    assert (mark_of(kept[1]), mark_of(kept[0])) == (first, office.mark)
    (said,) = office.changes_since(first)
    assert said == "2 Bank: 5 sticks were cut on 9 September; nothing moves."
    assert office.changes_since(office.mark) == ()
    assert office.changes_since("") == (said,), "nobody said what was seen: from the day's first"
    assert kept_plan(office.store, first).document.plan == (
        kept_plan(office.store, office.mark).document.plan
    )


def test_a_row_of_entries_makes_one_plan(office, monkeypatch):
    """It waits for a lull; and where there is none, no longer than it says."""
    monkeypatch.setattr(farm, "PAUSE", 1.5)
    for sticks in range(1, 6):
        write(office.store, [Change(Cut(lot="2 Bank", cut_on="2026-09-09", sticks=sticks))], "Ann")
        office.look()
    office.wait()
    assert [len(one.cuts) - len(office.worked[0].cuts) for one in office.worked] == [0, 5]
    monkeypatch.setattr(farm, "LONGEST", 0.1)
    write(office.store, [Change(Cut(lot="2 Bank", cut_on="2026-09-09", sticks=7))], "Ann")
    office.look()
    office.wait()
    assert len(office.worked) == 3


def test_contradictions_keep_the_last_plan(office):
    """Facts that cannot be are named; the plan before them stays, and mending them is enough."""
    wrong = Change(Cut(lot="2 Bank", cut_on="2026-09-09", sticks=90_000))
    write(office.store, [wrong], who="Ann")
    office.look()
    _until(lambda: office.status().state == "failed")
    assert "90000" in office.status().message
    assert office.plan is not None
    undone = Change(None, wrong.of, (wrong.id,), why="a slip", known_on=date(2026, 9, 10))
    write(office.store, [undone], who="Ann")
    office.look()
    _until(lambda: office.status().state == "ready")
    assert len(office.worked) == 1, "the facts are again those of the plan"


def test_books_that_contradict_themselves_open_to_be_mended(tmp_path):
    """There is no plan, and the page says why; once it is mended, there is one."""
    with quick_office(tmp_path) as office:
        wrong = Change(Cut(lot="2 Bank", cut_on="2026-09-09", sticks=90_000))
        write(office.store, [wrong], who="Ann")
    with open_store(tmp_path / "farm.db") as store:
        office = Quick(store)
        office.start()
        _until(lambda: office.status().state == "failed")
        assert (office.plan, "90000" in office.status().message) == (None, True)
        with served(office) as address:
            shown = httpx.get(address).text
            assert "Correct what it names in the books" in shown
            assert httpx.get(f"{address}/enter").status_code == 200
        undone = Change(None, wrong.of, (wrong.id,), "a slip", date(2026, 9, 10))
        write(store, [undone], who="Ann")
        office.look()
        office.wait()
        assert office.status().state == "ready"
        office.stop()


def test_the_journal_says_who_kept_a_plan(office):
    """Nobody typed it: the program signs."""
    (stored,) = nouns(office.store, Wanted("plan"))
    assert stored.entry.who == "Tierpole"
    assert entries(office.store, after=stored.entry.seq) == []


def _until(true):
    waiting = threading.Event()
    for _ in range(1000):
        if true():
            return
        waiting.wait(0.01)
    pytest.fail("waited in vain")


def test_papers_print_what_the_books_hold(tmp_path):
    """A licence entered stands in the packet and in the calendar, with the proof of the chain."""
    licence = Licence(
        name="Hemp cultivation", number="H-4711", authority="State department",
        valid_from="2026-03-01", expires_on="2026-12-15",
    )  # fmt: skip
    with quick_office(tmp_path) as office:
        write(office.store, [Change(licence)], who="Ann")
        filed = office.filed(is_proven=True)
        assert [one.number for one in filed.licences] == ["H-4711"]
        assert filed.proof is not None
        assert filed.proof.is_unbroken
        assert filed.proof.entries >= written(office)
        paper = office.paper("packet", Order(of="6 South bottom"))
        document = pypdfium2.PdfDocument(paper.pdf)
        text = " ".join(page.get_textpage().get_text_range() for page in document)
        assert "H-4711" in text
        assert "scenario file" not in text
        assert "20261215" in office.calendar()
