"""The forms: what a quick entry asks, and the nouns its answers become.

A quick entry is what is done every day with one hand. What is sold has short forms of the owner's,
in the order of the paper in hand; every other kind of noun has a form derived from its fields, and
so has what a short form leaves out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any
from uuid import UUID

from pydantic import TypeAdapter

from tierpole.errors import Fault, InputError
from tierpole.farm import (
    CertificateField,
    Cut,
    Flowering,
    GaugeReading,
    Hanging,
    Noun,
    Place,
    Reading,
    Sample,
    Test,
)
from tierpole.farm import books as b
from tierpole.office.certificates import FIELDS
from tierpole.office.entry.fields import Ask, ask_of
from tierpole.records import KINDS, Stored, kind_named

Values = dict[str, Any]


@dataclass(frozen=True)
class Written:
    """A noun to write; `corrects` is what it takes the place of."""

    noun: Noun
    corrects: Stored | None = None


@dataclass(frozen=True)
class Form:
    """A form: its name in an address, what it is called, what it asks, what it makes.

    `kind` is the kind of noun whose last entry the form starts from; `note` is said above it. A
    form that is not quick is for the owner.
    """

    key: str
    title: str
    kind: str
    asks: tuple[Ask, ...]
    make: Callable[[Values], Iterator[Written]]
    is_quick: bool = True
    note: str = ""


_STICKS_HUNG = Ask("hanging", "Which sticks", "stored", True, TypeAdapter(UUID), list_of="hanging")
_PLACE = Ask("place", "Place", "stored", True, TypeAdapter(UUID), list_of="place")


def _said(noun: type[Noun], values: Values, **also: Any) -> Noun:
    """A noun from those answers that are its own; what was left open stays open."""
    own = {key: values[key] for key in noun.model_fields if values.get(key) is not None}
    return noun.model_validate(own | also)


def _plain(noun: type[Noun]) -> Callable[[Values], Iterator[Written]]:
    def make(values: Values) -> Iterator[Written]:
        yield Written(_said(noun, values))

    return make


def _cut(values: Values) -> Iterator[Written]:
    yield Written(_said(Cut, values))
    if values.get("hours"):
        about = {"task": "cut", "done_on": values["cut_on"]}
        yield Written(_said(b.Operation, {"lot": values["lot"], "hours": values["hours"]}, **about))


def _hung(values: Values) -> Iterator[Written]:
    yield Written(_said(Hanging, values))
    if values.get("tier"):
        yield Written(_said(b.TierLoad, values))


def _of_hanging(noun: type[Noun], values: Values) -> Noun:
    hung: Hanging = values["hanging"].noun
    own = {"lot": hung.lot, "place": hung.place, "hung_on": hung.hung_on}
    return _said(noun, values, **own)


def _taken_down(values: Values) -> Iterator[Written]:
    old: Stored = values["hanging"]
    yield Written(_with(old.noun, down_on=values["down_on"]), old)


def _moisture(values: Values) -> Iterator[Written]:
    yield Written(_of_hanging(Reading, values))


def _weighed(values: Values) -> Iterator[Written]:
    yield Written(_of_hanging(b.StickWeight, values))


def _air(values: Values) -> Iterator[Written]:
    yield Written(_said(b.AirReading, values))


def _spot(values: Values) -> Iterator[Written]:
    """A sale agreed, handed over and perhaps paid on one day; pounds count as they were weighed."""
    if values.get("price_point") and values.get("price_flat"):
        raise InputError("sale", [Fault("sale", "price_flat", "two prices", "one of the two")])
    priced = b.SaleForm.POINT if values.get("price_point") else b.SaleForm.FLAT
    of, day = {"sale": values["name"]}, values["agreed_on"]
    yield Written(_said(b.Sale, values, form=priced, is_contract=False))
    yield Written(_said(b.Delivery, values, delivered_on=day, **of))
    if values.get("amount"):
        yield Written(_said(b.Payment, values, paid_on=day, **of))


def _freed(values: Values) -> Iterator[Written]:
    old: Stored = values["place"]
    yield Written(_with(old.noun, free_from=values["free_from"], known_on=None), old)


def _with(noun: Noun, **changes: Any) -> Noun:
    """A noun with some fields changed; a field that is given nothing is left open again."""
    said = noun.model_dump(exclude_unset=True) | changes
    return type(noun).model_validate({k: v for k, v in said.items() if v is not None})


GAUGE_NOTE = (
    "Since the reading before; empty the gauge and set the thermometer back. Read before noon, the "
    "rain and the highest temperature count for the day before, the lowest for this morning. No "
    "rain is 0."
)

FORMS: tuple[Form, ...] = (
    Form("cut", "Cut", "cut", (
        ask_of(Cut, "lot", "Lot", keeps=True), ask_of(Cut, "sticks", "Sticks cut", hint="180"),
        ask_of(b.Operation, "hours", "Crew hours in all", hint="31"),
        ask_of(Cut, "cut_on", "Day"),
    ), _cut),
    Form("hung", "Hung", "hanging", (
        ask_of(Hanging, "lot", "Lot", keeps=True), ask_of(Hanging, "place", "Place", keeps=True),
        ask_of(b.TierLoad, "tier", "Tier, from the ground", is_needed=False, hint="2"),
        ask_of(Hanging, "sticks", "Sticks hung", hint="180"),
        ask_of(Hanging, "hung_on", "Day"),
    ), _hung),
    Form("air", "Air reading", "air", (
        ask_of(b.AirReading, "place", "Place", keeps=True),
        ask_of(b.AirReading, "temperature", "Temperature", hint="46 F"),
        ask_of(b.AirReading, "humidity", "Humidity", hint="82 %"),
        ask_of(b.AirReading, "read_on", "Day"), ask_of(b.AirReading, "read_at", "Time"),
    ), _air),
    Form("weighed", "Sticks weighed", "stick_weight", (
        _STICKS_HUNG, ask_of(b.StickWeight, "sticks", "Sticks on the scale", keeps=True),
        ask_of(b.StickWeight, "mass", "Weight", hint="1,200 lb"),
        ask_of(b.StickWeight, "read_on", "Day"),
    ), _weighed),
    Form("moisture", "Moisture of flower", "reading", (
        _STICKS_HUNG, ask_of(Reading, "moisture_flower", "Moisture, wet basis", hint="24 %"),
        ask_of(Reading, "read_on", "Day"),
    ), _moisture),
    Form("down", "Taken down", "hanging", (_STICKS_HUNG, ask_of(Hanging, "down_on", "Day",
        is_needed=True)), _taken_down),
    Form("stripped", "Stripped", "stripping", (
        ask_of(b.Stripping, "lot", "Lot", keeps=True),
        ask_of(b.Stripping, "mass", "Flower stripped", hint="240 lb"),
        ask_of(b.Stripping, "moisture", "Its moisture", hint="11 %", keeps=True),
        ask_of(b.Stripping, "sticks", "From how many sticks"),
        ask_of(b.Stripping, "hours", "Crew hours in all"),
        ask_of(b.Stripping, "stripped_on", "Day"),
    ), _plain(b.Stripping)),
    Form("bag", "Bag filled", "bag", (
        ask_of(b.Bag, "lot", "Lot", keeps=True), ask_of(b.Bag, "name", "What its label says"),
        ask_of(b.Bag, "mass", "Weight", hint="22 1/2 lb", keeps=True),
        ask_of(b.Bag, "moisture", "Moisture", hint="11 %", keeps=True),
        ask_of(b.Bag, "filled_on", "Day"),
    ), _plain(b.Bag)),
    Form("stored", "Put into store", "move", (
        ask_of(b.BagMove, "bags", "Bags, by their labels", hint="B-11, B-12"),
        ask_of(b.BagMove, "store", "Which store", keeps=True),
        ask_of(b.BagMove, "temperature", "Its temperature", hint="58 F"),
        ask_of(b.BagMove, "humidity", "Its humidity", hint="55 %"),
        ask_of(b.BagMove, "moved_on", "Day"),
    ), _plain(b.BagMove)),
    Form("scouting", "Scouting note", "scouting", (
        ask_of(b.Scouting, "lot", "Lot", keeps=True),
        ask_of(b.Scouting, "what", "What you saw", hint="bud rot"),
        ask_of(b.Scouting, "share_of_plants", "On how many plants", hint="5 %"),
        ask_of(b.Scouting, "photo", "Photo"), ask_of(b.Scouting, "note", "More"),
        ask_of(b.Scouting, "seen_on", "Day"),
    ), _plain(b.Scouting)),
    Form("flowering", "Flowering", "flowering", (
        ask_of(Flowering, "lot", "Lot", keeps=True),
        ask_of(Flowering, "in_flower", "Plants begun to flower", hint="12"),
        ask_of(Flowering, "looked_at", "Of how many looked at", hint="40", keeps=True),
        ask_of(Flowering, "seen_on", "Day"),
    ), _plain(Flowering)),
    Form("gauge", "Rain and temperature", "gauge", (
        ask_of(GaugeReading, "rain", "Rain in the gauge", hint="1.25 in"),
        ask_of(GaugeReading, "temperature_lowest", "Lowest on the thermometer", hint="46 F"),
        ask_of(GaugeReading, "temperature_highest", "Highest on the thermometer", hint="81 F"),
        ask_of(GaugeReading, "read_on", "Day it was read"),
        ask_of(GaugeReading, "read_at", "Time it was read", keeps=True),
    ), _plain(GaugeReading), note=GAUGE_NOTE),
    Form("called", "Sampler called", "sample", (
        ask_of(Sample, "lot", "Lot", keeps=True), ask_of(Sample, "requested_on", "Called on"),
        ask_of(Sample, "sampled_on", "Comes on"),
    ), _plain(Sample)),
    Form("test", "Test result", "test", (
        ask_of(Test, "lot", "Lot", keeps=True), ask_of(Test, "kind", "Which test", keeps=True),
        ask_of(Test, "total_thc", "Total THC, dry", hint="0.24 %"),
        ask_of(Test, "total_cbd", "Total CBD, dry", hint="6.1 %"),
        ask_of(Test, "uncertainty", "Uncertainty printed, plus or minus", hint="0.04 %"),
        ask_of(Test, "plants", "Plants in the sample", keeps=True, hint="20"),
        ask_of(Test, "sampled_on", "Sampled on"), ask_of(Test, "reported_on", "Reported on"),
    ), _plain(Test)),
    Form("freed", "Place free", "place", (
        _PLACE, ask_of(Place, "free_from", "Free from", is_needed=True),
    ), _freed),
)  # fmt: skip


SPOT_NOTE = (
    "Agreed, handed over and perhaps paid in one. The pounds count as they were weighed; one of "
    "the two prices stays empty."
)
AGREED_NOTE = (
    "Of the prices only the one for how it is paid is needed. What a long contract says beside "
    "these is asked under Sale, among everything else."
)
_SALE_NAME = ask_of(b.Sale, "name", "What you call this sale", hint="Mill, first load")
_BAGS = ask_of(b.Delivery, "bags", "Bags, by their labels", hint="B-11, B-12")
_EXCEPTION = ask_of(b.Delivery, "exception", "Why it goes out although a panel failed")

SELLING: tuple[Form, ...] = (
    Form("spot", "Sold on the spot", "sale", (
        ask_of(b.Sale, "buyer", "Buyer", keeps=True), _SALE_NAME,
        ask_of(b.Sale, "agreed_on", "Day"), _BAGS,
        ask_of(b.Delivery, "mass", "Weight on the scale", hint="1,240 lb"),
        ask_of(b.Sale, "price_flat", "Price a pound", hint="8 USD/lb"),
        ask_of(b.Sale, "price_point", "Or for each percent of CBD a pound",
               hint="1.40 USD/point/lb"),
        ask_of(b.Payment, "amount", "Money in hand", is_needed=False, hint="9,920 USD"),
        _EXCEPTION,
    ), _spot, is_quick=False, note=SPOT_NOTE),
    Form("agreed", "Sale agreed", "sale", (
        ask_of(b.Sale, "buyer", "Buyer", keeps=True), _SALE_NAME,
        ask_of(b.Sale, "agreed_on", "Agreed on"),
        ask_of(b.Sale, "form", "How it is paid", keeps=True),
        ask_of(b.Sale, "price_point", "By the point: for each percent of CBD a pound",
               hint="1.40 USD/point/lb"),
        ask_of(b.Sale, "price_flat", "Flat: price a pound", hint="8 USD/lb"),
        ask_of(b.Sale, "share_kept", "Share the processor keeps", hint="40 %"),
        ask_of(b.Sale, "fee", "Fee a pound", hint="3 USD/lb"),
        ask_of(b.Sale, "price_area", "By the acre: price an acre", hint="9,000 USD/acre"),
        ask_of(b.Sale, "area", "By the acre: how many acres", hint="2.5 acre"),
        ask_of(b.Sale, "mass", "Weight agreed", hint="4,000 lb"),
        ask_of(b.Sale, "moisture", "Pounds are counted at a moisture of", keeps=True, hint="10 %"),
        ask_of(b.Sale, "dockage", "Or off the price for each percent above",
               hint="0.10 USD/lb"),
        ask_of(b.Sale, "cbd_lowest", "CBD is counted from", hint="5 %"),
        ask_of(b.Sale, "panels", "Panels the buyer asks for", keeps=True,
               hint="pesticides, metals"),
        ask_of(b.Sale, "due_days", "Paid within", keeps=True, hint="30 days"),
        ask_of(b.Sale, "paper", "Photo or PDF of the contract"),
    ), _plain(b.Sale), is_quick=False, note=AGREED_NOTE),
    Form("delivered", "Delivered", "delivery", (
        ask_of(b.Delivery, "sale", "Sale", keeps=True), ask_of(b.Delivery, "delivered_on", "Day"),
        ask_of(b.Delivery, "mass", "Weight on the buyer's scale", hint="1,240 lb"),
        ask_of(b.Delivery, "moisture", "Moisture he read", hint="11 %"),
        ask_of(b.Delivery, "foreign", "Stems, seed and foreign matter", hint="2 %"),
        ask_of(b.Delivery, "mould", "Mouldy", hint="0 %"),
        _BAGS, _EXCEPTION, ask_of(b.Delivery, "note", "More"),
    ), _plain(b.Delivery), is_quick=False),
    Form("statement", "Buyer's statement", "settlement", (
        ask_of(b.Settlement, "sale", "Sale", keeps=True),
        ask_of(b.Settlement, "settled_on", "Its date"),
        ask_of(b.Settlement, "mass", "Weight he pays for", hint="1,190 lb"),
        ask_of(b.Settlement, "total_cbd", "Total CBD he counts", hint="7.1 %"),
        ask_of(b.Settlement, "recovery", "Recovery, where he processes", hint="80 %"),
        ask_of(b.Settlement, "deductions", "Deductions", hint="110 USD"),
        ask_of(b.Settlement, "due", "What he says is due", hint="9,200 USD"),
        ask_of(b.Settlement, "note", "More"),
    ), _plain(b.Settlement), is_quick=False),
    Form("paid", "Money came", "payment", (
        ask_of(b.Payment, "sale", "Sale", keeps=True), ask_of(b.Payment, "paid_on", "Day"),
        ask_of(b.Payment, "amount", "How much", hint="9,200 USD"),
    ), _plain(b.Payment), is_quick=False),
)  # fmt: skip


@cache
def form_named(key: str) -> Form | None:
    """A form of its own, or the form of a kind of noun, by its name in an address."""
    own = next((form for form in (*FORMS, *SELLING) if form.key == key), None)
    if own is not None or not key.startswith("any-"):
        return own
    names = {kind.name for kind in KINDS if kind.name not in NOT_BY_HAND}
    return _form_of(key.removeprefix("any-")) if key.removeprefix("any-") in names else None


NOT_BY_HAND = ("season", "learnt", "plan", "certificate_labels")  # the program writes these


def _form_of(name: str) -> Form:
    noun = kind_named(name).noun
    title = _TITLES.get(name, name.replace("_", " ").capitalize())
    asks = tuple(
        ask_of(noun, key, **_ASKED_OTHERWISE.get((name, key), {}))
        for key in noun.model_fields
        if (name, key) not in _SEEN_IN_FILE
    )
    return Form(f"any-{name}", title, name, asks, _plain(noun), is_quick=False)


# what is not asked, for the file that is handed in shows it
_SEEN_IN_FILE = (
    ("attachment", "media_type"), ("attachment", "size"),
    ("weather", "station"), ("weather", "file"), ("weather", "forecast"),
)  # fmt: skip
_TITLES = {"report": "Told or sent to the department"}
_TOLD = {"label": "Day the department was told, beforehand"}
_FIELDS = tuple(one.key for one in FIELDS)
_ASKED_OTHERWISE: dict[tuple[str, str], dict[str, Any]] = {
    ("other_crop", "name"): {"label": "Crop", "hint": "burley tobacco"},
    ("other_crop", "priced_on"): {"label": "At the prices of"},
    ("other_crop", "returns"): {"label": "An acre of it sells for, in a usual year"},
    ("other_crop", "returns_low"): {"label": "for less in one year of ten"},
    ("other_crop", "returns_high"): {"label": "for more in one year of ten"},
    ("other_crop", "costs"): {"label": "What an acre costs that is not spent without it"},
    ("other_crop", "hours"): {"label": "The crew’s hours on an acre"},
    ("attachment", "name"): {"hint": "delivery note of the nursery"},
    ("attachment", "content"): {"label": "Photo or paper"},
    ("certificate_columns", "name"): {"label": "Laboratory"},
    ("certificate_columns", "fields"): {
        "label": "Where each value stands in its files",
        "columns": (
            ask_of(CertificateField, "field", "What", shape="choice", choices=_FIELDS),
            ask_of(CertificateField, "column", "Heading of its column"),
            ask_of(CertificateField, "always", "Or always the same"),
        ),
    },
    ("report", "kind"): {"label": "What was told or sent"},
    ("report", "filed_on"): {"label": "Day"},
    ("report", "lot"): {"label": "Lot, if it is about one"},
    ("report", "year"): {"label": "About which year, if not that of the day", "hint": "2026"},
    ("report", "number"): {"label": "Number of the receipt, or who was told"},
    ("report", "paper"): {"label": "Photo or PDF of it"},
    ("disposal", "disposed_on"): {"label": "Day"},
    ("disposal", "method"): {"label": "How"},
    ("disposal", "mass"): {"label": "Weight", "hint": "240 lb"},
    ("disposal", "bags"): {"label": "Bags, by their labels", "hint": "H-1, H-2"},
    ("disposal", "notice_on"): _TOLD,
    ("disposal", "note"): {"label": "Note; of another way which, and who agreed to it"},
    ("remediation", "name"): {"label": "What the new lot is called", "hint": "7 Hollow shredded"},
    ("remediation", "lot"): {"label": "Of which lot"},
    ("remediation", "done_on"): {"label": "Day"},
    ("remediation", "method"): {"label": "How"},
    ("remediation", "sticks"): {"label": "From how many sticks"},
    ("remediation", "mass"): {"label": "Weight of it now", "hint": "400 lb"},
    ("remediation", "notice_on"): _TOLD,
    ("weather", "station_content"): {"label": "The station's daily record", "is_table": True},
    ("weather", "listed"): {
        "label": "List of stations, if the record does not say where its own lies",
        "is_table": True,
    },
    ("weather", "forecast_content"): {"label": "Forecast", "is_table": True},
    ("weather", "stand_in_year"): {"label": "Year whose weather stands in for this one's"},
    ("crew", "hours"): {"label": "Crew hours a day, from a day on until the next"},
    ("crew", "workdays"): {"hint": "mon, tue, wed, thu, fri, sat"},
}
