"""The files of loggers and forms that a scenario names, joined to the readings written in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from tierpole.errors import Fault, InputError, StoreError
from tierpole.scenario.model import Scenario
from tierpole.season import Season
from tierpole.season.draft import place
from tierpole.sources import BarnReadings, read_readings

TABLE = "loggers"


def read_loggers(
    scenario: Scenario, unsound: Iterable[tuple[str, int]], beside: Path
) -> tuple[BarnReadings, list[Fault]]:
    """All readings of all loggers' files, and every fault found in them."""
    spoilt = {row for table, row in unsound if table == TABLE}
    places = [one.name for one in scenario.places] if _is_sound("places", unsound) else None
    found, faults = BarnReadings(), list[Fault]()
    for number, logger in enumerate(scenario.loggers):
        if number in spoilt:
            continue
        where = place(TABLE, number)
        if places is not None and logger.place not in places:
            allowed = f"the name of a place ({', '.join(places)})"
            faults.append(Fault(where, "place", logger.place, allowed))
            continue
        try:
            more = read_readings(beside.parent / logger.file, logger.place)
            found = BarnReadings(found.air + more.air, found.weights + more.weights)
        except InputError as error:
            faults += [replace(f, place=f"{error.file}, {f.place}") for f in error.faults]
        except StoreError as error:
            why = str(error).rpartition("(")[2].rstrip(").").lower()
            allowed = f"a file beside the scenario that opens ({why})"
            faults.append(Fault(where, "file", logger.file, allowed))
    return found, faults


def _is_sound(table: str, unsound: Iterable[tuple[str, int]]) -> bool:
    return all(name != table for name, _ in unsound)


def with_logged(season: Season, logged: BarnReadings) -> Season:
    """A season with what loggers and forms read, after what stands in its own file."""
    return replace(
        season,
        air_readings=(*season.air_readings, *logged.air),
        stick_weights=(*season.stick_weights, *logged.weights),
    )
