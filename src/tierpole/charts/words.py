"""How numbers and dates are said to a person: one wording for charts, pages and papers.

Never more digits than the number deserves; a chance is a count of seasons first, a percentage
second.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date

from tierpole.outlook.summary import seasons_of_twenty
from tierpole.units import ACRE, System, show

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
LONG_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LONG_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
SMALL_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve",
)  # fmt: skip


def day(when: date) -> str:
    """A date with its weekday: `Tue 8 Sep`."""
    return f"{WEEKDAYS[when.weekday()]} {when.day} {MONTHS[when.month - 1]}"


def long_day(when: date) -> str:
    """A date in full words: `Tuesday 8 September`."""
    return f"{LONG_WEEKDAYS[when.weekday()]} {plain_day(when)}"


def plain_day(when: date) -> str:
    """A date in words without its weekday: `8 September`."""
    return f"{when.day} {LONG_MONTHS[when.month - 1]}"


def short_day(when: date) -> str:
    """A date without its weekday: `8 Sep`."""
    return f"{when.day} {MONTHS[when.month - 1]}"


def span(first: date, last: date) -> str:
    """Two dates as one stretch: `8–12 Sep`, `28 Sep – 3 Oct`, or a single day."""
    if first == last:
        return short_day(first)
    if first.month == last.month:
        return f"{first.day}–{last.day} {MONTHS[first.month - 1]}"
    return f"{short_day(first)} – {short_day(last)}"


def days_of_work(days: Iterable[date]) -> str:
    """Days as a crew says them: `Tue 8 Sep`, `Thu 3, Fri 4 Sep`, `Mon 7 – Thu 10 Sep`."""
    ordered = sorted(set(days))
    first, last = ordered[0], ordered[-1]
    if first == last:
        return day(first)
    start = day(first) if first.month != last.month else day(first).rsplit(" ", 1)[0]
    is_run = (last - first).days == len(ordered) - 1
    return f"{start}{' – ' if is_run else ' to '}{day(last)}"


def rounded(value: float, digits: int) -> float:
    """A number kept to `digits` significant digits."""
    if value == 0 or not math.isfinite(value):
        return value
    return round(value, digits - 1 - math.floor(math.log10(abs(value))))


def dollars(amount: float, digits: int = 2) -> str:
    """Money to `digits` significant digits: `$9,400`, `−$310`."""
    near = rounded(amount, digits)
    body = f"{abs(near):,.0f}" if abs(near) >= 10 or near == int(near) else f"{abs(near):,.2f}"
    return f"{'−' if near < 0 else ''}${body}"


def signed_dollars(amount: float) -> str:
    """A difference in money with its sign, to the dollar: `+$120`, `−$430`, `$0`."""
    near = round(amount)
    sign = "+" if near > 0 else "−" if near < 0 else ""
    return f"{sign}${abs(near):,}"


def percent(share: float, digits: int = 2) -> str:
    """A share as a percentage: `85 %`."""
    near = rounded(100 * share, digits)
    return f"{near:,.0f} %" if near == int(near) else f"{near:,g} %"


def chance_percent(chance: float) -> str:
    """A chance as a whole percentage; never 0 or 100 unless it is."""
    whole = round(100 * chance)
    if whole == 0 and chance > 0:
        return "under 1 %"
    if whole == 100 and chance < 1:
        return "over 99 %"
    return f"{whole} %"


def odds(chance: float) -> str:
    """A chance as seasons and percentage: `17 of 20 seasons (85 %)`."""
    return f"{seasons_of_twenty(chance)} ({chance_percent(chance)})"


def short_odds(chance: float) -> str:
    """A chance where "seasons" has just been said: `17 of 20`."""
    return seasons_of_twenty(chance).removesuffix(" seasons")


def counted(number: float, one: str, many: str = "") -> str:
    """A count with its noun: `1 stick`, `1,240 sticks`."""
    whole = round(number)
    return f"{whole:,} {one if whole == 1 else many or one + 's'}"


def spelled(number: int, one: str, many: str = "") -> str:
    """A small count in letters, for the head of a page: `three things`."""
    noun = one if number == 1 else many or one + "s"
    return f"{SMALL_NUMBERS[number] if number < len(SMALL_NUMBERS) else f'{number:,}'} {noun}"


def listed(names: Sequence[str], join: str = "and") -> str:
    """Names in a sentence: `a, b and c`."""
    if len(names) <= 1:
        return "".join(names)
    return f"{', '.join(names[:-1])} {join} {names[-1]}"


def small(text: str) -> str:
    """A sentence's beginning as it stands inside another."""
    return text[:1].lower() + text[1:]


def capital(text: str) -> str:
    """A sentence with its first letter large."""
    return text[:1].upper() + text[1:]


def temperature(value: float, system: System) -> str:
    """A temperature [°C] to the whole degree: `28 °F`."""
    near = round(value) if system == "metric" else value
    return show(near, "a temperature", system, 2).replace("-", "−")


def temperatures(low: float, high: float, system: System) -> str:
    """Two temperatures [°C] as a band: `51 to 64 °F`."""
    return f"{temperature(low, system).split()[0]} to {temperature(high, system)}"


def area(value: float, system: System, digits: int = 2) -> str:
    """An area [m²] as it is said: `7.7 acres`, `1 acre`, `0.8 acre`, `3.1 ha`."""
    said = show(value, "an area", system, digits)
    return f"{said}s" if said.endswith("acre") and value > ACRE * (1 + 1e-6) else said


def offset(night_offset: float, system: System) -> str:
    """How a field's nights differ from the station's: `3 °F colder than the station`."""
    if abs(night_offset) < 0.05:
        return "as cold as the station"
    kind = "colder" if night_offset < 0 else "warmer"
    apart = show(abs(night_offset), "a temperature difference", system, 2)
    return f"{apart} {kind} than the station"


def no_room(sticks: int) -> str:
    """What a round of planning could not keep, to end a sentence; nothing when it kept all."""
    return f"; {counted(sticks, 'stick')} then found no room" if sticks else ""
