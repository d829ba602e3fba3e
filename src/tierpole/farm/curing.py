"""Places to cure and what hangs in them."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from tierpole.farm.land import Date, Happened, Name, Note
from tierpole.farm.measure import Count, Measure, Noun


class PlaceKind(StrEnum):
    """What sort of place it is; its kind gives openings, fans, heater and walls if not written."""

    BARN = "air-cured barn"
    FRAME = "greenhouse frame"
    SHED = "shed with fans"
    ROOM = "forced-air room"


class Place(Noun):
    """A place to cure, by the measuring tape: tiers of rails, sticks laid across at a spacing.

    A run is one row of sticks along the building. Sticks of room = tiers x runs x (run length /
    spacing), less `keep_out` sticks. Runs over an aisle, a hot top tier and a damp bottom tier may
    be kept free as a whole. Until `free_from` something else, such as tobacco, hangs there.

    Heat is advised only from a heater that is said to be listed and vented. `rail_limit` is the
    load a rail may bear by the farmer's or a carpenter's word, never ours.
    """

    name: Name
    kind: PlaceKind
    tiers: Annotated[int, Count(1, 12)]
    runs: Annotated[int, Count(1, 60)]
    run_length: Annotated[float, Measure("a length", "4 ft", "600 ft")]
    stick_spacing: Annotated[float, Measure("a length", "4 in", "60 in")]
    keep_out: Annotated[int, Count(0, 100_000)] = 0
    aisle_runs: Annotated[int, Count(0, 59)] = 0
    is_top_free: bool = False
    is_bottom_free: bool = False
    bents: Annotated[int, Count(1, 100)] | None = None
    rail_limit: Annotated[float, Measure("a load a length", "1 lb/ft", "2000 lb/ft")] | None = None
    volume: Annotated[float, Measure("a volume", "200 ft3", "3000000 ft3")]
    vent_area: Annotated[float, Measure("an area", "0 ft2", "20000 ft2")] | None = None
    fan_flow: Annotated[float, Measure("an air flow", "0 cfm", "500000 cfm")] | None = None
    fan_power: Annotated[float, Measure("power", "0 kW", "200 kW")] | None = None
    heater: Annotated[float, Measure("power", "0 kW", "500 kW")] | None = None
    is_heater_listed_vented: bool = False
    air_changes_day: (
        Annotated[float, Measure("air changes", "0.1 changes/h", "300 changes/h")] | None
    ) = None
    air_changes_night: (
        Annotated[float, Measure("air changes", "0.1 changes/h", "300 changes/h")] | None
    ) = None
    heat_gain_day: Annotated[float, Measure("power", "0 kW", "500 kW")] | None = None
    opens: Annotated[int, Count(0, 23)] | None = None
    shuts: Annotated[int, Count(1, 24)] | None = None
    free_from: Date | None = None
    occupied_by: Name | None = None
    known_on: Date | None = None
    note: Note = ""


class Cut(Noun):
    """Sticks of a lot cut on a day."""

    lot: Name
    cut_on: Happened
    sticks: Annotated[int, Count(1, 100_000)]


class Hanging(Noun):
    """Sticks of a lot hung in a place on a day; `down_on` once they are taken down."""

    lot: Name
    place: Name
    hung_on: Happened
    sticks: Annotated[int, Count(1, 100_000)]
    down_on: Happened | None = None


class Reading(Noun):
    """Moisture of the flower, wet basis, of what was hung in a place on a day."""

    place: Name
    lot: Name
    hung_on: Happened
    read_on: Happened
    moisture_flower: Annotated[float, Measure("a share", "3 %", "90 %")]
