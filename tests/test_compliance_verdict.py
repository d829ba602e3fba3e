"""What a certificate says: total THC, dry basis, pass, negligence, strikes."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from published_values import load
from tierpole.compliance import (
    largest_passing,
    negligent_seasons,
    passes,
    printed,
    revoking_season,
    total_thc,
)
from tierpole.compliance.verdict import dry_basis, is_over_negligence_line
from tierpole.farm import Test, TestKind
from tierpole.rulebook import rulebook_on

RULES = load("rules")
BOOK = rulebook_on("us-federal", date(2026, 9, 1))
PERCENT = Decimal("0.01")
shares = st.decimals("0", "0.02", places=6)


def percent(text: str) -> Decimal:
    return Decimal(text) * PERCENT


def rows(*names: str, table: str) -> list[tuple]:
    return list(zip(*(RULES[table][name] for name in names), strict=True))


def test_factor_against_molecular_masses():
    """The factor of the law is the ratio of the masses of THC and its acid, to three digits."""
    masses = RULES["molecular_masses"]
    for name, neutral, acid, ratio in rows(
        "names", "neutral", "acid", "ratio", table="molecular_masses"
    ):
        assert neutral / acid == pytest.approx(ratio, abs=5e-6), name
    assert BOOK.factor.value == Decimal(str(masses["law"]))
    assert float(BOOK.factor.value) == pytest.approx(masses["ratio"][0], abs=5e-4)


@pytest.mark.parametrize(
    ("delta9", "thca", "total"), rows("delta9", "thca", "total", table="total")
)
def test_total_thc_against_7_cfr_990_1(delta9, thca, total):
    """Total THC counts the acid at 0.877."""
    assert total_thc(percent(delta9), percent(thca), BOOK.factor.value) == percent(total)


def test_largest_acid_against_7_cfr_990_1():
    """With delta-9 at 0.05 %, THCA up to 0.28506 % passes without MU, a hair more does not."""
    delta9, thca = (percent(RULES["total"][name][1]) for name in ("delta9", "thca"))
    at = total_thc(delta9, thca, BOOK.factor.value)
    above = total_thc(delta9, thca + percent("0.00001"), BOOK.factor.value)
    assert passes(at, Decimal(0), BOOK)
    assert not passes(above, Decimal(0), BOOK)


@pytest.mark.parametrize(
    ("result", "uncertainty", "lower_end", "expected"),
    rows("result", "uncertainty", "lower_end", "passes", table="pass"),
)
def test_pass_against_7_cfr_990_1(result, uncertainty, lower_end, expected):
    """A lot passes when result less MU is at most 0.3 %, also when both went through floats."""
    assert percent(result) - percent(uncertainty) == percent(lower_end)
    assert passes(percent(result), percent(uncertainty), BOOK) is expected
    as_floats = (float(result) * 0.01, float(uncertainty) * 0.01)
    assert passes(*as_floats, BOOK) is expected


def test_pass_without_uncertainty_and_with_rounding_limits():
    """Where no MU is allowed the limit stands alone; a book may round the percent before."""
    strict = BOOK.model_copy(
        update={"mu_allowed": BOOK.mu_allowed.model_copy(update={"value": False})}
    )
    assert passes(percent("0.30"), percent("0.06"), strict)
    assert not passes(percent("0.31"), percent("0.06"), strict)
    assert largest_passing(percent("0.06"), strict) == strict.limit.value

    places = BOOK.limit_decimals.model_copy(update={"value": 3})
    rounding = BOOK.model_copy(update={"limit_decimals": places})
    assert not passes(percent("0.3004"), Decimal(0), BOOK)
    assert passes(percent("0.3004"), Decimal(0), rounding)
    assert not passes(percent("0.3005"), Decimal(0), rounding)


@given(result=shares, uncertainty=shares, more=shares)
def test_more_uncertainty_never_harder_limits(result, uncertainty, more):
    """A larger MU never turns a pass into a fail."""
    if passes(result, uncertainty, BOOK):
        assert passes(result, uncertainty + more, BOOK)


@given(result=shares, less=shares, uncertainty=shares)
def test_less_thc_never_harder_limits(result, less, uncertainty):
    """A smaller result never turns a pass into a fail."""
    if passes(result, uncertainty, BOOK):
        assert passes(max(result - less, Decimal(0)), uncertainty, BOOK)


@given(digits=st.integers(0, 10**6))
def test_printed_round_trip_limits(digits):
    """A percent printed with four decimals comes back from a float share digit for digit."""
    written = Decimal(digits).scaleb(-4)
    assert printed(float(written) / 100) == written * PERCENT


@pytest.mark.parametrize(("result", "over"), rows("result", "over", table="negligence"))
def test_negligence_against_7_cfr_990_6(result, over):
    """1.0 % itself is not over the line; more is."""
    assert is_over_negligence_line(percent(result), BOOK) is over


@pytest.mark.parametrize(("seasons", "revoked"), rows("seasons", "revoked_in", table="strikes"))
def test_strikes_against_7_cfr_990_29(seasons, revoked):
    """Three negligent seasons in five years revoke; two violations in a season count once."""
    assert revoking_season(seasons, BOOK.strikes.value) == (revoked or None)


def test_negligent_seasons_limits():
    """Official results above the line, a year once; a pre-test or 1.0 % itself counts for none."""

    def test(year, thc, kind=TestKind.OFFICIAL):
        sampled, reported = date(year, 9, 8), date(year, 9, 14)
        return Test(lot="4 Lane", kind=kind, sampled_on=sampled, reported_on=reported, plants=20,
                    total_thc=thc)  # fmt: skip

    said = [test(2025, 0.012), test(2023, 0.011), test(2025, 0.02), test(2024, 0.010),
            test(2022, 0.03, TestKind.PRETEST)]  # fmt: skip
    assert negligent_seasons(said, BOOK) == (2023, 2025)
    assert revoking_season(negligent_seasons([*said, test(2026, 0.0101)], BOOK),
                           BOOK.strikes.value) == 2026  # fmt: skip


def test_dry_basis_against_7_cfr_990_1():
    """0.24 % as received at 12 % moisture is 0.2727 % of dry weight."""
    row = RULES["dry"]
    dry = dry_basis(percent(row["as_received"]), percent(row["moisture"]))
    assert float(dry / PERCENT) == pytest.approx(row["dry"], abs=5e-5)


@pytest.mark.parametrize(("uncertainty", "cbd"), rows("uncertainty", "total_cbd", table="ratio"))
def test_highest_legal_cbd_against_ratio(uncertainty, cbd):
    """At 25 : 1 the highest CBD that passes is 25 times the largest passing THC."""
    ratio = RULES["ratio"]["cbd_to_thc"]
    assert largest_passing(percent(uncertainty), BOOK) * ratio == percent(str(cbd))
