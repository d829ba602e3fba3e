"""The mass balance of a lot, worked by hand, and where a difference is said to arise."""

import pytest

from records_books import LOT, farm_of
from tierpole.farm import Cut, Hanging
from tierpole.farm import books as b
from tierpole.records import Change, mass_balance, write
from tierpole.units import POUND

pytest_plugins = ["records_server"]

# 3,660 ordered, 3,660 came with 40 dead, 3,484 set, 160 lost, 3,300 counted; 1,095 sticks of three
# plants cut and hung, 10 sticks weighed 180 lb green at 74.5 % water; the dry flower of all of them
# is 2,600 lb at 11 %, in 130 bags of 20 lb.
STICKS, BAGS = 1_095, 130
DRY = 2_600 * 0.89 * POUND


def story(**changed):
    bags = tuple(str(number) for number in range(BAGS))
    said = {
        "order": b.CloneOrder(name="A", ordered_on="2026-01-10", supplier="Nursery",
                              variety="Ridge Early", lot="4 Lane", plants=3_660),
        "arrival": b.Arrival(order="A", arrived_on="2026-06-05", plants=3_660, dead=40),
        "planting": b.Planting(lot="4 Lane", set_on="2026-06-08", plants=3_484),
        "loss": b.PlantLoss(lot="4 Lane", seen_on="2026-06-20", plants=160, cause="cutworm"),
        "cut": Cut(lot="4 Lane", cut_on="2026-09-20", sticks=STICKS),
        "hanging": Hanging(lot="4 Lane", place="Frame", hung_on="2026-09-20", sticks=STICKS,
                           down_on="2026-10-05"),
        "green": b.GreenWeight(lot="4 Lane", weighed_on="2026-09-20", sticks=10, mass="180 lb",
                               moisture="74.5 %"),
        "stripping": b.Stripping(lot="4 Lane", stripped_on="2026-10-06", sticks=STICKS,
                                 mass="2600 lb", moisture="11 %"),
        "bags": [b.Bag(name=name, lot="4 Lane", filled_on="2026-10-07", mass="20 lb",
                       moisture="11 %") for name in bags],
        "sale": b.Sale(name="S", buyer="Mill", agreed_on="2026-10-10", form="flat",
                       price_flat="3 USD/lb"),
        "delivery": b.Delivery(sale="S", delivered_on="2026-10-12", bags=bags, mass="2590 lb",
                               moisture="11 %"),
    }  # fmt: skip
    told = [one for one in (said | changed).values() if one is not None]
    return [noun for one in told for noun in (one if isinstance(one, list) else [one])]


@pytest.fixture
def balanced(store):
    """Books of the story; called with what differs from it, the lot's balance."""

    def after(is_closed=True, **changed):
        farm = farm_of(store)
        counted = LOT.model_copy(update={"plants_counted": 3_300})
        write(store, [Change(counted, farm["lot"].of, (farm["lot"].id,))], who="Ann")
        write(store, map(Change, story(**changed)), who="Ann")
        return mass_balance(store, "4 Lane", 2026, is_closed=is_closed)

    return after


def test_a_lot_that_adds_up(balanced):
    """Every step as worked by hand; nothing differs though the lot is closed."""
    balance = balanced()
    steps = {step.name: (step.went_in, step.came_out) for step in balance.steps}
    assert steps == {
        "arrived": (3_660, 3_660),
        "set": (3_620, 3_484),
        "alive": (3_324, 3_300),
        "cut": (3_300, 3_285),
        "hung": (1_095, 1_095),
        "on tiers": (1_095, None),
        "taken down": (1_095, 1_095),
        "stripped": (1_095, 1_095),
        "dried and stripped": (pytest.approx(18 * 0.255 * 1_095 * POUND), pytest.approx(DRY)),
        "bagged": (pytest.approx(DRY), pytest.approx(DRY)),
        "sold or destroyed": (pytest.approx(DRY), pytest.approx(DRY)),
        "on the buyer's scale": (pytest.approx(DRY), pytest.approx(2_590 * 0.89 * POUND)),
    }
    assert balance.differences == ()


