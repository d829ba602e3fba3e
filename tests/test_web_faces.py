"""What each face is handed: codes as pictures, a guest's packet, a calendar, the crew's pages."""

from __future__ import annotations

import io
import re
from html import unescape

import httpx
import pytest

from books_office import form_of, quick_office
from page_server import served
from tierpole.office.people import Limit, Role
from tierpole.records import seal
from tierpole.web.access import Gate

SECRET = "four plain barn words"
FARM = "farm.example:8047"  # where phones find the pages, as their address bar says it


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("faces")) as office:
        office.people.set_passphrase(SECRET)
        yield office


@pytest.fixture(scope="module")
def address(office):
    never = Limit(10_000, 1.0, lambda: 0.0)
    with served(office, Gate(office.people, True, never, never)) as address:
        yield address


@pytest.fixture(scope="module")
def owner(address):
    with httpx.Client(base_url=address) as client:
        told = {"passphrase": SECRET} | form_of(client, "/sign-in")
        client.post("/sign-in", data=told)
        yield client


def read_codes(page):
    """The QR codes of a page, as another program reads them."""
    import typst
    import zxingcpp
    from PIL import Image

    found = []
    for inline in re.findall(r"<svg.*?</svg>", page, re.S):
        drawn = inline.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
        picture = typst.compile(
            b'#set page(width: 8cm, height: 8cm, margin: 0cm)\n'
            b'#image(bytes(sys.inputs.svg), format: "svg", width: 100%)',
            format="png", sys_inputs={"svg": drawn},
        )  # fmt: skip
        found += [one.text for one in zxingcpp.read_barcodes(Image.open(io.BytesIO(picture)))]
    return found


def make(owner, what, host=FARM, **told):
    """The page that answers a form of People, as read at an address."""
    headers = {"host": host}
    hidden = form_of(owner, "/people")
    return owner.post(f"/people/{what}", data=hidden | told, headers=headers)


def test_pairing_code_against_zxing(owner):
    """The picture leads to the pairing page; its code is behind `#`, which no server is sent."""
    answer = make(owner, "code", name="Dee", role="crew")
    code = re.search(r'class="code">([^<]+)<', answer.text)[1].replace(" ", "")
    assert read_codes(answer.text) == [f"http://{FARM}/pair#{code}"]
    label = re.search(r'role="img" aria-label="([^"]+)"', answer.text)[1]
    assert f"http://{FARM}/pair" in label
    assert f"{code[:4]} {code[4:]}" in label
    assert answer.headers["cache-control"] == "no-store"


def test_guest_link_against_zxing(owner):
    """The link as text and as a picture are one; it is shown on no later page."""
    answer = make(owner, "guest", name="Inspector", lot="2 Bank")
    link = re.search(r'class="seal">([^<]+)<', answer.text)[1]
    assert read_codes(answer.text) == [link]
    assert link.startswith(f"http://{FARM}/guest/")
    assert link.rpartition("/")[2] not in owner.get("/people").text


def test_a_computer_no_phone_finds_shows_no_picture(office):
    """While only this computer is listened to, the page says what to do instead."""
    with served(office) as address, httpx.Client(base_url=address) as client:
        answer = make(client, "code", host=address.removeprefix("http://"), name="Dee", role="crew")
        assert "--lan" in answer.text
        assert "<svg" not in answer.text


def test_guest_paper_against_pypdf(office, address, owner):
    """The guest's packet as PDF tells the lot and the seal of the chain, and of no other lot."""
    from pypdf import PdfReader

    with httpx.Client(base_url=address) as guest:
        guest.get(f"/guest/{office.people.new_guest('Inspector', '1 River')}")
        page = guest.get("/packet/1%20River").text
        link = re.search(r'href="(/paper/packet/[^"]+)"', page)[1]
        answer = guest.get(link)
        assert answer.headers["content-type"] == "application/pdf"
        text = " ".join(one.extract_text() for one in PdfReader(io.BytesIO(answer.content)).pages)
        told = re.sub(r"\s+", "", text)
        assert "1River" in told
        assert f"{seal(office.store).seq:,}" in told
        assert seal(office.store).hash[:12] in told
        assert "unbroken" in told
        for other in ("/paper/packet/2%20Bank", "/paper/packet.pdf?of=1%20River", "/people"):
            assert guest.get(other).status_code == 403
        lost = guest.get("/nothing").text
        assert "2 Bank" not in unescape(lost)
        assert "Home barn" not in unescape(lost)


def test_a_page_that_is_not_there_tells_nobody_the_farm(address):
    """A wrong link leads to a page that names no lot and no place."""
    lost = httpx.get(f"{address}/guest/none")
    assert lost.status_code == 404
    for name in ("2 Bank", "1 River", "Home barn"):
        assert name not in unescape(lost.text)


