"""Rulebooks as dated data: what they hold, how states lie over the federal, what is refused."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from published_values import load
from tierpole.errors import InputError, RuleError
from tierpole.rulebook import (
    cautions,
    jurisdictions,
    read_books,
    rule_changes,
    rulebook_on,
    rulebooks,
)

RULES = load("rules")
SUMMER, WINTER = date(2026, 9, 1), date(2026, 12, 1)
BOOKS = Path(__file__).parents[1] / "src" / "tierpole" / "rulebook" / "books"


def library(folder: Path, **edits: str) -> Path:
    """A folder with the federal texts and `edits`: a file's name and its whole text."""
    for name in ("us-federal-2021", "us-federal-2026"):
        text = (BOOKS / f"{name}.toml").read_text(encoding="utf-8")
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    for name, text in edits.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def state(rules: str, **head: str) -> str:
    """The text of an invented state's file."""
    keys = {
        "id": '"state"',
        "jurisdiction": '"state"',
        "title": '"A state"',
        "text": '"its rules"',
        "effective_from": "2022-01-01",
        "read_on": "2026-11-25",
        "status": '"read"',
        "extends": '"us-federal"',
        **head,
    }
    return "\n".join([*(f"{key} = {value}" for key, value in keys.items()), rules])


def rule(name: str, value: str, unit: str = "") -> str:
    """One table of an invented rulebook."""
    return (
        f"[{name}]\nvalue = {value}\nunit = {unit!r}\n"
        "says = 'what the rule says'\ncitation = 'section 1'\nmark = 'law'\n"
    )


