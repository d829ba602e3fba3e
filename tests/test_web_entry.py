"""Entering over HTTP: forms that need no script, numbers as people write them, nothing lost."""

from __future__ import annotations

import re
from uuid import UUID, uuid4

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from books_office import form_of, quick_office, written
from fake_office import FakeOffice
from page_server import served
from tierpole.farm.books import Memo
from tierpole.office.entry import FORMS, SELLING
from tierpole.office.entry.desk import by_hand
from tierpole.office.entry.groups import GROUPS
from tierpole.records import Change, Wanted, entries, history, nouns, seal, standing, verify, write
from tierpole.units import ACRE, POUND

PNG = b"\x89PNG\r\n\x1a\n" + b"0" * 64


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("entry")) as office:
        yield office


@pytest.fixture(scope="module")
def client(office):
    with served(office) as address, httpx.Client(base_url=address) as client:
        client.get("/enter")  # the visit's cookie
        yield client


def send(client, form, files=None, **answers):
    """Answer a form as a browser would."""
    return client.post(
        f"/enter/{form}", data=form_of(client, f"/enter/{form}") | answers, files=files
    )


def newest(office, kind):
    return nouns(office.store, Wanted(kind))[-1]


# --- quick entries --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("form", "answers", "kind", "said"),
    [
        ("cut", {"lot": "2 Bank", "sticks": "12", "hours": "2 1/2", "cut_on": "2026-09-10"}, "cut",
         {"sticks": 12}),
        ("cut", {"lot": "2 Bank", "sticks": "3", "hours": "150 min", "cut_on": "2026-09-10"},
         "operation", {"task": "cut", "hours": 9000.0}),
        ("stripped", {"lot": "1 River", "mass": "1,200 lb", "moisture": "11",
                      "stripped_on": "2026-09-10"}, "stripping",
         {"mass": 1200 * POUND, "moisture": 0.11}),
        ("bag", {"lot": "1 River", "name": "R-1", "mass": "22 1/2", "moisture": "110 mg/g",
                 "filled_on": "2026-09-10"}, "bag", {"mass": 22.5 * POUND, "moisture": 0.11}),
        ("test", {"lot": "2 Bank", "kind": "pre-test", "total_thc": "0.24 %", "plants": "20",
                  "sampled_on": "2026-09-08", "reported_on": "2026-09-10"}, "test",
         {"total_thc": 0.0024, "plants": 20}),
        ("flowering", {"lot": "2 Bank", "in_flower": "12", "looked_at": "40",
                       "seen_on": "2026-09-10"}, "flowering", {"in_flower": 12}),
        ("called", {"lot": "2 Bank", "requested_on": "2026-09-10", "sampled_on": "2026-09-15"},
         "sample", {"lot": "2 Bank"}),
        ("any-field", {"name": "Creek", "night_offset": "-3 F"}, "field", {"name": "Creek"}),
        ("any-lot", {"name": "3 Creek", "field": "Creek", "variety": "Ridge Early", "area":
                     "2 1/2 acre", "set_on": "2026-06-08", "plants_set": "4,355",
                     "plants_per_stick": "3", "plant_yield": "0.8 lb"}, "lot",
         {"area": 2.5 * ACRE, "plants_set": 4355}),
    ],
)  # fmt: skip
def test_entry_limits(office, client, form, answers, kind, said):
    """What is typed reaches the books in SI, signed, on its own day."""
    if form == "any-lot":
        variety = nouns(office.store, Wanted("variety"))[0].noun.name
        answers = answers | {"variety": variety}
    sent = send(client, form, **answers)
    assert sent.status_code == 303, re.findall(r"<li>(.*?)</li>", sent.text)
    stored = newest(office, kind)
    for key, value in said.items():
        assert getattr(stored.noun, key) == pytest.approx(value), key
    assert stored.entry.who == "owner"
    shown = client.get(sent.headers["location"]).text
    assert "Written down." in shown
    assert "Take it back" in shown


