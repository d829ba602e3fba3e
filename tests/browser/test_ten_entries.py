"""The ten commonest entries by keyboard alone, and every quick entry with a thumb on a phone."""

from __future__ import annotations

import pytest

from open_farm import open_farm
from tierpole.farm import Hanging
from tierpole.farm.books import Bag
from tierpole.office.entry import FORMS
from tierpole.office.people import Role
from tierpole.records import Change, Wanted, nouns, write

LOT, PLACE, STICKS = "2 Bank", "Shed", "2 Bank, Shed"
# what is typed, question by question, and what the books must then hold of which kind
TYPED = {
    "cut": ({"lot": LOT, "sticks": "23", "hours": "2 1/2"}, "cut", {"lot": LOT, "sticks": 23}),
    "hung": ({"lot": LOT, "place": PLACE, "tier": "1", "sticks": "17"}, "hanging",
             {"lot": LOT, "place": PLACE, "sticks": 17}),
    "air": ({"place": PLACE, "temperature": "68 F", "humidity": "71"}, "air",
            {"place": PLACE, "temperature": 20.0, "humidity": 0.71}),
    "weighed": ({"hanging": STICKS, "sticks": "3", "mass": "22 lb"}, "stick_weight",
                {"lot": LOT, "sticks": 3, "mass": 22 * 0.45359237}),
    "moisture": ({"hanging": STICKS, "moisture_flower": "31 %"}, "reading",
                 {"lot": LOT, "moisture_flower": 0.31}),
    "stripped": ({"lot": LOT, "mass": "44 lb", "moisture": "11 %"}, "stripping",
                 {"lot": LOT, "mass": 44 * 0.45359237, "moisture": 0.11}),
    "bag": ({"lot": LOT, "name": "2 Bank #7", "mass": "22 1/2 lb", "moisture": "10 %"}, "bag",
            {"lot": LOT, "name": "2 Bank #7", "mass": 22.5 * 0.45359237}),
    "scouting": ({"lot": LOT, "what": "bud rot", "share_of_plants": "5 %"}, "scouting",
                 {"lot": LOT, "what": "bud rot", "share_of_plants": 0.05}),
    "test": ({"lot": LOT, "kind": "pre-test", "total_thc": "0.24 %", "plants": "5"}, "test",
             {"lot": LOT, "total_thc": 0.0024, "plants": 5}),
    "down": ({"hanging": STICKS}, "hanging", {"lot": LOT, "sticks": 9}),
}  # fmt: skip
THUMBED = TYPED | {
    "flowering": ({"lot": LOT, "in_flower": "12", "looked_at": "40"}, "flowering",
                  {"lot": LOT, "in_flower": 12, "looked_at": 40}),
    "called": ({"lot": LOT, "requested_on": "2026-09-10", "sampled_on": "2026-09-15"}, "sample",
               {"lot": LOT}),
    "bag": ({"lot": LOT, "name": "2 Bank #8", "mass": "10 kg", "moisture": "10 %"}, "bag",
            {"name": "2 Bank #8", "mass": 10.0}),
    "gauge": ({"rain": "1 1/4 in", "temperature_lowest": "46 F", "read_at": "06:30"}, "gauge",
              {"rain": 31.75, "temperature_lowest": (46 - 32) / 1.8, "read_at": "06:30"}),
    "stored": ({"bags": "Left over", "store": "Granary", "humidity": "55"}, "move",
               {"bags": ("Left over",), "humidity": 0.55}),
    "freed": ({"place": PLACE, "free_from": "2026-09-09"}, "place", {"name": PLACE}),
}  # fmt: skip


@pytest.fixture(scope="module")
def farm(browser, tmp_path_factory):
    with open_farm(tmp_path_factory.mktemp("ten"), browser) as farm:
        bag = Bag(name="Left over", lot=LOT, filled_on="2026-09-01", mass=9.0, moisture=0.1)
        write(farm.office.store, [Change(bag)], "Ann")
        yield farm


@pytest.fixture
def hung(farm):
    """Nine sticks that can be weighed, read and taken down; the only ones of their lot."""
    for one in nouns(farm.office.store, Wanted("hanging")):
        if one.noun.lot == LOT:
            down = one.noun.model_copy(update={"down_on": farm.office.season.on})
            write(farm.office.store, [Change(down, one.entry.of, (one.entry.id,))], "Ann")
    hanging = Hanging(lot=LOT, place=PLACE, hung_on="2026-09-09", sticks=9)
    write(farm.office.store, [Change(hanging)], "Ann")


def held(farm, kind, wanted):
    """How many nouns of a kind say what is wanted."""
    return sum(
        all(getattr(noun, key) == pytest.approx(value) if isinstance(value, float)
            else getattr(noun, key) == value for key, value in wanted.items())
        for noun in farm.said(kind)
    )  # fmt: skip


def down(farm):
    return sum(noun.lot == LOT and noun.down_on is not None for noun in farm.said("hanging"))


def tab_to(page, selector):
    """Press Tab until something is reached; what is reached can be seen."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("one => document.activeElement.matches(one)", selector):
            box = page.evaluate("document.activeElement.getBoundingClientRect().height")
            assert box > 0
            return
    pytest.fail(f"Tab does not reach {selector}")


@pytest.mark.parametrize("key", TYPED)
def test_by_keyboard(farm, hung, key):
    """From the list of forms to the books with Tab, Enter and typing, and nothing else."""
    answers, kind, wanted = TYPED[key]
    before = down(farm) if key == "down" else held(farm, kind, wanted)
    page = farm.page(Role.CREW, width=1024)
    page.goto(f"{farm.address}/enter")
    tab_to(page, f".tiles a[href='/enter/{key}']")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/enter/{key}")
    for name, text in answers.items():
        tab_to(page, f"#{name}")
        page.keyboard.type(text)
    tab_to(page, "button.main")
    page.keyboard.press("Enter")
    page.wait_for_url("**/entered/*")
    after = down(farm) if key == "down" else held(farm, kind, wanted)
    assert after == before + 1
    assert page.troubles == []


@pytest.mark.parametrize("key", [form.key for form in FORMS])
def test_by_thumb(farm, hung, key):
    """Each quick entry tapped on a phone's screen; what is tapped is large enough and in view."""
    answers, kind, wanted = THUMBED[key]
    before = down(farm) if key == "down" else held(farm, kind, wanted)
    page = farm.page(Role.CREW, width=390, has_touch=True, is_mobile=True)
    page.goto(f"{farm.address}/enter")
    page.locator(f".tiles a[href='/enter/{key}']").tap()
    page.wait_for_url(f"**/enter/{key}")
    for name, text in answers.items():
        asked = page.locator(f"#{name}")
        assert asked.bounding_box()["height"] >= 48
        if asked.evaluate("one => one.tagName") == "SELECT":
            options = asked.locator("option").all_inner_texts()
            asked.select_option(label=next(one for one in options if one.startswith(text)))
        else:
            asked.tap()
            asked.fill(text)
    page.locator("button.main").tap()
    page.wait_for_url("**/entered/*")
    after = down(farm) if key == "down" else held(farm, kind, wanted)
    assert after >= before + (key != "freed")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.troubles == []
