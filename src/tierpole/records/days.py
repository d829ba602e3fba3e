"""Days that cannot be yet: what happened did not happen tomorrow."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from tierpole.errors import Fault, InputError
from tierpole.farm import Noun
from tierpole.farm.measure import too_late
from tierpole.records.kinds import kind_of
from tierpole.records.reading import Wanted, nouns
from tierpole.records.store import Store


def last_day(store: Store) -> date:
    """Today, farm-local; of a demonstration whose own day lies ahead, that day."""
    begun: list[Any] = [one.noun for one in nouns(store, Wanted("season"))]
    return max([_today(), *(season.on for season in begun if season.on)])


def _today() -> date:
    return date.today()  # noqa: DTZ011 farm-local


def days_to_come(store: Store, said: Iterable[Noun | None]) -> list[Fault]:
    """What nouns say happened on a day to come."""
    given = [noun for noun in said if noun is not None]
    if not any(too_late(noun, _today()) for noun in given):
        return []
    today = last_day(store)
    return [
        Fault(kind_of(noun).name, field, day, f"today or before ({today})")
        for noun in given
        for field, day in too_late(noun, today)
    ]


def check_days(store: Store, said: Iterable[Noun | None]) -> None:
    """Raise `InputError` for what is said to have happened on a day to come."""
    if faults := days_to_come(store, said):
        raise InputError("entry", faults)
