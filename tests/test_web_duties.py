"""Duties over HTTP: what is filed leaves week and feed; what may leave the farm, and by what."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import icalendar
import pytest

import synthetic
from books_office import form_of, written
from tierpole.compliance import Due, LotState
from tierpole.documents import Filed, failed_lots
from tierpole.farm import Test, TestKind
from tierpole.farm.books import (
    Bag,
    Delivery,
    Disposal,
    Licence,
    Panel,
    Remediation,
    Report,
    Sale,
    Stripping,
)
from tierpole.office.gates import delivery_troubles
from tierpole.office.views import week
from tierpole.office.views.duties import ways_after_fail
from tierpole.records import Change, Wanted, nouns, read_season, write

pytest_plugins = ["books_pages"]

ABOUT = {"lot": "2 Bank", "sampled_on": "2026-08-24", "plants": 2, "uncertainty": 0.0004}
FAILED = Test(kind=TestKind.OFFICIAL, reported_on="2026-08-31", total_thc=0.0045, **ABOUT)
SALE = Sale(name="First", buyer="Mill", agreed_on="2026-08-20", form="flat", price_flat=6.0,
            panels=("pesticides",))  # fmt: skip
SHRED, STRIP = "whole plants shredded", "flower removed and destroyed"


def said(office, *every):
    """Written down at once, known on the day the season is seen."""
    write(office.store, [Change(one, known_on=date(2026, 9, 1)) for one in every], "Ann")


def sent(client, path, **answers):
    return client.post(path, data=form_of(client, path) | answers)


def plain(answer):
    return re.sub(r"\s+", " ", answer.text.replace("\u00a0", " ").replace("\u2060", ""))


def remedied(method=SHRED):
    return Remediation(name="2 Bank R", lot="2 Bank", done_on="2026-09-01", method=method,
                       mass=200.0, moisture=0.1)  # fmt: skip


def retest(share, **more):
    return Test(**ABOUT | {"lot": "2 Bank R", "sampled_on": "2026-09-01"} | more,
                kind=TestKind.REMEDIATION, reported_on="2026-09-02", total_thc=share)  # fmt: skip


BAG = Bag(name="R1", lot="2 Bank R", filled_on="2026-09-01", mass=180.0, moisture=0.1)
DELIVERY = {"sale": "First", "delivered_on": "2026-09-04", "bags": "R1", "mass": "390 lb"}


# --- filed ----------------------------------------------------------------------------------------


def test_a_report_is_written_down_from_its_day(office, client):
    """The week leads to the form with its kind and year; once it is sent, week and feed are rid of
    it, and the books hold it."""
    page = plain(client.get("/"))
    assert "Late, was due Fri 31 Jul:</b> Report the acres planted." in page
    feed = icalendar.Calendar.from_ical(client.get("/calendar.ics").text)
    names = [str(one["summary"]) for one in feed.walk("VEVENT")]
    assert "Late, was due Fri 31 Jul: Report the acres planted." in names
    (path,) = re.findall(r'href="(/enter/any-report\?[^"]*)"', client.get("/").text)[:1]
    form = plain(client.get(path.replace("&amp;", "&")))
    assert '<option value="acres planted" selected>' in form
    assert 'name="year" aria-describedby="year-hint" value="2026"' in form
    assert "Farm Service Agency" in form, "the rule itself stands beside the form"
    answer = sent(client, "/enter/any-report", kind="acres planted", filed_on="2026-07-29",
                  year="2026", number="FSA 12")  # fmt: skip
    assert answer.status_code == 303
    assert "Report the acres planted." not in plain(client.get("/"))
    assert "Report the acres planted." not in client.get("/calendar.ics").text
    assert "Send in the report of the year." in client.get("/calendar.ics").text
    assert "acres planted" in plain(client.get("/books?kind=report"))
    assert "Year</dt><dd>2026</dd>" in plain(client.get(answer.headers["location"]))
    assert "acres planted" not in plain(client.get("/books?kind=report&on=2026-07-01"))


def test_a_report_by_a_program_ends_the_day_too(office, client):
    """The same through the interface; its list of days says what is written down once done."""
    token = office.people.new_api_token("mill", "write")
    head = {"authorization": f"Bearer {token}"}
    days = client.get("/api/v1/deadlines", headers=head).json()
    late = next(one for one in days if one["report"] == "acres planted")
    assert (late["was_due"], late["is_at_once"]) == ("2026-07-31", False)
    value = {"kind": "acres planted", "filed_on": "2026-07-30"}
    assert client.post("/api/v1/report", headers=head, json={"value": value}).status_code == 201
    days = client.get("/api/v1/deadlines", headers=head).json()
    assert [one["report"] for one in days if one["report"]] == ["report of the year"]


def test_a_licence_that_ended_leads_to_its_next(office, client):
    """Late on the week, with the form of the next one half answered; then it is gone."""
    said(office, Licence(name="grower licence", number="7", authority="the department",
                         valid_from="2024-01-01", expires_on="2026-08-30"))  # fmt: skip
    page = client.get("/").text
    assert "Late, was due Sun 30" in plain(client.get("/"))
    path = re.findall(r'href="(/enter/any-licence[^"]*)"', page)[0].replace("&amp;", "&")
    form = client.get(path).text
    assert 'value="grower licence"' in form
    assert 'value="the department"' in form
    said(office, Licence(name="grower licence", number="8", authority="the department",
                         valid_from="2026-08-31", expires_on="2029-08-30"))  # fmt: skip
    assert "grower licence" not in client.get("/").text


# --- destroyed, remedied --------------------------------------------------------------------------


def test_the_form_of_a_disposal_is_led_by_the_rules(office, client):
    """It offers the ways the text names and another, with the rule, the notice and who decides."""
    form = plain(client.get("/enter/any-disposal?lot=2 Bank"))
    assert "USDA list of hemp disposal activities" in form
    assert "Tell the authority of the intent to dispose or remediate" in form
    assert "The state department of agriculture decides" in form
    assert form.count("<option") >= 8
    assert '<option value="another way">' in form
    form = plain(client.get("/enter/any-remediation"))
    assert "Shredded biomass is sampled and tested again" in form


@pytest.mark.parametrize(
    ("answers", "doubts"),
    [
        ({"method": "burned"}, ["department was told before"]),
        ({"method": "burned", "notice_on": "2026-09-01"}, []),
        ({"method": "another way", "note": "to the police", "notice_on": "2026-09-01"},
         ["do not name this way"]),
    ],
    ids=["not told", "told", "another way"],
)  # fmt: skip
def test_a_disposal_is_kept_and_its_doubts_are_told(office, client, answers, doubts):
    """What happened is written; what the rules ask and the books do not hold is said with it."""
    said(office, FAILED)
    answer = sent(client, "/enter/any-disposal", lot="2 Bank", disposed_on="2026-09-02",
                  plants="100", **answers)  # fmt: skip
    assert answer.status_code == 303
    page = plain(client.get(answer.headers["location"]))
    assert ("Look at this" in page) == bool(doubts)
    assert all(one in page for one in doubts)


def test_another_way_says_which(office, client):
    """Nothing is written before the note says what was done."""
    before = written(office)
    answer = sent(client, "/enter/any-disposal", lot="2 Bank", disposed_on="2026-09-02",
                  method="another way")  # fmt: skip
    assert answer.status_code == 422
    assert "note says which way it was" in plain(answer)
    assert written(office) == before


def test_a_notice_given_before_is_no_doubt(office, client):
    said(office, FAILED, Report(kind="what will be done with a failed lot", lot="2 Bank",
                                filed_on="2026-09-01"))  # fmt: skip
    answer = sent(client, "/enter/any-disposal", lot="2 Bank", disposed_on="2026-09-02",
                  method="burned")  # fmt: skip
    assert "Look at this" not in client.get(answer.headers["location"]).text


def test_a_correction_offers_what_was_said(office, client):
    """A way that the rules do not name stays what it is until somebody chooses another."""
    said(office, Disposal(lot="2 Bank", disposed_on="2026-09-01", method="another way",
                          note="to the police"))  # fmt: skip
    noun = nouns(office.store, Wanted("disposal"))[0].entry.of
    page = client.get(f"/books/noun/{noun}/correct").text
    assert '<option value="another way" selected>' in page


# --- what a sale demands --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("method", "share", "told"),
    [
        (SHRED, None, "no test of a sample taken since then is in the books"),
        (SHRED, 0.0034, None),
        (SHRED, 0.0045, "is over the limit: destroy it"),
        (STRIP, 0.0045, "is over the limit: destroy it"),
        (STRIP, None, None),
    ],
    ids=["no test", "passed", "failed", "stripped, failed", "stripped, no test"],
)
def test_remedied_material_is_sold_by_its_own_test(office, client, method, share, told):
    """The delivery of shredded plants is refused without a test, whatever reason is given."""
    said(office, FAILED, SALE, remedied(method), BAG)
    if share is not None:
        said(office, retest(share))
    before = written(office)
    answer = sent(client, "/enter/any-delivery", **DELIVERY, exception="the mill wants it")
    assert answer.status_code == (422 if told else 303)
    assert written(office) == before + (told is None)
    if told:
        page = plain(answer)
        assert told in page
        assert "7 CFR 990.24(f), 990.27" in page
        token = office.people.new_api_token("mill", "write")
        value = DELIVERY | {"bags": ["R1"], "exception": "the mill wants it"}
        answer = client.post("/api/v1/delivery", headers={"authorization": f"Bearer {token}"},
                             json={"value": value})  # fmt: skip
        assert answer.status_code == 422
        assert told in answer.json()["detail"] + str(answer.json()["faults"])


def test_a_failed_lot_is_not_sold(office, client):
    """Over the limit and nothing done about it: refused with the statute, and the sale warns of
    what went out before it was known."""
    bag = Bag(name="B1", lot="2 Bank", filled_on="2026-08-28", mass=180.0, moisture=0.1)
    said(office, SALE, bag)
    early = DELIVERY | {"bags": "B1", "delivered_on": "2026-08-29"}
    assert sent(client, "/enter/any-delivery", **early).status_code == 303
    said(office, FAILED)
    answer = sent(client, "/enter/any-delivery", **DELIVERY | {"bags": "B1"})
    assert answer.status_code == 422
    page = plain(answer)
    assert "2 Bank: its sample of 24 Aug is over the limit: bags must be of lots that" in page
    assert "1639o(1)" in page
    assert "no official certificate of it is in the books" in plain(client.get("/sales/First"))


def test_gates_limits_of_days_no_rulebook_covers(office):
    """Of a day before every text nothing can be said, and nothing breaks."""
    said(office, SALE, BAG.model_copy(update={"lot": "2 Bank"}))
    long_ago = Delivery(sale="First", delivered_on="1995-09-04", bags=("R1",), mass=1.0)
    assert [one.rule for one in delivery_troubles(office.store, long_ago)] == [""]


def test_a_season_is_read_without_remedied_material(office):
    """Its tests are of no lot of the field: they neither break the season nor teach it anything."""
    before = read_season(office.store).tests
    said(office, FAILED.model_copy(update={"reported_on": date(2026, 9, 9)}), remedied())
    said(office, retest(0.002))
    assert len(read_season(office.store).tests) == len(before) + 1


# --- before it is sold ----------------------------------------------------------------------------


def test_the_week_warns_of_what_is_in_store(office, client):
    """What a buyer with an open sale asks for and misses, what failed, what has no certificate;
    each once, and gone when it is mended or has left the farm."""
    assert "Before it is sold" not in client.get("/").text
    bag = Bag(name="B1", lot="1 River", filled_on="2026-09-01", mass=180.0, moisture=0.1)
    panel = Panel(lot="1 River", sampled_on="2026-08-20", reported_on="2026-08-25",
                  laboratory="Hill Lab", microbes_pass=False)  # fmt: skip
    said(office, SALE, bag, panel)
    page = plain(client.get("/"))
    assert "1 River: Mill asks for pesticides, and none is reported." in page
    assert 'href="/sales/First"' in page
    assert page.count("1 River: microbes failed in the sample of 20 August.") == 1
    assert 'href="/books?lot=1%20River"' in page
    sound = {"sampled_on": "2026-08-26", "reported_on": "2026-09-01", "laboratory": "Hill Lab"}
    said(office, Panel(lot="1 River", microbes_pass=True, pesticides_pass=True, **sound))
    assert "Before it is sold" not in client.get("/").text


@pytest.mark.parametrize(
    ("nouns_said", "told"),
    [
        ((remedied(),), "2 Bank R: remedied on 1 Sep (whole plants shredded), and no test"),
        ((remedied(), retest(0.002)), ""),
        ((Stripping(lot="2 Bank", stripped_on="2026-09-01", mass=9.0, moisture=0.1),),
         "2 Bank: its sample of 24 Aug is over the limit."),
        ((Stripping(lot="2 Bank", stripped_on="2026-08-31", mass=9.0, moisture=0.1), remedied(),
          retest(0.002)), ""),
    ],
    ids=["not tested", "tested", "stripped", "stripped and remedied"],
)  # fmt: skip
def test_the_week_warns_of_material_not_bagged_yet(office, client, nouns_said, told):
    said(office, FAILED, *nouns_said)
    page = plain(client.get("/"))
    assert ("Before it is sold" in page) == bool(told)
    assert told in page


def test_what_failed_again_is_to_be_destroyed(office, client):
    """The week asks for it until it is told; then to do it, then to send the proof."""
    said(office, FAILED, remedied(), retest(0.0045))
    page = plain(client.get("/"))
    assert "2 Bank R is still over the limit after its remedy. It is to be destroyed." in page
    assert "It is destroyed" in page
    assert "It is remedied" not in page
    said(office, Report(kind="what will be done with a failed lot", lot="2 Bank R",
                        filed_on="2026-09-02"))  # fmt: skip
    page = plain(client.get("/"))
    assert "still over the limit" not in page
    assert "Do with 2 Bank R what the department was told, and write it down." in page
    said(office, Disposal(lot="2 Bank R", disposed_on="2026-09-02", method="burned"))
    page = plain(client.get("/"))
    assert "Do with 2 Bank R" not in page
    assert "Send the department the proof of what was done with 2 Bank R." in page
    said(office, Report(kind="what was done with a failed lot", lot="2 Bank R",
                        filed_on="2026-09-02"))  # fmt: skip
    assert "2 Bank R" not in plain(client.get("/")).replace("2 Bank R:", "")


# --- a lot of the field that failed ---------------------------------------------------------------

HOLLOW = FAILED.model_copy(update={"lot": "7 Hollow"})
TOLD = Report(kind="what will be done with a failed lot", lot="7 Hollow", filed_on="2026-09-01")
BURNED = Disposal(lot="7 Hollow", disposed_on="2026-09-02", method="burned")


@pytest.mark.parametrize(
    ("filed", "decide", "do", "waits"),
    [
        (Filed(reports=()), True, False, Due.NOTICE),
        (Filed(reports=(TOLD,)), False, True, None),
        (Filed(reports=(TOLD,), disposals=(BURNED,)), False, False, Due.DISPOSAL_REPORT),
        (Filed(), True, False, Due.NOTICE),
    ],
    ids=["nothing", "told", "destroyed", "no books"],
)
def test_a_failed_lot_is_led_through(filed, decide, do, waits):
    """First its path is to be decided, then to be gone, then proved; each with its forms."""
    season, plan = synthetic.season(), synthetic.plan()
    season = replace(season, tests=(*season.tests, HOLLOW))
    hot = {"state": LotState.FAILED, "sample_on": None, "request_on": None, "cuts": ()}
    lots = [replace(one, **hot) if one.lot == "7 Hollow" else one for one in plan.lots]
    made = week(season, synthetic.outlook(), replace(plan, lots=tuple(lots)), "us", filed)
    ask = [one for one in made.decide if "7 Hollow" in one.what]
    tell = [one for one in made.todo if "7 Hollow" in one.what]
    assert (bool(ask), bool(tell)) == (decide, do)
    ways = [way for one in (*ask, *tell) for way in one.ways]
    assert [way.label for way in ways] == ([] if filed.reports is None else [
        *(["The department is told"] if decide else []),
        *(["It is destroyed", "It is remedied"] if decide or do else []),
    ])  # fmt: skip
    assert all(("lot", "7 Hollow") in way.query for way in ways)
    (date_row,) = [one for one in made.dates if "7 Hollow" in one.what] or [None]
    assert (date_row is None) == (waits is None)
    assert len(date_row.ways if date_row else ()) == (waits is not None and filed != Filed())


def test_a_book_without_remedies_leaves_only_to_destroy():
    """Where the rules give no way to save part of a lot, no form of a remedy is offered."""
    season = replace(synthetic.season(), tests=(HOLLOW,))
    (lot,) = failed_lots(season, Filed(reports=()))
    none = lot.book.remediation.model_copy(update={"value": ()})
    bare = replace(lot, book=lot.book.model_copy(update={"remediation": none}))
    assert [way.label for way in ways_after_fail(bare, Filed(reports=(TOLD,)))] == [
        "The department is told", "It is destroyed",
    ]  # fmt: skip
