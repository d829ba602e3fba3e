"""Short forms of what is sold and stored: in the order of the paper, each making what it says."""

from __future__ import annotations

import re

import httpx
import pytest

from books_office import form_of, quick_office, written
from page_server import served
from tierpole.farm.books import Bag, BagMove, Delivery, Payment, Sale, Settlement
from tierpole.office.entry import FORMS, SELLING
from tierpole.office.people import Role
from tierpole.records import Change, Wanted, nouns, write
from tierpole.units import POUND
from tierpole.web.access import Gate

SPOT = {"buyer": "Mill", "name": "Mill 1", "agreed_on": "2026-09-09", "bags": "B1, B2",
        "mass": "1,240", "price_flat": "$8", "amount": "9,920"}  # fmt: skip
AGREED = {"buyer": "Mill", "name": "Oil", "agreed_on": "2026-09-02", "form": "by the point",
          "price_point": "1.40", "panels": "pesticides, metals", "due_days": "30",
          "moisture": "11"}  # fmt: skip


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("selling")) as office:
        bags = [Bag(name=name, lot="2 Bank", filled_on="2026-09-01", mass=200.0, moisture=0.1)
                for name in ("B1", "B2", "B3")]  # fmt: skip
        write(office.store, [Change(one, known_on=office.season.on) for one in bags], "Ann")
        yield office


@pytest.fixture(scope="module")
def client(office):
    with served(office) as address, httpx.Client(base_url=address, timeout=30) as client:
        client.get("/enter")
        yield client


def send(client, which, /, **answers):
    path = f"/enter/{which}"
    return client.post(path, data=form_of(client, path) | answers)


def held(office, kind):
    return [one.noun for one in nouns(office.store, Wanted(kind))]


def test_a_sale_on_the_spot_is_one_form(office, client):
    """Terms, load and money of one day; it is settled as weighed, and taken back as one."""
    before = written(office)
    sent = send(client, "spot", **SPOT)
    assert sent.status_code == 303
    (sale,), (load,), (money,) = (held(office, kind) for kind in ("sale", "delivery", "payment"))
    assert sale == Sale(name="Mill 1", buyer="Mill", agreed_on="2026-09-09", form="flat",
                        is_contract=False, price_flat="8 USD/lb", mass="1240 lb")  # fmt: skip
    assert load == Delivery(sale="Mill 1", delivered_on="2026-09-09", bags=("B1", "B2"),
                            mass=1240 * POUND)  # fmt: skip
    assert money == Payment(sale="Mill 1", paid_on="2026-09-09", amount=9920.0)
    page = client.get("/sales/Mill 1").text.replace("\u00a0", " ")
    assert "$9,920.00" in page
    undo = form_of(client, sent.headers["location"])
    undone = client.post(f"{sent.headers['location']}/undo", data=undo)
    assert undone.status_code == 303, undone.text
    assert [held(office, kind) for kind in ("sale", "delivery", "payment")] == [[], [], []]
    assert written(office) == before + 6


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"price_flat": ""}, "This must be a sale with its price_flat"),
        ({"price_point": "1.40"}, "one of the two"),
        ({"agreed_on": "2099-01-01"}, "Day must be today or before"),
        ({"bags": ""}, "Bags, by their labels must be answered."),
        ({"mass": "heavy"}, "Weight on the scale must be a mass"),
    ],
    ids=["no price", "two prices", "tomorrow", "no bags", "no weight"],
)
def test_a_slip_writes_nothing(office, client, change, said):
    before = written(office)
    sent = send(client, "spot", **SPOT | {"name": "Mill 2"} | change)
    assert sent.status_code == 422
    assert said in sent.text.replace("&#34;", '"')
    assert written(office) == before


def test_from_the_terms_to_the_money(office, client):
    """Each form bears the sale it was opened from; what the last one said is offered again."""
    agreed = send(client, "agreed", **AGREED)
    assert agreed.status_code == 303
    (sale,) = held(office, "sale")
    assert (sale.form, sale.due_days, sale.moisture) == ("by the point", 30.0, 0.11)
    assert sale.is_contract
    page = client.get("/sales/Oil").text
    links = re.findall(r'href="(/enter/[^"]+)"', page)
    assert links == ["/enter/delivered?sale=Oil", "/enter/statement?sale=Oil",
                     "/enter/paid?sale=Oil"]  # fmt: skip
    for path in links:
        assert '<option value="Oil" selected>' in client.get(path).text
    said = {
        "delivered": {"delivered_on": "2026-09-08", "mass": "430", "moisture": "12", "bags": "B3"},
        "statement": {"settled_on": "2026-09-09", "mass": "420 lb", "total_cbd": "7.1",
                      "due": "4,000"},
        "paid": {"paid_on": "2026-09-10", "amount": "$4,000"},
    }  # fmt: skip
    for form, answers in said.items():
        assert send(client, form, sale="Oil", **answers).status_code == 303
    undone = client.post(f"{agreed.headers['location']}/undo",
                         data=form_of(client, agreed.headers["location"]))  # fmt: skip
    assert undone.status_code == 422
    assert "It was not taken back: what was written since names it." in undone.text
    assert [one.name for one in held(office, "sale")] == ["Oil"]
    assert held(office, "delivery")[-1].moisture == 0.12
    assert held(office, "settlement") == [
        Settlement(sale="Oil", settled_on="2026-09-09", mass="420 lb", total_cbd=0.071, due=4000.0)
    ]
    again = client.get("/enter/agreed").text
    assert re.search(r'id="buyer"[^>]*value="Mill"', again)
    assert re.search(r'id="name"[^>]*value=""', again)
    assert '<option value="by the point" selected>' in again


def test_bags_are_put_into_store(office, client):
    """Several at once; the store is offered again."""
    answers = {"bags": "B1, B2", "store": "Granary", "temperature": "58", "humidity": "55",
               "moved_on": "2026-09-09"}  # fmt: skip
    assert send(client, "stored", **answers).status_code == 303
    (moved,) = held(office, "move")
    assert moved == BagMove(bags=("B1", "B2"), moved_on="2026-09-09", store="Granary",
                            temperature="58 F", humidity=0.55)  # fmt: skip
    assert re.search(r'id="store"[^>]*value="Granary"', client.get("/enter/stored").text)


def test_money_is_the_owners(office, client):
    """The crew sees and opens the quick forms, none of what is sold for how much."""
    gate = Gate(office.people, is_open=True)
    with served(office, gate) as address, httpx.Client(base_url=address) as crew:
        code = office.people.new_code("Ben", Role.CREW, "en")
        crew.get("/pair")
        crew.post("/pair", data=form_of(crew, "/pair") | {"code": code})
        listed = crew.get("/enter").text
        for form in FORMS:
            assert f'href="/enter/{form.key}"' in listed
        for form in SELLING:
            assert f'href="/enter/{form.key}"' not in listed
            assert crew.get(f"/enter/{form.key}").status_code == 404
    listed = client.get("/enter").text
    assert all(f'href="/enter/{form.key}"' in listed for form in (*FORMS, *SELLING))