def test_barn_entries_limits(office, client):
    """Hung on a tier, air, a weight, moisture, taken down, a place freed: each finds its noun."""
    place = nouns(office.store, Wanted("place"))[0]
    hung = {"lot": "2 Bank", "place": place.noun.name, "sticks": "9", "hung_on": "2026-09-10"}
    assert send(client, "hung", tier="1", **hung).status_code == 303
    assert newest(office, "tier").noun.tier == 1
    hanging = newest(office, "hanging")
    air = {"place": place.noun.name, "temperature": "46 F", "humidity": "82"}
    assert send(client, "air", read_on="2026-09-10", read_at="06:30", **air).status_code == 303
    assert newest(office, "air").noun.temperature == pytest.approx(46 / 1.8 - 32 / 1.8)
    of = {"hanging": str(hanging.entry.of), "read_on": "2026-09-10"}
    assert send(client, "weighed", sticks="4", mass="31 lb", **of).status_code == 303
    assert newest(office, "stick_weight").noun.hung_on == hanging.noun.hung_on
    assert send(client, "moisture", moisture_flower="24 %", **of).status_code == 303
    down = send(client, "down", hanging=str(hanging.entry.of), down_on="2026-09-10")
    assert down.status_code == 303
    assert str(standing(office.store, hanging.entry.of).noun.down_on) == "2026-09-10"
    assert len(history(office.store, hanging.entry.of)) == 2
    free = send(client, "freed", place=str(place.entry.of), free_from="2026-09-10")
    assert free.status_code == 303
    assert str(standing(office.store, place.entry.of).noun.free_from) == "2026-09-10"
    undone = client.post(
        f"{free.headers['location']}/undo", data=form_of(client, free.headers["location"])
    )
    assert undone.status_code == 303
    assert standing(office.store, place.entry.of).noun == place.noun


def test_photo_limits(office, client):
    """A photo comes with its note, is kept by its hash, and is shown, never run."""
    told = {"lot": "2 Bank", "what": "bud rot", "seen_on": "2026-09-10"}
    sent = send(client, "scouting", {"photo": ("../../x.png", PNG, "text/html")}, **told)
    assert sent.status_code == 303
    shown = client.get(f"/content/{newest(office, 'scouting').noun.photo}")
    assert (shown.content, shown.headers["content-type"]) == (PNG, "image/png")
    assert "sandbox" in shown.headers["content-security-policy"]
    assert shown.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    ("data", "status", "said"),
    [
        (b"<script>alert(1)</script>", 422, "must be a photo (JPEG, PNG, WebP) or a PDF"),
        (b"MZ" + b"\0" * 100, 422, "must be a photo"),
        (PNG + b"0" * 12_500_000, 422, "must be 12 MB at most"),
        (b"0" * 14_000_000, 413, "too large"),
    ],
)
def test_bad_uploads_are_refused(office, client, data, status, said):
    """By what they are, not by what they are called; nothing of the form is written."""
    before = written(office)
    told = {"lot": "2 Bank", "what": "bud rot", "seen_on": "2026-09-10"}
    sent = send(client, "scouting", {"photo": ("x.png", data, "image/png")}, **told)
    assert sent.status_code == status
    assert said in sent.text
    assert written(office) == before


# --- slips ----------------------------------------------------------------------------------------


def test_slips_are_shown_beside_what_was_typed(office, client):
    """All at once, in words, with the answers as they were; nothing was written."""
    before = written(office)
    sent = send(client, "cut", lot="2 Bank", sticks="1,2", hours="3 ft", cut_on="")
    assert sent.status_code == 422
    assert "Sticks cut must be a whole number from 1 to 100,000." in sent.text
    assert "Crew hours in all must be a time from 0 h to 5000 h, written in h, min, d." in sent.text
    assert "Day must be answered." in sent.text
    assert 'value="1,2"' in sent.text
    assert 'value="3 ft"' in sent.text
    unknown = send(client, "cut", lot="Nowhere", sticks="1", cut_on="2026-09-10")
    assert unknown.status_code == 422
    assert "Lot: “Nowhere” is not in the books, or not any more." in unknown.text
    assert written(office) == before


def test_a_form_sent_twice_is_written_once(office, client):
    """Its entry bears the form's own id."""
    hidden = form_of(client, "/enter/cut")
    told = hidden | {"lot": "2 Bank", "sticks": "7", "hours": "1", "cut_on": "2026-09-10"}
    first, again = (client.post("/enter/cut", data=told) for _ in range(2))
    assert first.headers["location"] == again.headers["location"]
    found = [e for e in entries(office.store, limit=100_000) if str(e.id) == hidden["entry"]]
    assert len(found) == 1
    other = client.post("/enter/cut", data=told | {"sticks": "8"})
    assert other.status_code == 422
    assert "an id of its own" in other.text


