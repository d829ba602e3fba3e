"""The further nouns of the books: strict, with sound defaults, each with a kind of its own."""

from dataclasses import fields
from datetime import date

import pytest
from pydantic import ValidationError

from tierpole import farm
from tierpole.farm import Noun, books
from tierpole.farm.books import AirReading, Attachment, DisposalMethod, Sale, SaleForm
from tierpole.farm.measure import Day
from tierpole.records import KINDS, json_schema, kind_named, kind_of
from tierpole.records.kinds import REFERENCES
from tierpole.season import Season

NOUNS = [
    noun
    for module in (farm, books)
    for noun in vars(module).values()
    if isinstance(noun, type) and issubclass(noun, Noun) and noun is not Noun
]
INNER = {farm.CrewHours, farm.Response, farm.CertificateField, farm.CertificateLabel}
SALE = {"name": "First", "buyer": "Mill", "agreed_on": "2026-10-10"}
PRICES = {
    "by the point": {"price_point": "1.40 USD/point/lb"},
    "flat": {"price_flat": "3 USD/lb"},
    "processor keeps a share": {"share_kept": "50 %"},
    "fee a pound": {"fee": "2 USD/lb"},
    "by the acre": {"price_area": "4000 USD/acre"},
}


def test_every_noun_is_of_one_kind():
    """A noun without a kind could not be kept; one with two would be read as the wrong one."""
    kept = [kind.noun for kind in KINDS]
    assert len(set(kept)) == len(kept)
    assert set(kept) == set(NOUNS) - INNER
    assert len({kind.name for kind in KINDS}) == len(KINDS)
    for kind in KINDS:
        assert kind_named(kind.name) is kind


def test_every_table_of_a_season_has_its_kind():
    weather = {"past_weather", "this_weather", "forecast", "stand_in_year"}
    tables = {field.name for field in fields(Season)} - weather - {"year", "on", "source"}
    assert {kind.table for kind in KINDS if kind.table} == tables - {"learnt"}  # files, by hash


def test_every_kinds_day_is_a_date_it_must_have():
    """Without a day of its own, nobody could say when a fact became known."""
    for kind in KINDS:
        if kind.day:
            info = kind.noun.model_fields[kind.day]
            assert info.is_required(), kind.name
            assert any(isinstance(rule, Day) for rule in info.metadata), kind.name
        else:
            assert kind.is_single or kind.is_lasting, kind.name


def test_what_is_named_has_a_name():
    """Whatever another noun may name has the field `name`, and kinds name what exists."""
    for kinds in REFERENCES.values():
        for kind in kinds:
            assert "name" in kind_named(kind).noun.model_fields


@pytest.mark.parametrize("noun", [n for n in NOUNS if n.__module__ == books.__name__])
def test_defaults_pass_their_own_checks(noun):
    """What is left out must itself be allowed, and every noun has a schema to show."""
    for name, info in noun.model_fields.items():
        if not info.is_required():
            default = info.get_default(call_default_factory=True)
            form = SaleForm.FLAT if name == "price_point" else SaleForm.POINT
            made = noun.model_construct(
                form=form, price_flat=1.0, price_point=1.0, method=DisposalMethod.BURN
            )
            noun.__pydantic_validator__.validate_assignment(made, name, default)
    assert json_schema(noun)["additionalProperties"] is False


@pytest.mark.parametrize("form", list(SaleForm))
def test_a_sale_has_the_price_of_its_form(form):
    """Each selling form has its price, and no other price will do for it."""
    sale = Sale(form=form, **SALE, **PRICES[form])
    assert kind_of(sale).name == "sale"
    for other, price in PRICES.items():
        if other != form:
            with pytest.raises(ValidationError, match=f'for its form is "{form}"'):
                Sale(form=form, **SALE, **price)


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("content", "ABC"),
        ("content", "A" * 64),
        ("media_type", "jpeg"),
        ("media_type", "image/jpeg; x=<script>"),
        ("size", -1),
        ("name", ""),
        ("name", "two\nlines"),
    ],
)
def test_an_attachment_says_plainly_what_it_is(field, wrong):
    said = {"name": "barn.jpg", "media_type": "image/jpeg", "content": "0" * 64, "size": 7,
            "added_on": date(2026, 9, 1)}  # fmt: skip
    assert Attachment(**said).size == 7
    with pytest.raises(ValidationError):
        Attachment(**said | {field: wrong})


@pytest.mark.parametrize("wrong", ["24:00", "6:00", "06:60", "06:00:00", "٠٦:٠٠", 600, None])
def test_a_time_of_day_is_hours_and_minutes(wrong):
    said = {"place": "Frame", "read_on": "2026-09-01", "temperature": "70 F", "humidity": "60 %"}
    assert AirReading(read_at="23:59", **said).read_at == "23:59"
    with pytest.raises(ValidationError, match="a time of day"):
        AirReading(read_at=wrong, **said)


def test_ways_of_disposal_against_7_cfr_990_1():
    """All that 7 CFR 990.1 lists: plowing, mulching, disking, bush mowing, burial, burning."""
    said = " ".join(DisposalMethod)
    for activity in (
        "plowed",
        "mulched",
        "composted",
        "disked",
        "bush mowed",
        "chopped",
        "buried",
        "burned",
    ):
        assert activity in said
