"""The crew's screens in Spanish: every text of them, chosen for each person, kept current."""

from __future__ import annotations

import re
from html import unescape

import httpx
import pytest

import languages
from books_office import form_of, quick_office
from page_server import served
from tierpole.office.entry import FORMS
from tierpole.office.people import Role
from tierpole.web.access import Gate
from tierpole.web.languages import NAMES, translator

SAME = {"final", "Mar", "Jun", "Jul", "Nov", "Sep", "Oct", "Feb", "Total CBD", "Total THC"}


def test_the_catalogues_are_current():
    """What `tools/languages.py` would write now is what is there."""
    stale = [path.name for path, data in languages.pages() if path.read_bytes() != data]
    assert stale == [], "refresh them: .venv/bin/python tools/languages.py"
    assert {path.parts[-3] for path, _ in languages.catalogues()} == set(NAMES) - {"en"}


@pytest.mark.parametrize("language", sorted(set(NAMES) - {"en"}))
def test_every_text_is_translated(language):
    """No text of the crew's screens is left out, or stands there in English."""
    say = translator(language)
    for text in languages.texts():
        assert say(text).strip(), text
        assert say(text) != text or text in SAME, text


def test_an_unknown_language_is_english():
    assert translator("xx")("Cut") == "Cut"


@pytest.fixture(scope="module")
def crew(tmp_path_factory):
    """A paired phone whose person speaks Spanish."""
    with quick_office(tmp_path_factory.mktemp("es")) as office:
        code = office.people.new_code("Rosa", Role.CREW, "es")
        gate = Gate(office.people, is_open=True)
        with served(office, gate) as address, httpx.Client(base_url=address) as client:
            client.get("/pair")
            client.post("/pair", data=form_of(client, "/pair") | {"code": code})
            yield client


def words_of(client, path):
    """What a reader sees of a page, without what the farm itself calls things."""
    text = re.sub(
        r"<(script|style|option|noscript)\b.*?</\1>", "", client.get(path).text, flags=re.S
    )
    return unescape(re.sub(r"<[^>]+>", "\n", text)).replace("\u00a0", " ")


@pytest.mark.parametrize("path", ["/crew", "/enter", *(f"/enter/{form.key}" for form in FORMS)])
def test_crew_screens_limits(crew, path):
    """No English text of the catalogue is left on a Spanish screen."""
    lines = {line.strip() for line in words_of(crew, path).splitlines()}
    english = {text for text in languages.texts() if translator("es")(text) != text}
    assert lines & english == set()
    assert '<html lang="es">' in crew.get(path).text


def test_an_entry_in_spanish(crew):
    """From the form to what was written, with slips told in the same language."""
    hidden = form_of(crew, "/enter/cut")
    slip = crew.post("/enter/cut", data=hidden | {"lot": "2 Bank", "sticks": "1,2", "cut_on": ""})
    assert "Palos cortados: tiene que ser un número entero de 1 a 100,000." in slip.text
    assert "Día: hay que contestar." in slip.text
    slip = crew.post("/enter/cut", data=hidden | {"lot": "Nowhere", "sticks": "6",
                                                  "cut_on": "2026-09-10"})  # fmt: skip
    assert "Lote: “Nowhere” no está en los libros" in slip.text
    told = hidden | {"lot": "2 Bank", "sticks": "6", "cut_on": "2026-09-10"}
    done = crew.post("/enter/cut", data=told, follow_redirects=True).text
    for said in ("Anotado.", "Cortado el", "Palos", "Deshacer"):
        assert said in done


def test_each_person_chooses(crew):
    """The choice is kept with the phone."""
    hidden = form_of(crew, "/enter/cut")
    crew.post("/language", data=hidden | {"language": "en"})
    assert "What happened?" in crew.get("/enter").text
    crew.post("/language", data=hidden | {"language": "es"})
    assert "¿Qué pasó?" in crew.get("/enter").text
    assert crew.post("/language", data=hidden | {"language": "xx"}).status_code == 422


def test_a_phone_that_is_to_be_paired_speaks_its_own_language(crew):
    """Before anybody is known the browser's language is spoken, also of what is refused."""
    with httpx.Client(base_url=crew.base_url, headers={"accept-language": "es-MX,en"}) as phone:
        page = phone.get("/pair").text
        assert '<html lang="es">' in page
        assert "Vincular este teléfono" in page
        wrong = phone.post("/pair", data=form_of(phone, "/pair") | {"code": "AAAABBBB"})
        assert "Ese código no existe" in wrong.text
        assert "No existe esa página." in phone.get("/guest/none").text
    with httpx.Client(base_url=crew.base_url, headers={"accept-language": "fr"}) as phone:
        assert '<html lang="en">' in phone.get("/pair").text
