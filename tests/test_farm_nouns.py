"""The nouns of the farm: frozen, strict, and with defaults their own checks allow."""

from datetime import date
from typing import Annotated

import pytest
from pydantic import TypeAdapter, ValidationError

from tierpole import farm
from tierpole.farm import Crew, Hanging, Laboratory, Lot, Market, Noun, Sampler, Test, Weekday
from tierpole.money.costs import WORK
from tierpole.scenario import demo_path, read_scenario

NOUNS = [
    noun
    for name in farm.__all__
    if isinstance(noun := getattr(farm, name), type) and issubclass(noun, Noun) and noun is not Noun
]
FIELDS = [(noun, field) for noun in NOUNS for field in noun.model_fields]


@pytest.mark.parametrize(
    ("noun", "field"),
    [pair for pair in FIELDS if not pair[0].model_fields[pair[1]].is_required()],
    ids=lambda value: getattr(value, "__name__", value),
)
def test_defaults_pass_their_own_checks(noun, field):
    """What a farm leaves out must itself be allowed; pydantic does not look at defaults."""
    info = noun.model_fields[field]
    rule = Annotated[info.annotation, *info.metadata] if info.metadata else info.annotation
    TypeAdapter(rule).validate_python(info.get_default(call_default_factory=True))


def test_nouns_are_frozen_and_know_their_fields():
    hanging = Hanging(lot="1", place="Frame", hung_on=date(2026, 9, 1), sticks=10)
    with pytest.raises(ValidationError, match="frozen"):
        hanging.sticks = 11
    with pytest.raises(ValidationError, match="Extra inputs"):
        Hanging(lot="1", place="Frame", hung_on=date(2026, 9, 1), sticks=10, tier=2)
    assert hash(hanging) == hash(hanging.model_copy())
    assert hanging == hanging.model_copy()


@pytest.mark.parametrize("weekday", list(Weekday))
def test_weekdays_against_the_calendar(weekday):
    """Numbered as Python's own calendar does; 7 September 2026 is a Monday."""
    assert date(2026, 9, 7 + weekday.number).strftime("%a").lower() == weekday.value


def test_a_test_is_known_when_reported():
    test = Test(
        lot="1", kind="official", sampled_on="2026-08-17", reported_on="2026-08-22", plants=2,
        total_thc=0.0014,
    )  # fmt: skip
    assert test.known_on == date(2026, 8, 22)
    assert test.total_cbd is None


def test_crew_pace_is_that_of_the_evidence():
    """A crew that states no pace works at the one the table of work gives a reason for."""
    fields = Crew.model_fields
    for step in ("cut", "haul", "hang", "take_down", "strip"):
        assert fields[step].default == pytest.approx(WORK[step], rel=1e-12), step


def test_a_farm_is_rebuilt_from_its_own_words():
    """Every noun of the demo goes to plain values and back without change."""
    season = read_scenario(demo_path())
    tables = ("fields", "varieties", "lots", "places", "tests", "samples", "cuts", "hangings")
    nouns = [noun for table in tables for noun in getattr(season, table)]
    nouns += [season.farm, season.crew, season.market, season.costs, season.sampler]
    for noun in (*nouns, Laboratory(), Sampler()):
        assert type(noun).model_validate(noun.model_dump()) == noun
    assert {type(noun) for noun in nouns} >= {Lot, Market}