@pytest.mark.parametrize(
    ("changed", "step", "rest"),
    [
        ({"arrival": b.Arrival(order="A", arrived_on="2026-06-05", plants=3_400)}, "arrived", 260),
        ({"loss": b.PlantLoss(lot="4 Lane", seen_on="2026-06-20", plants=800, cause="hail")},
         "alive", -616),
        ({"cut": Cut(lot="4 Lane", cut_on="2026-09-20", sticks=1_000)}, "cut", 300),
        ({"hanging": Hanging(lot="4 Lane", place="Frame", hung_on="2026-09-20", sticks=1_060,
                             down_on="2026-10-05")}, "hung", 35),
        ({"stripping": b.Stripping(lot="4 Lane", stripped_on="2026-10-06", sticks=1_000,
                                   mass="2600 lb", moisture="11 %")}, "stripped", 95),
        ({"green": b.GreenWeight(lot="4 Lane", weighed_on="2026-09-20", sticks=10, mass="80 lb",
                                 moisture="74.5 %")}, "dried and stripped", None),
        ({"stripping": b.Stripping(lot="4 Lane", stripped_on="2026-10-06", sticks=STICKS,
                                   mass="2900 lb", moisture="11 %")}, "bagged", 300 * 0.89 * POUND),
        ({"delivery": None}, "sold or destroyed", DRY),
    ],
)  # fmt: skip
def test_a_difference_is_shown_at_its_step(balanced, changed, step, rest):
    """One thing off, and the first step that differs is the one it happened at."""
    found = balanced(**changed).differences[0]
    assert found.name == step
    if rest is not None:
        assert found.rest == pytest.approx(rest)


def test_a_rest_waits_while_a_lot_is_open(balanced):
    """Plants that stand and bags in store are no difference, before the lot is closed."""
    balance = balanced(
        is_closed=False,
        cut=Cut(lot="4 Lane", cut_on="2026-09-20", sticks=500),
        hanging=Hanging(lot="4 Lane", place="Frame", hung_on="2026-09-20", sticks=400),
        stripping=None, bags=None, delivery=None,
    )  # fmt: skip
    assert balance.differences == ()
    rests = {step.name: step.rest for step in balance.steps}
    assert (rests["cut"], rests["hung"], rests["taken down"]) == (1_800, 100, None)


def test_more_out_than_in_is_a_difference_at_once(balanced):
    too_many = Hanging(lot="4 Lane", place="Frame", hung_on="2026-09-20", sticks=1_195)
    balance = balanced(is_closed=False, hanging=too_many)
    assert balance.differences[0].name == "hung"


def test_what_is_destroyed_has_gone_somewhere(balanced):
    """Plants plowed under, sticks burned, bags buried: each leaves at its own step."""
    gone = {"lot": "4 Lane", "disposed_on": "2026-10-20"}
    balance = balanced(
        cut=Cut(lot="4 Lane", cut_on="2026-09-20", sticks=1_000),
        hanging=Hanging(lot="4 Lane", place="Frame", hung_on="2026-09-20", sticks=1_000,
                        down_on="2026-10-05"),
        stripping=b.Stripping(lot="4 Lane", stripped_on="2026-10-06", sticks=950, mass="2600 lb",
                              moisture="11 %"),
        delivery=b.Delivery(sale="S", delivered_on="2026-10-12",
                            bags=tuple(str(n) for n in range(120)), mass="2390 lb",
                            moisture="11 %"),
        disposal=[
            b.Disposal(method="plowed under", plants=280, **gone),
            b.Disposal(method="burned", sticks=50, **gone),
            b.Disposal(method="buried", bags=tuple(str(n) for n in range(120, 130)), **gone),
        ],
    )  # fmt: skip
    assert [step.name for step in balance.differences] == []


def test_remediated_material_has_a_balance_of_its_own(store):
    """60 sticks shredded to 150 lb; 148 lb bagged of it under its new name."""
    farm_of(store)
    made = b.Remediation(
        name="4 Lane R", lot="4 Lane", done_on="2026-10-01", sticks=60,
        method="whole plants shredded", mass="150 lb", moisture="12 %",
    )  # fmt: skip
    bag = b.Bag(name="R1", lot="4 Lane R", filled_on="2026-10-02", mass="148 lb", moisture="12 %")
    write(store, [Change(made), Change(bag)], who="Ann")
    balance = mass_balance(store, "4 Lane R", 2026)
    bagged = balance.steps[0]
    assert (bagged.name, balance.differences) == ("bagged", ())
    assert bagged.went_in == pytest.approx(150 * 0.88 * POUND)
    assert bagged.came_out == pytest.approx(148 * 0.88 * POUND)
    closed = mass_balance(store, "4 Lane R", 2026, is_closed=True)
    assert [step.name for step in closed.differences] == ["sold or destroyed"]


def test_a_lot_nobody_wrote_of_differs_nowhere(store):
    farm_of(store)
    assert mass_balance(store, "4 Lane", 2026).differences == ()
