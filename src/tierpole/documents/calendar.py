"""Deadlines as an iCalendar file (RFC 5545), to read once or to follow as a feed.

What a rule or a sample sets keeps its UID when a new plan moves it, so a calendar moves the entry
instead of adding another. A day of cutting or taking down is known by its day: it is that day's
work, and a feed drops it when the plan does.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from tierpole._version import __version__
from tierpole.charts import words
from tierpole.compliance import Deadline, Due

WORK = (Due.CUT, Due.TAKE_DOWN)  # a new day of it is other work

_OCTETS = 75  # RFC 5545, section 3.1: the longest line, its break not counted
_ALARM = "-PT15H"  # nine in the morning of the day before


def calendar(farm: str, made_on: date, deadlines: Iterable[Deadline]) -> str:
    """The text of an iCalendar file with one whole-day event for each deadline."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:-//Tierpole//{__version__}//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"NAME:{_text(farm)}",
        f"X-WR-CALNAME:{_text(farm)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT6H",
        "X-PUBLISHED-TTL:PT6H",
    ]
    for deadline in deadlines:
        lines += _event(_uid(farm, deadline), made_on, deadline)
    return "".join(_folded(line) for line in [*lines, "END:VCALENDAR"])


def _uid(farm: str, deadline: Deadline) -> str:
    """A name of a deadline that outlives a change of its day, but for days of work."""
    first = deadline.was_due or deadline.day
    day = first.isoformat() if deadline.due in WORK else str(first.year)
    what = deadline.what if deadline.due is Due.REPORT else ""
    key = "|".join((farm, day, deadline.due, deadline.subject, what))
    return f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@tierpole"


def _event(uid: str, made_on: date, deadline: Deadline) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{uid}"
    yield f"DTSTAMP:{made_on:%Y%m%d}T000000Z"
    yield f"DTSTART;VALUE=DATE:{deadline.day:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{deadline.day + timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{_text(title(deadline))}"
    yield f"DESCRIPTION:{_text(reason(deadline))}"
    yield f"CATEGORIES:{_text(deadline.due)}"
    yield "TRANSP:TRANSPARENT"
    if deadline.due not in WORK:
        yield from ("BEGIN:VALARM", "ACTION:DISPLAY", f"TRIGGER:{_ALARM}",
                    f"DESCRIPTION:{_text(title(deadline))}", "END:VALARM")  # fmt: skip
    yield "END:VEVENT"


def title(deadline: Deadline) -> str:
    """What is to be done; of what waits, since when, and whether that is late."""
    waits = waiting(deadline)
    return f"{waits}: {deadline.what}" if waits else deadline.what


def waiting(deadline: Deadline) -> str:
    """How long a deadline has waited, in words; empty for one that is still ahead."""
    if deadline.was_due is None:
        return ""
    how = "Since" if deadline.is_at_once else "Late, was due"
    return f"{how} {words.day(deadline.was_due)}"


def reason(deadline: Deadline) -> str:
    """Why a deadline stands, with its rule and whether to confirm it."""
    rule = f" ({deadline.citation})" if deadline.citation else ""
    confirm = " Confirm it with the department." if deadline.verify else ""
    return f"{deadline.why}{rule}{confirm}"


def _text(value: str) -> str:
    """A text value, escaped as RFC 5545, section 3.3.11, asks."""
    for sign, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        value = value.replace(sign, written)
    return "".join(sign for sign in value if sign >= " " and sign != "\x7f")


def _folded(line: str) -> str:
    """A line broken so that none is longer than 75 octets, between whole characters."""
    pieces, piece, size = [], "", 0
    for sign in line:
        octets = len(sign.encode())
        if size + octets > _OCTETS:
            pieces.append(piece)
            piece, size = " ", 1
        piece, size = piece + sign, size + octets
    return "\r\n".join([*pieces, piece]) + "\r\n"
