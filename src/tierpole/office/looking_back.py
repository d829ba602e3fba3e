"""The books as they were: by what was known on a day, or by the entries they held under a seal."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from tierpole.charts import words
from tierpole.errors import Fault, InputError
from tierpole.farm.books import KeptPlan
from tierpole.farm.measure import Day
from tierpole.office.kept import mark_of
from tierpole.records import AsOf, Store, counts_then, entry_numbered, known_then

_SEAL = re.compile(r"([1-9][0-9]{0,8})(?::([0-9a-f]{64}))?")


@dataclass(frozen=True)
class Back:
    """What is said of the books as they were: in a sentence, by kind, and the plan in force."""

    sentence: str
    stood: tuple[tuple[str, int], ...]
    plan: str
    planned_on: date | None


def as_of(store: Store, on: str, seal: str) -> AsOf:
    """How the books are to be read back, as an address says it; `InputError` when it cannot be.

    A seal may be the number of an entry alone; with its hash it must be one of these books.
    """
    faults = [*_fault_of_day(on), *_fault_of_seal(store, seal)]
    if faults:
        raise InputError("asked for", faults)
    day = date.fromisoformat(on) if on else date.max
    return AsOf(day, int(seal.partition(":")[0]) if seal else None)


def _fault_of_day(on: str) -> list[Fault]:
    try:
        if on:
            Day().read(on)
    except ValueError:
        return [Fault("books", "on", on, Day().allowed)]
    return []


def _fault_of_seal(store: Store, seal: str) -> list[Fault]:
    if not seal:
        return []
    found = _SEAL.fullmatch(seal)
    if found is None:
        allowed = "the number of an entry, or a seal: a number, a colon and 64 hex digits"
        return [Fault("books", "seal", seal, allowed)]
    entry = entry_numbered(store, int(found[1]))
    if entry is None:
        return [Fault("books", "seal", seal, "the number of an entry the books hold")]
    if found[2] and found[2] != entry.hash:
        return [Fault("books", "seal", seal, f"a seal of these books: {entry.seq}:{entry.hash}")]
    return []


def look_back(store: Store, as_of: AsOf) -> Back:
    """What stood then, and the plan that was worked from."""
    stood, plans = counts_then(store, as_of), known_then(store, "plan", as_of)
    plan = plans[-1].noun if plans else None
    is_planned = isinstance(plan, KeptPlan)
    return Back(
        sentence=_sentence(as_of, sum(stood.values())),
        stood=tuple(sorted(stood.items())),
        plan=mark_of(plan) if is_planned else "",
        planned_on=plan.made_on if is_planned else None,
    )


def _sentence(as_of: AsOf, stood: int) -> str:
    held = f"as they stood at entry No. {as_of.until:,}" if as_of.until else ""
    day = f"{words.long_day(as_of.on)} {as_of.on.year}"
    known = f"as known on {day}" if as_of.on != date.max else ""
    later = "that was written or became known later" if held and known else (
        "that was written later" if held else "that became known later")  # fmt: skip
    how = " and ".join(filter(None, (held, known)))
    return f"The books {how}: {words.counted(stood, 'thing')} stood; nothing {later} is shown."