def test_undo_is_a_withdrawal_on_record(office, client):
    """Taken back once however often it is asked; the books keep both."""
    sent = send(client, "cut", lot="2 Bank", sticks="5", hours="1", cut_on="2026-09-10")
    where = sent.headers["location"]
    for _ in range(2):
        done = client.post(
            f"{where}/undo", data=form_of(client, where) or form_of(client, "/enter/cut")
        )
        assert done.status_code == 303
    told = history(office.store, UUID(where.rpartition("/")[2]))
    assert [entry.why for entry in told] == ["", "taken back"]
    assert told[-1].noun is None
    assert "Taken back." in client.get(where).text
    assert verify(office.store).is_sound


def test_defaults_come_from_the_last_entry(client):
    """The lot that was named last is chosen; an address can choose another."""
    send(client, "cut", lot="1 River", sticks="1", cut_on="2026-09-10")
    assert '<option value="1 River" selected>' in client.get("/enter/cut").text
    assert '<option value="2 Bank" selected>' in client.get("/enter/cut?lot=2 Bank").text
    assert 'value="2026-09-10"' in client.get("/enter/cut").text


@pytest.mark.parametrize(
    "form", [form.key for form in (*FORMS, *SELLING)] + [f"any-{k}" for k in by_hand()]
)
def test_every_form_opens_and_refuses_nothing_at_all(client, form):
    """Each form has a label for each question; sent empty, it says what is missing."""
    text = client.get(f"/enter/{form}", follow_redirects=True).text
    asked = set(re.findall(r'<label for="(\w+)"', text))
    ids = set(re.findall(r'<(?:input|select|textarea)[^>]* id="(\w+)"', text))
    assert asked == ids
    hidden = form_of(client, "/enter/cut")
    empty = client.post(f"/enter/{form}", data=hidden | dict.fromkeys(asked, ""))
    assert empty.status_code in (303, 422)


@given(
    form=st.sampled_from(
        [form.key for form in (*FORMS, *SELLING)] + [f"any-{kind}" for kind in by_hand()]
    ),
    data=st.data(),
)
def test_forms_simulated(client, form, data):
    """Whatever is typed, no form fails: it is written or refused."""
    page = client.get(f"/enter/{form}", follow_redirects=True)
    hidden = form_of(client, page.url.path)
    keys = re.findall(r'<label for="(\w+)"', page.text)
    odd = st.one_of(st.text(max_size=30), st.sampled_from(["1e400", "-1", "0x1", "½", "2026-13-40",
                    "1/0 lb", "99999999999999999999", "yes", str(uuid4()), "a, b"]))  # fmt: skip
    told = {key: data.draw(odd) for key in keys}
    sent = client.post(page.url.path, data=hidden | told)
    assert sent.status_code in (303, 422)


# --- the books ------------------------------------------------------------------------------------


def test_a_correction_keeps_the_old_value(office, client):
    """With who, when and why; what was not touched stays to the last digit."""
    lot = next(one for one in nouns(office.store, Wanted("lot")) if one.noun.name == "2 Bank")
    where = f"/books/noun/{lot.entry.of}"
    page = client.get(f"{where}/correct").text
    told = dict(re.findall(r'<input type="(?:text|date)" id="(\w+)"[^>]* value="([^"]*)"', page))
    told |= dict(re.findall(r'<textarea id="(\w+)"[^>]*>([^<]*)<', page))
    told |= {"field": lot.noun.field, "variety": lot.noun.variety, "stock": str(lot.noun.stock)}
    told |= form_of(client, f"{where}/correct") | {"plants_counted": "850"}
    assert "Say why it is corrected." in client.post(f"{where}/correct", data=told).text
    sent = client.post(f"{where}/correct", data=told | {"why": "counted on foot"})
    assert sent.status_code == 303
    now = standing(office.store, lot.entry.of).noun
    assert now == lot.noun.model_copy(update={"plants_counted": 850})
    shown = client.get(where).text
    assert "counted on foot" in shown
    assert "before:" in shown


