"""What a certificate says under a rulebook: total THC, pass or fail, negligence.

All comparisons are in decimals, with the digits the laboratory printed: in binary arithmetic
0.34 - 0.04 comes out above 0.30 and would fail a lot that passes.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

from tierpole.farm import Test, TestKind
from tierpole.rulebook import Rulebook, Strikes

Printed = Decimal | float
_PRINTED_DIGITS = Decimal("1e-9")  # a certificate prints far fewer
_PERCENT_PLACES = 2


def printed(share: Printed) -> Decimal:
    """The decimal number a certificate printed, from a share kept in binary."""
    return Decimal(repr(share) if isinstance(share, float) else share).quantize(_PRINTED_DIGITS)


def total_thc(delta9: Printed, thca: Printed, factor: Decimal) -> Decimal:
    """Total THC, as if all acid were decarboxylated.

    Parameters
    ----------
    delta9, thca : share of dry weight [1]
    factor : mass of THC from a mass of THCA [1]

    Returns
    -------
    Decimal : share of dry weight [1]

    Equation: total = delta9 + factor x THCA, factor 0.877 in the law (314.469 / 358.478 = 0.8772).
    Source: 7 CFR 990.1, "Decarboxylated".
    """
    return printed(delta9) + factor * printed(thca)


def dry_basis(as_received: Printed, moisture: Printed) -> Decimal:
    """A content on dry weight from the content as received.

    Parameters
    ----------
    as_received : share of the weight as received [1]
    moisture : water, wet basis [1], 0 to below 1

    Returns
    -------
    Decimal : share of dry weight [1]

    Equation: dry = as received / (1 - moisture).
    Source: definition of the dry weight basis, 7 CFR 990.1 (from memory); arithmetic.
    """
    return printed(as_received) / (1 - printed(moisture))


def largest_passing(uncertainty: Printed, book: Rulebook) -> Decimal:
    """The largest result [share of dry weight] that passes with the uncertainty [share] stated."""
    return book.limit.value + (printed(uncertainty) if book.mu_allowed.value else Decimal(0))


def passes(result: Printed, uncertainty: Printed, book: Rulebook) -> bool:
    """True when a printed result is within the acceptable hemp THC level.

    Parameters
    ----------
    result : total THC as printed, share of dry weight [1]
    uncertainty : measurement uncertainty as printed, share of dry weight [1]
    book : the rulebook in force

    Returns
    -------
    bool

    Equation: pass when result - uncertainty <= limit.
    Source: 7 CFR 990.1, "Acceptable hemp THC level".
    Departures: the uncertainty counts only where the rulebook allows it; the result is rounded
    only where the rulebook names a number of decimals (of the percent).
    """
    return _rounded(printed(result), book) <= largest_passing(uncertainty, book)


def is_over_negligence_line(result: Printed, book: Rulebook) -> bool:
    """True when a result is above what reasonable efforts excuse; no uncertainty is allowed for."""
    return printed(result) > book.negligence_line.value


def negligent_seasons(tests: Iterable[Test], book: Rulebook) -> tuple[int, ...]:
    """Years with an official result above the line of negligence, oldest first, each once."""
    over = (
        test.sampled_on.year
        for test in tests
        if test.kind is TestKind.OFFICIAL and is_over_negligence_line(test.total_thc, book)
    )
    return tuple(sorted(set(over)))


def revoking_season(seasons: Iterable[int], strikes: Strikes) -> int | None:
    """The season whose negligent violation revokes the license, or None.

    `seasons` are the years with a negligent violation; several in one season count once.
    Source: 7 CFR 990.6(b), 990.29(e).
    """
    years = sorted(set(seasons))
    for first, last in zip(years, years[strikes.count - 1 :], strict=False):
        if last - first < strikes.years:
            return last
    return None


def _rounded(result: Decimal, book: Rulebook) -> Decimal:
    places = book.limit_decimals.value
    if isinstance(places, str):
        return result
    return result.quantize(Decimal(1).scaleb(-places - _PERCENT_PLACES), rounding=ROUND_HALF_UP)
