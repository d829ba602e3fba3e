"""What the books know of a farm that is being begun, and the lists its questions offer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from tierpole.farm import Farm, Lot, Place, Variety
from tierpole.farm.books import WeatherSource
from tierpole.office.entry.fields import Ask
from tierpole.office.start.classes import CLASSES
from tierpole.office.start.sphere import great_circle
from tierpole.records import Store, Stored, Wanted, nouns, read_content, read_kept_station, seasons
from tierpole.scenario import built_in, located
from tierpole.sources import read_station
from tierpole.weather import DailyRecord

ELSEWHERE = "us-federal"
NEAREST = "nearest"
BOOKS_OF = {
    "georgia": "Georgia", "ohio": "Ohio", "oregon": "Oregon", "texas": "Texas",
    ELSEWHERE: "another state or a tribe: federal rules",
}  # fmt: skip


def season_to_begin(today: date) -> int:
    """The season a farm begins: this year's, from November on the next."""
    return today.year + (today.month >= 11)


@dataclass(frozen=True)
class Known:
    """What the books hold so far, by kind; `year` is the season that is begun."""

    year: int
    found: dict[str, list[Stored]] = field(repr=False)
    record: DailyRecord = field(repr=False)

    def stored(self, kind: str) -> list[Stored]:
        """The nouns of a kind."""
        return self.found.get(kind, [])

    def nouns(self, kind: str) -> list[Any]:
        """What the nouns of a kind say."""
        return [one.noun for one in self.stored(kind)]

    @property
    def farm(self) -> Farm | None:
        """The farm, once it is told."""
        return next(iter(self.nouns("farm")), None)

    @property
    def varieties(self) -> list[Variety]:
        """The varieties told so far."""
        return self.nouns("variety")

    @property
    def lots(self) -> list[Lot]:
        """The lots told so far."""
        return self.nouns("lot")

    @property
    def places(self) -> list[Place]:
        """The places told so far."""
        return self.nouns("place")

    def lot_of(self, field: str) -> Lot | None:
        """The first lot of a field."""
        return next((lot for lot in self.lots if lot.field == field), None)

    def options(self, asks: tuple[Ask, ...]) -> dict[str, tuple[tuple[str, str], ...]]:
        """What the lists of some questions offer."""
        return {ask.key: tuple(self._list(ask.list_of)) for ask in asks if ask.list_of}

    def _list(self, of: str) -> list[tuple[str, str]]:
        if of == "jurisdiction":
            return list(BOOKS_OF.items())
        if of == "station":
            found = [(key, one.station.name) for key, one in stations().items()]
            return [(NEAREST, "the nearest that comes with Tierpole"), *found]
        if of == "class":
            return [(one.key, one.name) for one in CLASSES]
        return [(noun.name, noun.name) for noun in self.nouns(of)]


@lru_cache(maxsize=1)
def stations() -> dict[str, DailyRecord]:
    """The station records that come with the package, by the name a scenario gives them."""
    return {name: read_station(located(name, Path())) for name in built_in()}


def nearest(there: Mapping[str, Any]) -> str:
    """The station that comes with the package and lies nearest to a latitude and longitude.

    Where they are not said, the first one in the same state, else the first of all.
    """
    latitude, longitude = there.get("latitude"), there.get("longitude")
    if latitude is None or longitude is None:
        state = BOOKS_OF.get(there.get("jurisdiction", ""), "")
        named = (key for key, one in stations().items() if one.station.name.endswith(state))
        return next(named, next(iter(stations())))

    def away(name: str) -> float:
        station = stations()[name].station
        return great_circle(latitude, longitude, station.latitude, station.longitude)

    return min(stations(), key=away)


KINDS = (
    "season", "weather", "farm", "field", "variety", "lot", "place", "crew", "market", "costs",
)  # fmt: skip


def known_in(store: Store) -> Known:
    """What the books know, of the season that was begun last or is to be begun."""
    today = datetime.now().astimezone().date()
    year = max(seasons(store), default=season_to_begin(today))
    found = {kind: nouns(store, Wanted(kind)) for kind in KINDS}
    ours = {
        kind: [one for one in stored if one.entry.season in (None, year)]
        for kind, stored in found.items()
    }
    return Known(year, ours, _record(store, [one.noun for one in ours["weather"]]))


def _record(store: Store, sources: list[WeatherSource]) -> DailyRecord:
    """The station's record the books were given, else the first that comes with the package."""
    for source in sources:
        if source.station in stations():
            return stations()[source.station]
        listed = read_content(store, source.listed) if source.listed else None
        content = read_content(store, source.station_content)
        return read_kept_station(source.file, content, listed)
    return next(iter(stations().values()))