def test_calendar_feed_against_icalendar(office, address, owner):
    """Its address alone opens the calendar, read as another library reads it, until sent away."""
    from icalendar import Calendar

    answer = make(owner, "calendar", host=address.removeprefix("http://"), name="Ann's phone")
    path = re.search(r'class="seal">[^<]+(/calendar/[^<]+\.ics)<', answer.text)[1]
    token = path.removeprefix("/calendar/").removesuffix(".ics")
    assert token not in office.people.path.read_text("utf-8")
    assert token not in owner.get("/people").text
    with httpx.Client(base_url=address) as program:
        told = program.get(path)
        assert told.headers["content-type"] == "text/calendar; charset=utf-8"
        events = Calendar.from_ical(told.content).walk("VEVENT")
        assert len(events) > 3
        assert {str(one["UID"]) for one in events} == {
            str(one["UID"])
            for one in Calendar.from_ical(owner.get("/calendar.ics").content).walk("VEVENT")
        }
        assert program.post(path).status_code in (401, 405)
        assert program.get("/calendar.ics").status_code == 401
        assert program.get("/calendar/none.ics").status_code == 404
        (feed,) = office.people.feeds()
        owner.post("/people/away", data=form_of(owner, "/people") | {"who": feed.token})
        assert program.get(path).status_code == 404


def test_a_link_is_not_read_without_end(office):
    """So many looks a minute from one address; the owner's own are not counted."""
    gate = Gate(office.people, True, reads=Limit(2, 60.0, lambda: 0.0))
    path = f"/calendar/{office.people.new_feed('x')}.ics"
    with served(office, gate) as address, httpx.Client(base_url=address) as program:
        answers = [program.get(path).status_code for _ in range(3)]
        assert answers == [200, 200, 429]
        code = office.people.new_code("Ann", Role.OWNER, "en")
        program.post("/pair", data=form_of(program, "/pair") | {"code": code})
        assert [program.get("/calendar.ics").status_code for _ in range(3)] == [200] * 3


# --- the crew -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def crew(office, address):
    """A paired phone of somebody who reads Spanish."""
    with httpx.Client(base_url=address) as client:
        code = office.people.new_code("Rosa", Role.CREW, "es")
        client.post("/pair", data=form_of(client, "/pair") | {"code": code})
        yield client


def crew_pages(office):
    """Every page with which the crew works, and the papers behind them."""
    days = sorted({cut.day for cut in office.plan.cuts})[:3]
    places = [place.name for place in office.season.places]
    yield "/crew"
    yield from (f"/crew/day/{day}" for day in days)
    yield from (f"/place/{place}" for place in places)
    yield from (f"/crew/day/{day}.pdf" for day in days)
    yield from (f"/crew/map/{place}" for place in places)


def test_the_crew_sees_no_money(office, crew):
    """Neither on its pages, nor on its papers, nor as JSON; and it reads them in its language."""
    import pypdfium2

    for path in crew_pages(office):
        answer = crew.get(path)
        assert answer.status_code == 200, path
        if answer.headers["content-type"] == "application/pdf":
            pages = pypdfium2.PdfDocument(answer.content)
            text = " ".join(one.get_textpage().get_text_range() for one in pages)
        else:
            text = unescape(re.sub(r"<[^>]+>", " ", answer.text))
            assert '<html lang="es">' in answer.text
            assert "$" not in crew.get(path, params={"format": "json"}).text
        assert "$" not in text, path
        assert "dollar" not in text
        for english in ("sticks", "Tier", "door", "Take care", "Print"):
            assert english not in text, (path, english)


def test_the_crew_sees_its_plan(office, crew):
    """A day's page and a place's page name each cut of the plan, with its place and its sticks."""
    cut = office.plan.cuts[0]
    page = unescape(crew.get(f"/crew/day/{cut.day}").text)
    for said in (cut.lot, cut.place, f"{cut.sticks:,}", "Llene desde el fondo"):
        assert said in page
    page = unescape(crew.get(f"/place/{cut.place}").text)
    assert f"{cut.lot}, {cut.sticks} palos" in page
    assert crew.get("/crew/day/2031-01-01").status_code == 404
    assert crew.get("/crew/day/2031-01-01.pdf").status_code == 404
    assert crew.get("/place/Nowhere").status_code == 404


def test_the_owner_prints_both_languages(office, owner):
    """The same sheet in either language, whatever the owner reads."""
    import pypdfium2

    day = office.plan.cuts[0].day
    page = owner.get(f"/crew/day/{day}").text
    for language, said in (("en", "Take care"), ("es", "Cuidado")):
        link = re.search(rf'href="([^"]+language={language})"', page)[1]
        pages = pypdfium2.PdfDocument(owner.get(unescape(link)).content)
        assert said in " ".join(one.get_textpage().get_text_range() for one in pages)