def faults_in(folder: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        read_books(folder)
    return [str(fault) for fault in caught.value.faults]


def test_federal_values_against_7_cfr_990():
    """The federal book of 2021 holds the numbers of 7 CFR Part 990 as read."""
    book = rulebook_on("us-federal", SUMMER)
    assert book.layers == ("us-federal-2021",)
    assert book.limit.value == Decimal("0.003")
    assert book.factor.value == Decimal("0.877")
    assert (book.window_days.value, book.window_counts_sample_day.value) == (30, False)
    assert (book.cut_before_sample.value, book.cut_before_result.value) == (False, True)
    assert book.cut_length.value == pytest.approx((0.127, 0.2032))
    assert book.negligence_line.value == Decimal("0.01")
    assert (book.cap_years.value, book.record_years.value) == (2, 3)
    strikes = book.strikes.value
    assert (strikes.count, strikes.years, strikes.bar_years) == (3, 5, 5)


def test_definition_date_against_pl_119_37():
    """The new definition starts 365 days after it was enacted, and asks to be confirmed."""
    law = RULES["definition"]
    in_force = law["enacted"] + timedelta(days=law["days"])
    assert in_force == law["in_force"]
    assert (
        law["in_force"].replace(year=law["enacted"].year + law["delayed_years"]) == law["delayed"]
    )
    (change,) = rule_changes("us-federal", date(2026, 4, 1), date(2026, 12, 31))
    assert change.on == in_force
    assert change.before.effective_to == in_force - timedelta(days=1)
    assert change.names == ("analytes",)
    assert change.after.status == "verify"
    assert change.after.mu_allowed.verify
    assert change.after.window_days.verify, "what a new text leaves unsaid is unconfirmed too"


@pytest.mark.parametrize("jurisdiction", jurisdictions())
def test_every_jurisdiction_crosses_the_federal_change(jurisdiction):
    """A state's rulebook changes on the day the federal one under it does."""
    (change,) = rule_changes(jurisdiction, SUMMER, WINTER)
    assert change.on == RULES["definition"]["in_force"]
    assert rulebook_on(jurisdiction, change.on - timedelta(days=1)) == change.before
    assert rulebook_on(jurisdiction, change.on) == change.after
    assert rule_changes(jurisdiction, change.on, WINTER) == ()


@pytest.mark.parametrize("book", rulebooks(), ids=lambda book: "+".join(book.layers))
def test_every_value_says_where_it_comes_from(book):
    """Each rule has words, a citation, a day it was read on and the book it stands in."""
    names = [name for name, _, _ in book.provisions()]
    assert len(names) == len(set(names)) == 32
    for name, title, provision in book.provisions():
        assert title, name
        assert provision.says.endswith("."), name
        assert provision.read_on == date(2026, 11, 25), name
        assert provision.book in book.layers, name


def test_states_say_what_they_change_and_leave_the_rest_unconfirmed():
    """A rule a state restates is cited to the state; the rest is federal and to be confirmed."""
    georgia = rulebook_on("georgia", SUMMER)
    assert georgia.window_counts_sample_day.value
    assert georgia.window_counts_sample_day.citation.startswith("Georgia 40-32-2")
    assert (georgia.retests_allowed.value, georgia.retest_lab.value) == (1, "same")
    assert georgia.disposal_notice_days.value == 5
    assert georgia.limit.book == "us-federal-2021"
    assert georgia.limit.verify

    texas = rulebook_on("texas", SUMMER)
    assert (texas.window_days.value, texas.pre_harvest_report_days.value) == (15, 15)
    assert texas.disposal_report_days.value == 7
    assert texas.disposal_notice_days.book == "us-federal-2021"

    oregon = rulebook_on("oregon", SUMMER)
    assert (oregon.window_event.value, oregon.retests_allowed.value) == ("completion", 0)


def test_ohio_invents_nothing():
    """Ohio's own text was not read: each value is the federal one, marked to be confirmed."""
    ohio, federal = rulebook_on("ohio", SUMMER), rulebook_on("us-federal", SUMMER)
    for name, _, provision in ohio.provisions():
        assert provision == getattr(federal, name).model_copy(update={"verify": True}), name
    assert "Ohio Department of Agriculture" in ohio.cautions[0]


def test_no_rulebook_for_a_day_or_a_place():
    """A day before every text, and a place without one, are said in words."""
    with pytest.raises(RuleError, match="No rulebook of georgia covers 2020-09-01"):
        rulebook_on("georgia", date(2020, 9, 1))
    with pytest.raises(InputError, match="jurisdiction must be one of georgia, ohio, oregon"):
        rulebook_on("atlantis", SUMMER)


@pytest.mark.parametrize(
    ("name", "value", "unit"),
    [
        ("limit", "0.31", "%"),
        ("analytes", '["delta-9 THC"]', ""),
        ("factor", "0.80", ""),
        ("window_days", "31", "days"),
        ("cut_before_sample", "true", ""),
        ("disposal_methods", '["another way"]', ""),
        ("biomass_retest", "false", ""),
        ("negligence_line", "1.1", "%"),
        ("strikes", "{ count = 4, years = 5, bar_years = 5 }", ""),
        ("cap_years", "1", "years"),
        ("record_years", "2", "years"),
    ],
)
def test_a_state_looser_than_federal_is_refused_limits(tmp_path, name, value, unit):
    """A state's rule looser than 7 CFR Part 990 is refused under both federal texts."""
    found = faults_in(library(tmp_path, state=state(rule(name, value, unit))))
    assert [fault.split(": value must be at least as strict as ")[0] for fault in found] == [
        f"state.toml [{name}]"
    ] * len(found)
    assert "us-federal-2021" in found[0]


@pytest.mark.parametrize(
    ("name", "value", "unit"),
    [
        ("limit", "0.2", "%"),
        ("window_days", "15", "days"),
        ("mu_allowed", "false", ""),
        ("cut_before_result", "false", ""),
        ("retests_allowed", "0", ""),
        ("retest_lab", '"none"', ""),
        ("remediation", '["whole plants shredded"]', ""),
        ("disposal_notice_days", "3", "days"),
        ("disposal_report_days", "10", "days"),
        ("plants", '{ method = "fixed", count = 30 }', ""),
    ],
)
def test_a_stricter_state_is_accepted(tmp_path, name, value, unit):
    """A stricter rule, or one that has no order, lies over the federal one."""
    books = read_books(library(tmp_path, state=state(rule(name, value, unit))))
    own = [book for book in books if book.jurisdiction == "state"]
    assert [book.layers[-2:] for book in own] == [
        ("us-federal-2021", "state"),
        ("us-federal-2026", "state"),
    ]
    assert getattr(own[0], name).book == "state"
    assert getattr(own[0], name).value != getattr(books[-1], name).value


def test_every_fault_of_every_file_is_told_at_once(tmp_path):
    """Faults in heads, values, names and references of several files come in one error."""
    rules = (
        rule("window_days", '"soon"', "days") + rule("windw_days", "15") + "[limit]\nvalue = 0.3\n"
    )
    folder = library(
        tmp_path,
        alone=state("", id='"alone"', jurisdiction='"alone"', extends='"atlantis"'),
        broken="id = ",
        headless=state("", status='"sure"'),
        later=state("", id='"later"', amends='"nothing"'),
        state=state(rules),
    )
    told = "\n".join(faults_in(folder))
    assert "alone.toml: extends must be a jurisdiction that stands alone (us-federal)" in told
    assert "broken.toml must be readable TOML" in told
    assert "headless.toml: status must be 'read' or 'verify', got 'sure'" in told
    assert "later.toml: amends must be the id of an earlier rulebook" in told
    assert "state.toml [window_days]: value must be a valid integer" in told
    assert "state.toml: windw_days must be left out: no rule has that name" in told
    assert "state.toml [limit]: says must be given, it is missing" in told


def test_a_federal_text_must_state_every_rule(tmp_path):
    """A book that builds on no other lacks nothing."""
    folder = library(tmp_path)
    whole = folder / "us-federal-2021.toml"
    text = whole.read_text(encoding="utf-8")
    whole.write_text(text.replace("[window_days]", "[cap_days]"), encoding="utf-8")
    told = faults_in(folder)
    assert any("window_days must be given as a table" in fault for fault in told)


def test_a_text_amended_twice_keeps_what_nobody_restated(tmp_path):
    """The third text of a state holds the rules of the first and second it does not restate."""
    folder = library(
        tmp_path,
        a=state(rule("window_days", "20", "days"), id='"a"', effective_to="2022-12-31"),
        b=state(
            rule("record_years", "4", "years"),
            id='"b"',
            amends='"a"',
            effective_from="2023-01-01",
            effective_to="2023-12-31",
        ),
        c=state(
            rule("cap_years", "3", "years"), id='"c"', amends='"b"', effective_from="2024-01-01"
        ),
    )
    third = next(book for book in read_books(folder) if book.layers[-1] == "c")
    assert third.layers == ("us-federal-2021", "a", "b", "c")
    held = (third.window_days, third.record_years, third.cap_years)
    assert [(p.value, p.book) for p in held] == [(20, "a"), (4, "b"), (3, "c")]


def test_overlapping_texts_are_refused(tmp_path):
    """Two texts of one jurisdiction may not both be in force."""
    folder = library(
        tmp_path,
        one=state("", id='"one"'),
        two=state("", id='"two"', effective_from="2024-01-01"),
    )
    assert any("effective_from must be after one ends (2026-11-11)" in f for f in faults_in(folder))


def test_cautions_cover_rules_barn_and_money():
    """Every topic has its cautions, each with a basis and no two alike."""
    by_topic = {topic: cautions(topic) for topic in ("rules", "barn", "money")}
    assert {topic: len(found) for topic, found in by_topic.items()} == {
        "rules": 10,
        "barn": 7,
        "money": 2,
    }
    found = [caution for topic in by_topic.values() for caution in topic]
    assert len({caution.key for caution in found}) == len(found)
    assert all(caution.says.endswith(".") and caution.basis for caution in found)
