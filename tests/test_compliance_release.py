"""Whether material may leave the farm: what the rules say of its lot's certificates."""

from __future__ import annotations

from datetime import date
from functools import partial

import pytest

from published_values import load
from tierpole.compliance import lot_bar, remedied_bar
from tierpole.farm import Test, TestKind
from tierpole.farm.books import Remediation, RemediationMethod
from tierpole.rulebook import rulebook_on

ON = date(2026, 9, 20)
FEDERAL = partial(rulebook_on, "us-federal")
LAW = load("rules")["release"]
OVER, UNDER = 0.0041, 0.0033  # of 0.30 % with 0.04 % uncertainty: above, and within


def certificate(lot="Lane", sampled=date(2026, 9, 5), reported=date(2026, 9, 9), **said):
    about = {"kind": TestKind.OFFICIAL, "plants": 2, "total_thc": UNDER, "uncertainty": 0.0004}
    return Test(lot=lot, sampled_on=sampled, reported_on=reported, **about | said)


def remedied(method=RemediationMethod.SHRED, done=date(2026, 9, 4)):
    return Remediation(name="Lane R", lot="Lane", done_on=done, method=method, mass=90.0,
                       moisture=0.1)  # fmt: skip


def retest(**said):
    return certificate(**{"lot": "Lane R", "kind": TestKind.REMEDIATION, **said})


@pytest.mark.parametrize("row", range(len(LAW["way"])))
def test_remedied_bar_against_7_cfr_990_24(row):
    """Shredded plants need a test of their own and go only when it passes; what is kept without
    flower is named by no such rule, and is only to be looked at."""
    way, result = LAW["way"][row], LAW["retest"][row]
    tests = [] if result == "none" else [retest(total_thc=float(result) / 100)]
    bar = remedied_bar(remedied(RemediationMethod(way)), tests, ON, FEDERAL)
    said = "goes" if bar is None else "stays" if bar.blocks else "look"
    assert said == LAW["then"][row]
    if bar is not None:
        assert "990.24(f)" in bar.rule


@pytest.mark.parametrize(
    "test",
    [
        certificate(),
        retest(kind=TestKind.FINAL),
        retest(kind=TestKind.PRETEST),
        retest(sampled=date(2026, 9, 3)),
        retest(reported=date(2026, 9, 21)),
    ],
    ids=["of the mother lot", "final", "own", "before the remedy", "not known yet"],
)
def test_remedied_bar_limits_of_what_counts(test):
    """Only an official test of the material itself, sampled since, and known on the day."""
    bar = remedied_bar(remedied(), [test], ON, FEDERAL)
    assert bar is not None
    assert bar.blocks
    assert "no test of a sample taken since then" in bar.fact


def test_remedied_bar_limits_of_order():
    """The latest sample rules, whatever came before; of one sample the last report."""
    over, under = retest(total_thc=OVER), retest(sampled=date(2026, 9, 12), total_thc=UNDER)
    assert remedied_bar(remedied(), [under, over], date(2026, 9, 20), FEDERAL) is None
    last = retest(sampled=date(2026, 9, 12), reported=date(2026, 9, 19), total_thc=OVER)
    bar = remedied_bar(remedied(), [under, over, last], ON, FEDERAL)
    assert bar is not None
    assert "destroy it" in bar.fact


def test_remedied_bar_against_84_fr_58522():
    """The interim rule of 2019 gave no way to save part of a failed lot."""
    then = date(2020, 9, 4)
    bar = remedied_bar(remedied(done=then), [retest(sampled=then)], ON, FEDERAL)
    assert bar is not None
    assert bar.blocks
    assert "84 FR 58522" in bar.rule


def test_lot_bar_against_7_usc_1639o():
    """A lot whose official sample is above the acceptable level stays; one within it goes."""
    bar = lot_bar("Lane", [certificate(total_thc=OVER)], ON, FEDERAL)
    assert bar is not None
    assert bar.blocks
    assert "1639o" in bar.rule
    assert lot_bar("Lane", [certificate(total_thc=UNDER)], ON, FEDERAL) is None


def test_lot_bar_limits():
    """Without a certificate it is to be looked at; a later fail stays what an earlier pass let."""
    none = lot_bar("Lane", [certificate(lot="Other"), certificate(kind="final")], ON, FEDERAL)
    assert none is not None
    assert not none.blocks
    passed = certificate(total_thc=UNDER)
    failed = certificate(sampled=date(2026, 9, 12), reported=date(2026, 9, 16), total_thc=OVER)
    both = lot_bar("Lane", [passed, failed], ON, FEDERAL)
    assert both is not None
    assert not both.blocks
    assert "earlier sample" in both.fact
    assert lot_bar("Lane", [passed, failed], date(2026, 9, 15), FEDERAL) is None
    corrected = certificate(reported=date(2026, 9, 10), total_thc=OVER)
    once = lot_bar("Lane", [passed, corrected], ON, FEDERAL)
    assert once is not None
    assert once.blocks, "of one sample the last report rules"
