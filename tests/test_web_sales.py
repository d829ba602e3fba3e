"""Sales over HTTP: the statement beside our reckoning, and panels as gates of a delivery."""

from __future__ import annotations

import httpx
import pytest

from books_office import form_of, quick_office, written
from page_server import served
from tierpole.farm.books import (
    Bag,
    Delivery,
    InputUse,
    Operation,
    Panel,
    Sale,
    Settlement,
)
from tierpole.office.acres import acres_of
from tierpole.office.kept import kept_last
from tierpole.office.sales import sale_desk
from tierpole.records import Change, Wanted, nouns, read_season, write


@pytest.fixture
def office(tmp_path):
    with quick_office(tmp_path) as office:
        yield office


@pytest.fixture
def client(office):
    with served(office) as address, httpx.Client(base_url=address) as client:
        client.get("/enter")
        yield client


def say(client, form_name, **answers):
    """Answer the form of a kind of noun; it is written down."""
    answer = sent(client, form_name, **answers)
    assert answer.status_code == 303, answer.text
    return answer


def sent(client, form_name, **answers):
    path = f"/enter/any-{form_name}"
    return client.post(path, data=form_of(client, path) | answers)


def bagged(office, lot="2 Bank", **panels):
    """A bag of a lot in store, with what its panels say."""
    said = [Bag(name="B1", lot=lot, filled_on="2026-09-01", mass=450.0, moisture=0.1)]
    if panels:
        about = {"lot": lot, "sampled_on": "2026-09-01", "reported_on": "2026-09-03"}
        said.append(Panel(laboratory="Hill Lab", **about, **panels))
    write(office.store, [Change(one, known_on=office.season.on) for one in said], "Ann")


def plain(answer):
    return answer.text.replace("\u00a0", " ").replace("\u2060", "")


def test_a_sale_from_its_terms_to_its_money(office, client):
    """Terms, delivery, statement and payment are entered; the difference stands at its cause."""
    bagged(office)
    assert "Nothing is sold yet" in client.get("/sales").text
    say(client, "sale", name="First", buyer="Mill", agreed_on="2026-09-02",
               form="by the point", price_point="1.40 USD/point/lb", due_days="30")  # fmt: skip
    say(client, "test", lot="2 Bank", kind="final", sampled_on="2026-09-02", plants="5",
               reported_on="2026-09-04", total_thc="0.2 %", total_cbd="7.2 %")  # fmt: skip
    said = {"sale": "First", "mass": "1000 lb", "moisture": "14 %"}
    say(client, "delivery", delivered_on="2026-09-05", bags="B1", **said)
    page = plain(client.get("/sales/First"))
    assert "by the contract $9,632.00 is owed" in page
    say(client, "settlement", sale="First", settled_on="2026-09-08", mass="950 lb",
               total_cbd="7.0 %", deductions="110 USD", due="9200 USD")  # fmt: skip
    say(client, "payment", sale="First", paid_on="2026-09-09", amount="5000 USD")
    page = plain(client.get("/sales/First"))
    assert "Part paid: $5,000.00 of $9,200.00 came, the rest is due 8 October" in page
    assert "$432.00 less than we reckon" in page
    for cause in ("−$56.00", "−$266.00", "−$110.00"):
        assert cause in page
    listed = plain(client.get("/sales"))
    assert "Mill owes $4,200.00 for First." in plain(client.get("/"))
    assert "$5,000.00 came for what was sold, $4,200.00 is still to come." in listed


def test_a_failed_panel_keeps_a_delivery_back(office, client):
    """Nothing is written until it is said why it goes out all the same; both stay to be seen."""
    bagged(office, microbes_pass=False, metals_pass=True)
    write(office.store, [Change(Sale(name="First", buyer="Mill", agreed_on="2026-09-01",
                                     form="flat", price_flat=6.0))], "Ann")  # fmt: skip
    said = {"sale": "First", "delivered_on": "2026-09-05", "bags": "B1", "mass": "990 lb"}
    before = written(office)
    refused = sent(client, "delivery", **said)
    assert refused.status_code == 422
    assert "2 Bank: microbes failed in the sample of 1 September." in plain(refused)
    assert written(office) == before
    say(client, "delivery", exception="sold to be burned", **said)
    page = plain(client.get("/sales/First"))
    assert "2 Bank: microbes failed" in page
    assert "sold to be burned" in page


