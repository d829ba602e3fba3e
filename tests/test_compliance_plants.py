"""How many plants the agent cuts, by each method a rulebook can hold."""

from __future__ import annotations

import math
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.compliance import plants_to_cut
from tierpole.compliance.plants import (
    plants_corrected,
    plants_unlimited,
    plants_without_replacement,
)
from tierpole.rulebook import rulebook_on
from tierpole.rulebook.models import (
    ByPlants,
    FixedNumber,
    Hypergeometric,
    PerAcre,
    StepTable,
)
from tierpole.units import ACRE

RULES = load("rules")
ACRES = RULES["acres"]
FEDERAL = rulebook_on("us-federal", date(2026, 9, 1)).plants.value
MANY = 10**6
P95, ONE_IN_100 = Decimal("0.95"), Decimal("0.01")


def rows(*names: str, table: str) -> list[tuple]:
    return list(zip(*(RULES[table][name] for name in names), strict=True))


@pytest.mark.parametrize(
    ("confidence", "share", "plants"), rows("confidence", "share", "plants", table="detection")
)
def test_unlimited_lot_against_usda_guideline(confidence, share, plants):
    """The formula for a lot without end gives 299 plants at 95 % and 1 %."""
    assert plants_unlimited(confidence, share) == plants


@pytest.mark.parametrize(("acres", "plants"), rows("acres", "plants", table="acres"))
def test_acres_against_usda_guideline(acres, plants):
    """Plants to cut by acres, as the guideline's formula gives them rounded up."""
    assert plants_to_cut(FEDERAL, acres * ACRE, MANY) == plants


@pytest.mark.parametrize(
    ("acres", "unrounded"), rows("unrounded_acres", "unrounded", table="acres")
)
def test_unrounded_against_usda_guideline(acres, unrounded):
    """The finite population correction before it is rounded up."""
    assert plants_corrected(299, acres) == pytest.approx(unrounded, abs=5e-4)


@pytest.mark.parametrize("acres", ACRES["rounding_matters"])
def test_rounding_before_correction_limits(acres):
    """Rounding n0 up first costs one plant more at these acreages, the safe side."""
    loose = math.ceil(plants_corrected(math.log(0.05) / math.log(0.99), acres))
    assert plants_to_cut(FEDERAL, acres * ACRE, MANY) == loose + 1


@pytest.mark.parametrize(
    ("plants", "corrected", "without"),
    rows("plants", "corrected", "without_replacement", table="populations"),
)
def test_plants_against_formula(plants, corrected, without):
    """With plants as the population: the same formula, and sampling without replacement."""
    fpc = ByPlants(method="plants_fpc", confidence=P95, share=ONE_IN_100)
    exact = Hypergeometric(method="hypergeom", confidence=P95, share=ONE_IN_100)
    assert plants_to_cut(fpc, ACRE, plants) == corrected
    assert plants_to_cut(exact, ACRE, plants) == without


@pytest.mark.parametrize("plants", [200, 500, 1000, 2000])
def test_without_replacement_against_exact_hypergeometric(plants):
    """Cannon-Roe's number misses the exact hypergeometric one by at most one plant."""
    over = plants // 100

    def missed(n: int) -> float:
        return math.comb(plants - over, n) / math.comb(plants, n)

    exact = next(n for n in range(1, plants) if missed(n) <= 0.05)
    assert math.ceil(plants_without_replacement(0.95, 0.01, plants)) == pytest.approx(exact, abs=1)


def test_table_and_formula_against_wisconsin_table():
    """The printed table of Wisconsin's pilot, by steps and by formula, for every lot size."""
    printed_table = RULES["wisconsin"]
    table = StepTable(method="table", steps=printed_table["steps"])
    formula = Hypergeometric(method="hypergeom", confidence=P95, share=Decimal("0.10"), least=15)
    for plants, cuttings in zip(printed_table["plants"], printed_table["cuttings"], strict=True):
        assert plants_to_cut(table, ACRE, plants) == cuttings
    for plants in range(15, 20_001):
        assert plants_to_cut(table, ACRE, plants) == plants_to_cut(formula, ACRE, plants)


def test_fixed_and_per_acre_limits():
    """A fixed number, and a number from each acre or part of one with a least."""
    assert plants_to_cut(FixedNumber(method="fixed", count=5), ACRE, MANY) == 5
    each = PerAcre(method="per_acre", count=Decimal(2), least=5)
    assert [plants_to_cut(each, acres * ACRE, MANY) for acres in (1, 3.5, 20)] == [5, 7, 40]
    assert plants_to_cut(each, ACRE, 3) == 3, "no more than the lot has"


@given(st.floats(0.01, 500), st.floats(0, 100))
def test_larger_lot_never_fewer_plants_limits(acres, more):
    """A larger lot never needs fewer plants, nor more than 299 or one an acre begun."""
    small, large = (plants_to_cut(FEDERAL, a * ACRE, MANY) for a in (acres, acres + more))
    assert 1 <= small <= large <= 299
    assert small <= math.ceil(acres)
