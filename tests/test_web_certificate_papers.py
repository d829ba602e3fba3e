"""Certificates from PDFs and photos over HTTP: kept, offered, confirmed, judged as rows are."""

from __future__ import annotations

import io
import re
import zipfile

import pytest

from books_office import form_of, written
from made_certificates import HILL, RIDGE, pdf, photo, scanned
from tierpole.records import Wanted, content_key, nouns

pytest_plugins = ["books_pages"]

REST = {"own-kind": "pre-test", "own-plants": "20"}


def hand_in(client, data, laboratory="Hill Lab", name="coa.pdf"):
    hidden = form_of(client, "/certificates") | {"laboratory": laboratory}
    return client.post("/certificates", data=hidden, files={"file": (name, data)})


def shown(client, data, laboratory="Hill Lab"):
    """The page of a paper and what its form would send as it is shown."""
    page = client.get(hand_in(client, data, laboratory).headers["location"])
    assert page.status_code == 200
    said = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page.text))
    said |= dict(re.findall(r'name="(pick-\w+)" value="(\d+)" checked', page.text))
    for key, options in re.findall(r'<select id="(own-\w+)".*?>(.*?)</select>', page.text):
        chosen = re.search(r"<option selected>(.*?)</option>", options)
        said[key] = chosen[1] if chosen else ""
    return page.text, said


def confirmed(client, data, said):
    return client.post(f"/certificates/paper/{content_key(data)}", data=said)


def held(office, kind="test"):
    return [one.noun for one in nouns(office.store, Wanted(kind))]


def test_a_paper_is_confirmed_and_nothing_is_taken_before(office, client):
    """The offered candidates of the table, in percent, with the panels; then known by its hash."""
    data = pdf(HILL)
    before = len(held(office))
    page, said = shown(client, data)
    assert "“Δ9-THC 0.01 0.05 0.5”" in page
    assert len(held(office)) == before
    assert said["own-lot"] == "2 Bank"
    assert (said["own-unit"], said["own-basis"], said["own-microbes"]) == ("%", "dry", "fail")
    taken = confirmed(client, data, said | REST)
    assert "1 new certificate of Hill Lab." in taken.text
    test, panel = held(office)[-1], held(office, "panel")[-1]
    assert (test.total_thc, test.total_cbd) == pytest.approx((0.00243, 0.061))
    assert test.uncertainty == pytest.approx(0.0003)
    assert (str(test.sampled_on), str(test.reported_on)) == ("2026-09-01", "2026-09-04")
    assert test.paper == panel.paper == content_key(data)
    assert (panel.pesticides_pass, panel.microbes_pass) == (True, False)
    assert client.get(f"/content/{content_key(data)}").content == data
    page, said = shown(client, data)
    assert "This very paper was read before" in page
    assert "It is in the books already." in confirmed(client, data, said | REST).text
    assert len(held(office)) == before + 1
    assert [one.content for one in held(office, "attachment")].count(content_key(data)) == 1


def test_another_layout_in_mg_as_received(client, office):
    """Cards above a table; non-detects with the table's own limit; reckoned to dry weight."""
    data = pdf(RIDGE)
    _, said = shown(client, data, "Ridge Testing")
    mixed = confirmed(client, data, said | REST | {"own-unit": "%"}).text
    assert "Pick all from columns of one unit." in mixed
    taken = confirmed(client, data, said | REST)
    assert "1 new certificate of Ridge Testing." in taken.text
    assert held(office)[-1].total_thc == pytest.approx(0.00194 / (1 - 0.101))
    office.wait()
    _, again = shown(client, pdf(RIDGE.replace("8, 2026", "9, 2026")), "Ridge Testing")
    percents = {"pick-thca": "12", "pick-delta9_thc": "9", "pick-total_thc": "0"}
    percents |= {"pick-total_cbd": "0", "pick-cbd": "14", "pick-cbda": "16"}
    percents |= {"pick-quantification": "0", "own-unit": "%", "own-sampled_on": "2026-09-05"}
    assert "1 new certificate" in confirmed(client, data, again | REST | percents).text
    _, later = shown(client, data, "Ridge Testing")
    assert later["own-unit"] == "%"  # as it was chosen last
    assert later["pick-thca"] == "12"