@pytest.mark.parametrize(
    ("panels", "days", "said"),
    [
        ({"metals_pass": True}, None, "Mill asks for pesticides, and none is reported."),
        ({"pesticides_pass": True}, 2.0, "4 days before, and Mill takes 2."),
        ({"pesticides_pass": True}, None, None),
    ],
    ids=["missing", "too old", "sound"],
)
def test_a_panel_that_is_missing_or_old_warns(office, client, panels, days, said):
    bagged(office, "1 River", **panels)  # it passed its official sample
    terms = Sale(name="First", buyer="Mill", agreed_on="2026-09-01", form="flat", price_flat=6.0,
                 panels=("pesticides",), panel_days=days)  # fmt: skip
    write(office.store, [Change(terms)], "Ann")
    say(client, "delivery", sale="First", delivered_on="2026-09-05", bags="B1",
               mass="990 lb")  # fmt: skip
    page = plain(client.get("/sales/First"))
    assert (said or "Statement") in page
    assert ("To look at" in page) == (said is not None)


def test_a_panel_of_the_mother_lot_does_not_count(office, client):
    """Remediated material is a lot of its own and needs its own panels."""
    bagged(office, lot="1 River", pesticides_pass=True)
    say(client, "remediation", name="1 River shredded", lot="1 River", done_on="2026-09-02",
               method="flower removed and destroyed", mass="400 lb", moisture="10 %")  # fmt: skip
    bag = Bag(name="R1", lot="1 River shredded", filled_on="2026-09-03", mass=180.0, moisture=0.1)
    terms = Sale(name="First", buyer="Mill", agreed_on="2026-09-01", form="flat", price_flat=1.0,
                 panels=("pesticides",))  # fmt: skip
    write(office.store, [Change(bag), Change(terms)], "Ann")
    say(client, "delivery", sale="First", delivered_on="2026-09-05", bags="R1", mass="390 lb")
    page = plain(client.get("/sales/First"))
    assert "1 River shredded: Mill asks for pesticides" in page


def test_there_is_no_such_sale(client, office):
    assert client.get("/sales/None").status_code == 404
    assert [one for one in nouns(office.store, Wanted("sale")) if one.noun.name == "None"] == []


def test_did_the_acre_pay(office, client):
    """Two lots of one sale, worked by hand: dry matter shares the money, area the common costs."""
    season = read_season(office.store)
    lots = {lot.name: lot.area for lot in season.lots}
    wage = season.crew.wage
    sold = {"sale": "First", "mass": 300.0}
    said = [
        Bag(name="B1", lot="2 Bank", filled_on="2026-09-01", mass=100.0, moisture=0.10),
        Bag(name="B2", lot="1 River", filled_on="2026-09-01", mass=200.0, moisture=0.55),
        Sale(name="First", buyer="Mill", agreed_on="2026-09-01", form="flat", price_flat=10.0),
        Delivery(**sold, delivered_on="2026-09-02", bags=("B1", "B2")),
        Settlement(**sold, settled_on="2026-09-05", due=2900.0),
        Operation(done_on="2026-09-01", task="weeding", lot="2 Bank", hours=36_000.0, cost=50.0),
        Operation(done_on="2026-09-01", task="mending the wagon", cost=300.0),
        InputUse(applied_on="2026-06-01", product="lime", amount="1 t", lot="1 River", cost=120.0),
    ]
    write(office.store, [Change(one, known_on=office.season.on) for one in said], "Ann")
    sales = sale_desk(office.store, 2026, season.on).every()
    found = acres_of(office.store, season, sales, kept_last(office.store))
    rows = {row.lot: row for row in found.lots}
    assert rows["2 Bank"].brought == pytest.approx(1450.0)  # 90 of 180 kg of dry matter
    assert rows["1 River"].brought == pytest.approx(1450.0)
    assert rows["2 Bank"].work == pytest.approx(50.0 + 36_000.0 * wage)
    assert rows["1 River"].inputs == pytest.approx(120.0)
    shared = {name: 300.0 * area / sum(lots.values()) for name, area in lots.items()}
    assert {name: row.shared for name, row in rows.items()} == pytest.approx(shared)
    assert found.whole.hours == pytest.approx(10.0)
    assert found.missing == ("what plants cost", "hours of stripping")
    left = 2900.0 - 470.0 - 36_000.0 * wage
    assert found.whole.left == pytest.approx(left)
    assert found.whole.left_per_acre == pytest.approx(left / (sum(lots.values()) / 4046.8564224))
    assert found.planned is not None
    page = plain(client.get("/acres"))
    assert "By the books an acre" in page
    assert "Not in the books:</strong> what plants cost; hours of stripping." in page