def test_two_corrections_wait_for_a_decision(office, client):
    """Both are kept and shown; choosing one is an entry too."""
    lot = next(one for one in nouns(office.store, Wanted("lot")) if one.noun.name == "1 River")
    for who, plants in (("Ann", 700), ("Ben", 710)):
        noun = lot.noun.model_copy(update={"plants_counted": plants})
        write(office.store, [Change(noun, lot.entry.of, (lot.entry.id,), "counted")], who=who)
    where = f"/books/noun/{lot.entry.of}"
    assert "1 thing waits" in client.get("/books").text
    page = client.get(where).text
    assert "Take what Ben wrote" in page
    chosen = re.search(r'name="chosen" value="([\w-]+)">Take what Ben', page)[1]
    client.post(f"{where}/decide", data=form_of(client, where) | {"chosen": chosen})
    assert standing(office.store, lot.entry.of).noun.plants_counted == 710
    assert "for a decision" not in client.get("/books").text


def test_withdrawing_wants_a_reason(office, client):
    """Something is withdrawn with why, or not at all."""
    send(client, "any-memo", written_on="2026-09-10", text="a note")
    memo = newest(office, "memo")
    where = f"/books/noun/{memo.entry.of}"
    hidden = form_of(client, where)
    assert client.post(f"{where}/withdraw", data=hidden).status_code == 422
    done = client.post(f"{where}/withdraw", data=hidden | {"why": "not so"})
    assert done.status_code == 303
    assert standing(office.store, memo.entry.of) is None
    assert "Withdrawn." in client.get(where).text


def test_books_pages_limits(office, client):
    """Journal, filters, balance, chain, plans: what they say is what the books hold."""
    for number in range(60):
        write(office.store, [Change(Memo(written_on="2026-09-10", text=f"{number}"))], who="Ann")
    before = seal(office.store).seq
    book = client.get("/books").text
    assert any(f"{n} entries" in book for n in range(before, seal(office.store).seq + 1))
    only = client.get("/books?kind=cut&lot=2 Bank").text
    assert set(re.findall(r"<b>(\w+)</b>", only)) <= {"Cut"}
    older = re.search(r'href="(/books\?before=\d+[^"]*)"', book)
    assert client.get(older[1].replace("&amp;", "&")).status_code == 200
    assert "1 River" in client.get("/books/balance").text
    assert "Every link of the chain holds." in client.get("/books/check").text
    assert "2 Bank" in client.get("/packet/2 Bank").text
    mark = office.mark
    assert mark in client.get("/plans").text
    assert "looking from" in client.get(f"/plans/{mark}").text
    gone = ("/plans/zzz", "/books/noun/zzz", "/content/zzz", "/packet/none", "/enter/none",
            f"/books/noun/{uuid4()}", f"/entered/{uuid4()}", "/enter/any-plan")  # fmt: skip
    for path in gone:
        assert client.get(path).status_code == 404, path


def test_seen_changes_are_not_told_again(office, client):
    """A browser that has seen a plan is told what changed since; after that nothing."""
    send(client, "cut", lot="2 Bank", sticks="4", cut_on="2026-09-09")
    office.wait()
    assert "changed since you last looked" in client.get("/").text
    client.post("/seen", data=form_of(client, "/enter/cut"))
    assert "changed since you last looked" not in client.get("/").text


def test_a_scenario_takes_no_entries():
    """It says what to do instead."""
    with served(FakeOffice()) as address, httpx.Client(base_url=address) as client:
        for path in ("/enter", "/enter/cut", "/books", "/plans", "/crew"):
            answer = client.get(path)
            assert answer.status_code == 404
            assert "put it into books first" in answer.text or path == "/plans"
        assert ">Enter<" not in client.get("/").text


def test_units_limits(office, client):
    """The reader's own units are meant where none is written."""
    hidden = form_of(client, "/enter/stripped?units=metric")
    told = {"lot": "1 River", "mass": "100", "moisture": "11", "stripped_on": "2026-09-10"}
    client.post("/enter/stripped?units=metric", data=hidden | told)
    assert newest(office, "stripping").noun.mass == pytest.approx(100)


@pytest.mark.parametrize("path", ["/enter", "/enter/cut", "/books", "/packet/2 Bank", "/crew"])
def test_an_invented_farm_says_so_on_every_page(client, path):
    """Its entry pages and its packet, too, cannot be taken for those of a real farm."""
    assert "An invented farm." in client.get(path).text


def test_everything_else_is_listed_once_under_a_heading(client):
    """A kind that is new stands under one of the headings, or nobody finds its form."""
    listed = [name for _, names in GROUPS for name in names]
    assert sorted(listed) == sorted(by_hand())
    page = client.get("/enter").text
    assert [page.count(f'href="/enter/any-{name}"') for name in listed] == [1] * len(listed)