@pytest.mark.parametrize(
    ("edit", "reason"),
    [
        (("[0.243]", "[0.27]"), "without the factor 0.877"),
        (("09/04/2026", "08/04/2026"), "on or after the sampling day"),
    ],
)
def test_contradictions_are_refused_as_in_a_file(client, office, edit, reason):
    """With what was picked and written still there."""
    assert edit[0] in HILL
    data = pdf(HILL.replace(*edit))
    _, said = shown(client, data)
    before = written(office)
    answer = confirmed(client, data, said | REST)
    assert answer.status_code == 422
    assert reason in answer.text.replace("\u00a0", " ")
    assert 'value="20"' in answer.text
    assert written(office) == before


def test_what_is_written_counts_before_what_is_picked(client, office):
    data = pdf(HILL)
    _, said = shown(client, data)
    confirmed(client, data, said | REST | {"own-uncertainty": "0.05"})
    assert held(office)[-1].uncertainty == pytest.approx(0.0005)


@pytest.mark.parametrize("make", [scanned, photo, lambda text: photo(text, "PNG")],
                         ids=["scan", "JPEG", "PNG"])  # fmt: skip
def test_a_picture_is_shown_beside_an_empty_form(client, office, make):
    """It says that nothing could be read, and what is typed is judged all the same."""
    data = make(HILL)
    page, said = shown(client, data)
    assert "There is no text in it that could be read for you" in page
    assert not any(key.startswith("pick-") for key in said)
    typed = {"own-lot": "2 Bank", "own-sampled_on": "2026-09-01", "own-reported_on": "2026-09-04",
             "own-unit": "%", "own-basis": "dry", "own-total_thc": "0.21"}  # fmt: skip
    assert "1 new certificate" in confirmed(client, data, said | REST | typed).text
    assert held(office)[-1].total_thc == pytest.approx(0.0021)
    source = re.search(r'(?:<image href|<img src)="([^"]+)"', page)
    assert client.get(source[1]).headers["content-type"].startswith("image/")


def _bomb():
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("coa.csv", b"0" * 50_000_000)
    return held.getvalue()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"%PDF-1.7 but no more", "is broken"),
        (_bomb(), "CSV file"),
        (b"MZ\0\0 a program", "CSV file"),
        (b"%PDF-" + b"0" * 12_500_000, "12 MB at most"),
    ],
    ids=["no PDF", "zip bomb", "program", "large"],
)
def test_bad_uploads_are_refused_with_the_reason(client, office, data, said):
    before = written(office)
    answer = hand_in(client, data)
    assert answer.status_code == 422
    assert said in answer.text.replace("\u00a0", " ")
    assert written(office) == before


@pytest.mark.parametrize(
    ("name", "kept"),
    [("../../etc/passwd.pdf", "passwd.pdf"), ("C:\\coa\\x.pdf", "x.pdf"), ("=1+1.pdf", "=1+1.pdf")],
)
def test_names_of_files_lead_nowhere(client, office, name, kept):
    """Folders are left out of a name; one that begins as a formula is a text in every table."""
    hand_in(client, pdf(HILL), name=name)
    assert held(office, "attachment")[-1].name == kept


@pytest.mark.parametrize("path", ["x", "0" * 64, "x/0.png", f"{'0' * 64}/0.png"])
def test_papers_that_are_not_there(client, path):
    assert client.get(f"/certificates/paper/{path}?laboratory=Hill").status_code == 404


def test_panels_of_a_file_stand_beside_its_potency(client, office):
    """A CSV with a column for each panel writes both; one without potency only the panels."""
    text = ("Sample,Sampled,Reported,Total THC,Pesticides,Heavy metals,Mycotoxins,Microbial\n"
            "2 Bank,9/1/2026,9/4/2026,0.24,Pass,PASS,NT,Fail\n"
            "1 River,9/1/2026,9/4/2026,,Pass,,,\n")  # fmt: skip
    page = hand_in(client, text.encode(), name="coa.csv").text
    told = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page))
    told |= {"csv": text, "always-kind": "pre-test", "always-plants": "20", "always-unit": "%",
             "always-basis": "dry"}  # fmt: skip
    for key, options in re.findall(
        r'name="(column-\w+)"><option value="">none</option>(.*?)</sel', page
    ):
        chosen = re.search(r"<option selected>(.*?)</option>", options)
        told[key] = chosen[1] if chosen else ""
    taken = client.post("/certificates/map", data=told).text
    assert "2 new certificates of Hill Lab." in taken
    assert held(office)[-1].lot == "2 Bank"
    both = [one for one in held(office, "panel") if one.laboratory == "Hill Lab"]
    said = [(one.lot, one.pesticides_pass, one.mycotoxins_pass, one.microbes_pass) for one in both]
    assert said == [("2 Bank", True, None, False), ("1 River", True, None, None)]
