"""What is worth a second look in a season that nothing forbids."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from tierpole.barn.geometry import place_capacity
from tierpole.errors import InputError
from tierpole.farm import Noun, PriceForm
from tierpole.season.draft import label, place
from tierpole.season.fact_checks import NAMED, REFERRING
from tierpole.season.facts import Season
from tierpole.units import ACRE, FOOT, POUND
from tierpole.weather import clean, fill_gaps, season_pool

FACTS = (
    "tests", "samples", "cuts", "hangings", "readings", "flowering", "air_readings",
    "stick_weights", "airings", "tier_loads", "clean_downs", "gauge_readings",
)  # fmt: skip
NEAR = 1.0  # degrees of latitude or longitude from the farm to its station
RICH = 3_000  # pounds an acre; state averages lie between 1,200 and 2,000
AIR = (8, 250)  # cubic feet a stick; 40 in a 64 x 40 ft barn hung at 18 in
YEARS = 10  # seasons below which one year in ten is hardly seen

Remark = Callable[[Season], Iterable[str]]


def remarks(season: Season) -> list[str]:
    """Everything worth a second look, each as one sentence."""
    return [text for remark in REMARKS for text in remark(season)]


def nothing_is_late(season: Season) -> Iterator[str]:
    """Facts dated after the day the season is seen on are left out of a plan."""
    seen = season.as_seen_on(season.on)
    for table in FACTS:
        left_out = len(getattr(season, table)) - len(getattr(seen, table))
        if left_out:
            rows = "1 row" if left_out == 1 else f"{left_out} rows"
            yield f"{table}: {rows} became known only after {season.on} and will not be used."
    if season.forecast is not None and seen.forecast is None:
        yield f"weather: the forecast was issued after {season.on} and will not be used."


def rows_differ(season: Season) -> Iterator[str]:
    """A row written twice is one too many more often than not."""
    for table in FACTS:
        before: dict[Noun, int] = {}
        for number, noun in enumerate(getattr(season, table)):
            first = before.setdefault(noun, number)
            if first != number:
                here, there = place(table, number, label(noun)), place(table, first)
                yield f"{here} says the same as {there}."


def potencies_are_not_swapped(season: Season) -> Iterator[str]:
    """Hemp grown for CBD holds more of it than of THC."""
    for number, test in enumerate(season.tests):
        if test.total_cbd is not None and test.total_cbd < test.total_thc:
            yield (
                f"{place('tests', number, test.lot)}: total_thc is more than total_cbd; "
                "are the two swapped?"
            )


def everything_is_used(season: Season) -> Iterator[str]:
    """A field or variety that no lot names, and a price the contract does not use."""
    for key, table in NAMED.items():
        if key not in REFERRING["lots"]:
            continue
        used = {getattr(lot, key) for lot in season.lots}
        for number, noun in enumerate(getattr(season, table)):
            if noun.name not in used:
                yield f"{place(table, number, noun.name)} is not named by any lot."
    market = season.market
    idle = "flat_price" if market.form is PriceForm.POINT else "price"
    if getattr(market, idle) is not None:
        yield f'market: {idle} is not used while form is "{market.form}".'


def yields_are_usual(season: Season) -> Iterator[str]:
    """More than anybody has reported from an acre."""
    for number, lot in enumerate(season.lots):
        alive = season.sticks_total(lot) * lot.plants_per_stick
        pounds = alive * lot.plant_yield / POUND / (lot.area / ACRE)
        if pounds > RICH:
            yield (
                f"{place('lots', number, lot.name)}: plant_yield makes {pounds:,.0f} lb an acre; "
                "1,200 to 2,000 is usual."
            )


def rooms_are_usual(season: Season) -> Iterator[str]:
    """Air a stick as places have it; outside, a length or the volume may be in the wrong unit."""
    for number, one in enumerate(season.places):
        air = one.volume / FOOT**3 / max(place_capacity(one), 1)
        if not AIR[0] <= air <= AIR[1]:
            yield (
                f"{place('places', number, one.name)}: volume makes {air:,.0f} ft3 of air a stick; "
                "20 to 100 is usual."
            )


def station_is_near(season: Season) -> Iterator[str]:
    """The weather is of the farm's own neighbourhood; a lost minus sign shows here."""
    farm, station = season.farm, season.past_weather.station
    apart = max(abs(farm.latitude - station.latitude), abs(farm.longitude - station.longitude))
    if apart > NEAR:
        yield (
            f"The station, {station.name}, lies at {station.latitude:.2f}, "
            f"{station.longitude:.2f} deg, the farm at {farm.latitude:.2f}, "
            f"{farm.longitude:.2f}; is its weather the farm's?"
        )


def seasons_are_many(season: Season) -> Iterator[str]:
    """A few years on file show little of what may come."""
    past, _ = clean(season.past_weather)
    try:
        years = len(season_pool(fill_gaps(past)[0]))
    except InputError:
        years = 0
    if years < YEARS:
        yield (
            f"The station has {years} well-recorded seasons besides this one. With so few, the "
            "bands are too narrow; thirty are better."
        )


REMARKS: tuple[Remark, ...] = (
    nothing_is_late,
    rows_differ,
    potencies_are_not_swapped,
    everything_is_used,
    yields_are_usual,
    rooms_are_usual,
    station_is_near,
    seasons_are_many,
)
