"""Printed certificates: conversions against arithmetic, contradictions refused in words."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tierpole.compliance.certificate import Basis, Certificate, Printed, Unit, check
from tierpole.farm import TestKind


def printed(unit=Unit.PERCENT, basis=Basis.DRY, moisture="", uncertainty="", limit="", **contents):
    return Printed(
        lot="2 Barn field",
        laboratory="State laboratory",
        kind=TestKind.OFFICIAL,
        sampled_on=date(2026, 9, 8),
        reported_on=date(2026, 9, 14),
        plants=3,
        unit=unit,
        basis=basis,
        contents=contents,
        moisture=moisture,
        uncertainty=uncertainty,
        quantification=limit,
    )


def read(**fields) -> Certificate:
    certificate = check(printed(**fields))
    assert isinstance(certificate, Certificate), [str(fault) for fault in certificate]
    return certificate


def faults(**fields) -> list[str]:
    found = check(printed(**fields), "row 2")
    assert isinstance(found, tuple)
    return [str(fault) for fault in found]


def test_total_against_rule():
    """Parts add up as the law says: 0.05 % and 0.25 % acid make 0.26925 %."""
    certificate = read(delta9_thc="0.05", thca="0.25")
    assert certificate.total_thc.share == Decimal("0.0026925")
    assert certificate.notes == ("total THC reckoned as neutral + 0.877 x acid",)


def test_dry_basis_against_arithmetic():
    """0.24 % as received at 12 % moisture is 0.2727 % of dry weight, and the moisture is said."""
    certificate = read(total_thc="0.24", basis=Basis.AS_RECEIVED, moisture="12")
    assert float(certificate.total_thc.share) == pytest.approx(0.0024 / 0.88, abs=1e-12)
    assert f"{100 * certificate.total_thc.share:.4f}" == "0.2727"
    assert certificate.moisture == Decimal("0.12")
    assert certificate.notes == ("dry weight by the printed moisture of 12 %",)


@given(
    st.decimals("0.01", "0.9", places=3),
    st.decimals("1", "12", places=2),
    st.decimals("0", "30", places=1),
)
def test_units_limits(thc, cbd, moisture):
    """Percent and mg/g, dry and as received, say the same."""
    shares = []
    for unit, times in ((Unit.PERCENT, 1), (Unit.MG_G, 10)):
        for basis, kept in ((Basis.DRY, 1), (Basis.AS_RECEIVED, 1 - moisture / 100)):
            certificate = read(
                unit=unit, basis=basis, moisture=str(moisture),
                total_thc=f"{thc * times * kept:f}", total_cbd=f"{cbd * times * kept:f}",
            )  # fmt: skip
            shares.append((float(certificate.total_thc.share), float(certificate.total_cbd.share)))
    for thc_share, cbd_share in shares:
        assert thc_share == pytest.approx(float(thc) / 100, rel=1e-9, abs=1e-11)
        assert cbd_share == pytest.approx(float(cbd) / 100, rel=1e-9, abs=1e-11)


def test_digits_limits():
    """The digits printed are kept: 0.34 less 0.04 of uncertainty is 0.30, which passes."""
    certificate = read(total_thc="0.34", uncertainty="± 0.04")
    assert certificate.total_thc.share - certificate.uncertainty == Decimal("0.0030")


def test_not_detected_limits():
    """ND with a limit of quantification is below it; without one, below one assumed and said."""
    for text in ("ND", "<LOQ", "not detected"):
        thc = read(total_thc=text, limit="0.02").total_thc
        assert (thc.share, thc.is_below) == (Decimal("0.0002"), True)
    below = read(total_thc="<0.05", total_cbd="1.2")
    assert (below.total_thc.share, below.total_thc.is_below) == (Decimal("0.0005"), True)
    assert below.notes == ()
    assumed = read(total_thc="ND")
    assert (assumed.total_thc.share, assumed.total_thc.is_below) == (Decimal("0.0005"), True)
    assert assumed.notes == (
        "total_thc not detected and no limit of quantification printed: taken as below 0.05 %",
    )
    assert read(unit=Unit.MG_G, total_thc="ND").total_thc.share == Decimal("0.0005")


def test_part_not_detected_limits():
    """A part below its limit counts nothing beside one that was found, and both make a limit."""
    found = read(delta9_thc="<0.05", thca="0.20").total_thc
    assert (found.share, found.is_below) == (Decimal("0.001754"), False)
    both = read(delta9_thc="<0.05", thca="<0.05").total_thc
    assert both.is_below
    assert both.share == Decimal("0.0009385")


def test_nothing_reported_limits():
    """CBD may be missing, THC may not."""
    assert read(total_thc="0.2", total_cbd="n/a").total_cbd is None
    assert faults(total_cbd="7.1") == [
        "row 2: total_thc must be a content, or delta9_thc and thca, it is missing."
    ]


def test_rounded_totals_limits():
    """A total may differ from its parts by what rounding leaves, no more."""
    assert read(delta9_thc="0.05", thca="0.25", total_thc="0.27").total_thc.share == Decimal(
        "0.0027"
    )
    assert faults(delta9_thc="0.05", thca="0.25", total_thc="0.30") == [
        (
            "row 2: total_thc must be 0.05 + 0.877 x 0.25 = 0.26925 %, as its parts add, "
            "got '0.30 %'. It is the plain sum, without the factor 0.877."
        )
    ]
    assert faults(cbd="0.4", cbda="8.0", total_cbd="9.5", total_thc="0.3") == [
        "row 2: total_cbd must be 0.4 + 0.877 x 8.0 = 7.416 %, as its parts add, got '9.5 %'."
    ]


def test_refused_limits():
    """What cannot be is refused, each with its reason, all at once."""
    assert faults(total_thc="-0.2", total_cbd="seven") == [
        (
            'row 2: total_cbd must be a number of 0 or more, "<" and a number, "ND" or nothing, '
            "got 'seven'."
        ),
        (
            'row 2: total_thc must be a number of 0 or more, "<" and a number, "ND" or nothing, '
            "got '-0.2'."
        ),
    ]
    assert faults(total_thc="0.3", total_cbd="123") == [
        "row 2: total_cbd must be at most 100 %, got '123 %'. Is the unit right?"
    ]
    assert faults(total_thc="3.1", total_cbd="72") == [
        (
            "row 2: total_cbd must be at most 40 % of dry weight, got '72 % of dry weight'. "
            "Is the unit mg/g, or the moisture wrong?"
        )
    ]
    assert faults(total_thc="0.3", basis=Basis.AS_RECEIVED) == [
        "row 2: moisture must be the moisture in percent, to reckon dry weight, it is missing."
    ]
    assert faults(total_thc="0.3", basis=Basis.AS_RECEIVED, moisture="95") == [
        "row 2: moisture must be from 0 to 90 %, got '95'."
    ]


def test_dates_and_plants_limits():
    """A report cannot come before its sample, nor a sample hold no plant."""
    wrong = replace(printed(total_thc="0.3"), reported_on=date(2026, 9, 1), plants=0)
    found = check(wrong, "row 2")
    assert [str(fault) for fault in found] == [
        "row 2: reported_on must be on or after the sampling day, got '2026-09-01'.",
        "row 2: plants must be the number of plants cut, 1 or more, got 0.",
    ]
