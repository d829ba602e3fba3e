"""What official results above the line of negligence mean for the licence, over the years."""

from __future__ import annotations

from tierpole.charts import words
from tierpole.compliance import negligent_seasons, revoking_season
from tierpole.documents import Filed
from tierpole.rulebook import rulebook_on
from tierpole.season import Season

COUNTS = ("first", "second", "third", "fourth", "fifth")


def strikes_words(season: Season, filed: Filed) -> str:
    """What the record of this farm means under the rule of strikes; empty when it is clean.

    Counted are the official results known now, of this season and of earlier ones in the books.
    """
    book = rulebook_on(season.farm.jurisdiction, season.on)
    rule = book.strikes.value
    known = (*season.tests, *(test for test in filed.official if test.reported_on <= season.on))
    years = [year for year in negligent_seasons(known, book) if year <= season.year]
    line = words.percent(float(book.negligence_line.value))
    revoked = revoking_season(years, rule)
    if revoked is not None and season.year - revoked < rule.bar_years:
        return (
            f"Results above {line} in {words.listed([str(year) for year in years])} may count as "
            f"{rule.count} negligent violations within {rule.years} years, which revoke the "
            f"license for {rule.bar_years} ({book.strikes.citation}). Speak to the department and "
            "to counsel before anything else."
        )
    counted = [year for year in years if season.year - year < rule.years]
    if not counted:
        return ""
    which = COUNTS[len(counted) - 1] if len(counted) <= len(COUNTS) else str(len(counted))
    return (
        f"The official result above {line} of {counted[-1]} may count as a negligent violation, "
        f"the {which} of {rule.count} within {rule.years} years that revoke the license "
        f"({book.strikes.citation}). Gather the proof of reasonable efforts: certificates of the "
        "variety, earlier tests, records."
    )
