"""How numbers are said: no digit more than they deserve, chances as counts, loss with its sign."""

from __future__ import annotations

from datetime import date

import pytest

from tierpole.charts import words
from tierpole.units import ACRE

SEP = [date(2026, 9, day) for day in range(1, 31)]


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (words.day(date(2026, 9, 8)), "Tue 8 Sep"),
        (words.long_day(date(2026, 9, 8)), "Tuesday 8 September"),
        (words.span(SEP[7], SEP[11]), "8–12 Sep"),
        (words.span(SEP[27], date(2026, 10, 3)), "28 Sep – 3 Oct"),
        (words.span(SEP[7], SEP[7]), "8 Sep"),
        (words.days_of_work([SEP[3], SEP[2]]), "Thu 3 – Fri 4 Sep"),
        (words.days_of_work([SEP[3], SEP[6]]), "Fri 4 to Mon 7 Sep"),
        (words.days_of_work([SEP[3]]), "Fri 4 Sep"),
        (words.days_of_work([SEP[29], date(2026, 10, 1)]), "Wed 30 Sep – Thu 1 Oct"),
        (words.dollars(9_432.0), "$9,400"),
        (words.dollars(-312.4), "−$310"),
        (words.dollars(0.0), "$0"),
        (words.dollars(4.43), "$4.40"),
        (words.signed_dollars(120.2), "+$120"),
        (words.signed_dollars(-0.3), "$0"),
        (words.percent(0.0041), "0.41 %"),
        (words.percent(0.5), "50 %"),
        (words.chance_percent(0.997), "over 99 %"),
        (words.chance_percent(0.001), "under 1 %"),
        (words.chance_percent(1.0), "100 %"),
        (words.odds(0.85), "17 of 20 seasons (85 %)"),
        (words.short_odds(0.85), "17 of 20"),
        (words.area(7.7 * ACRE, "us"), "7.7 acres"),
        (words.area(ACRE, "us"), "1 acre"),
        (words.area(0.8 * ACRE, "us"), "0.8 acre"),
        (words.area(7.7 * ACRE, "metric"), "3.1 ha"),
        (words.counted(1, "stick"), "1 stick"),
        (words.counted(1240, "stick"), "1,240 sticks"),
        (words.spelled(3, "thing"), "three things"),
        (words.spelled(40, "thing"), "40 things"),
        (words.listed(["a", "b", "c"]), "a, b and c"),
        (words.listed(["a"]), "a"),
        (words.temperature(0.0, "us"), "32 °F"),
        (words.temperature(-2.2, "metric"), "−2 °C"),
        (words.temperatures(10.6, 17.8, "us"), "51 to 64 °F"),
        (words.offset(-3 / 1.8, "us"), "3 °F colder than the station"),
        (words.offset(0.0, "us"), "as cold as the station"),
        (words.offset(1.0, "metric"), "1 °C warmer than the station"),
    ],
)
def test_words_limits(said, expected):
    """Each kind of number or date as a person would say it."""
    assert said == expected


def test_rounded_limits():
    """Rounding keeps the asked digits and leaves zero alone."""
    assert words.rounded(0.0, 2) == 0.0
    assert words.rounded(123_456.0, 3) == 123_000.0
    assert words.rounded(-0.012345, 2) == -0.012
