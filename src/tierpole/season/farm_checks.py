"""What the farm's own tables may not say: fields, lots, places, crew, prices, sampler."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from tierpole.barn.geometry import hung_runs, hung_tiers, stick_capacity
from tierpole.errors import Fault, RuleError
from tierpole.farm import PriceForm, Weekday
from tierpole.rulebook import jurisdictions, rulebook_on
from tierpole.season.draft import Check, Draft, Row
from tierpole.season.facts import DAYS
from tierpole.units import ACRE, POUND, to_unit

FEWEST, MOST = 300, 60_000  # plants an acre; outside, area or plants carry a slip
HEAVIEST = 10 * POUND  # dry flower a stick: some 70 lb green, more than one hands up a tier


def something_grows(draft: Draft) -> Iterator[Fault]:
    """There is at least one lot and one place."""
    for table in ("lots", "places"):
        if draft.is_table(table) and not getattr(draft.season, table):
            yield Fault(table, "", None, f"at least one [[{table}]] table")


def date_is_in_year(draft: Draft) -> Iterator[Fault]:
    """The season is seen on a day of its own year (or the winter before)."""
    if draft.is_sound("season", "on"):
        year, on = draft.season.year, draft.season.on
        first, last = date(year - 1, 11, 1), date(year, 12, 31)
        if not first <= on <= last:
            yield Fault("scenario", "on", on, f"a date from {first} to {last}")


def rules_are_on_file(draft: Draft) -> Iterator[Fault]:
    """There are rulebooks for the farm's jurisdiction, on the day it is seen and to the end."""
    if not draft.is_sound("farm"):
        return
    season, known = draft.season, jurisdictions()
    if season.farm.jurisdiction not in known:
        yield Fault("farm", "jurisdiction", season.farm.jurisdiction, f"one of {', '.join(known)}")
    elif draft.is_sound("season", "on"):
        try:
            rulebook_on(season.farm.jurisdiction, season.on)
            rulebook_on(season.farm.jurisdiction, season.day(DAYS - 1))
        except RuleError as error:
            allowed = f"a year with rules of {season.farm.jurisdiction} on file"
            yield Fault("scenario", "season", season.year, allowed, str(error))


def farm_lies_north(draft: Draft) -> Iterator[Fault]:
    """The season runs from April to December, so the farm lies where that is summer and fall."""
    if draft.is_sound("farm") and draft.season.farm.latitude <= 0:
        value = _written(draft.season.farm.latitude, "an angle")
        allowed = "north of the equator, for the season runs from April to December"
        yield Fault("farm", "latitude", value, allowed)


def density_is_possible(draft: Draft) -> Iterator[Fault]:
    """Plants an acre between 300 and 60,000: outside, area or plants carry a slip."""
    for row in draft.rows("lots"):
        if not FEWEST <= row.noun.plants_set / (row.noun.area / ACRE) <= MOST:
            area = _written(row.noun.area, "an area")
            allowed = f"{FEWEST} to {MOST:,} plants an acre, on the {area} given"
            yield row.fault("plants_set", row.noun.plants_set, allowed)


def sticks_can_be_lifted(draft: Draft) -> Iterator[Fault]:
    """No stick carries more than one hands up a tier."""
    for row in draft.rows("lots"):
        lot = row.noun
        if lot.plants_per_stick * lot.plant_yield > HEAVIEST:
            most = _written(HEAVIEST, "a mass")
            allowed = f"at most {most} of dry flower a stick, {lot.plants_per_stick} plants on it"
            yield row.fault("plant_yield", _written(lot.plant_yield, "a mass"), allowed)


def counted_were_set(draft: Draft) -> Iterator[Fault]:
    """No more plants live than were set."""
    for row in draft.rows("lots"):
        counted, were_set = row.noun.plants_counted, row.noun.plants_set
        if counted is not None and counted > were_set:
            yield row.fault("plants_counted", counted, f"at most the {were_set:,} plants set")


def places_have_room(draft: Draft) -> Iterator[Fault]:
    """What is kept out leaves room."""
    for row in draft.rows("places"):
        place = row.noun
        runs, tiers = hung_runs(place), len(hung_tiers(place))
        room = int(stick_capacity(place.run_length, place.stick_spacing, runs, tiers))
        if runs < 1 or tiers < 1:
            yield from _nothing_left(row)
        elif room < 1:
            value = _written(place.stick_spacing, "a length")
            yield row.fault("stick_spacing", value, "at most run_length, so that a stick fits")
        elif place.keep_out >= room:
            yield row.fault("keep_out", place.keep_out, f"less than the {room:,} sticks that fit")


def places_come_free(draft: Draft) -> Iterator[Fault]:
    """What occupies a place leaves it one day."""
    for row in draft.rows("places"):
        place = row.noun
        if place.free_from is None:
            for field in ("occupied_by", "known_on"):
                if (value := getattr(place, field)) is not None:
                    yield row.fault(field, value, "left out, or free_from written beside it")
        elif place.known_on is not None and place.known_on > place.free_from:
            allowed = f"on or before free_from ({place.free_from})"
            yield row.fault("known_on", place.known_on, allowed)


def price_matches_form(draft: Draft) -> Iterator[Fault]:
    """A point contract has a price a point, a flat one a price a pound; shares fit together."""
    if not draft.is_sound("market"):
        return
    market = draft.season.market
    if market.form is PriceForm.POINT and market.price is None:
        yield Fault("market", "price", None, 'a price a point such as "1.40 USD/point/lb"')
    if market.form is PriceForm.FLAT and market.flat_price is None:
        yield Fault("market", "flat_price", None, 'a price such as "2.10 USD/lb"')
    if market.paid_full + market.paid_half > 1 + 1e-9:
        full, half = (_written(s, "a share") for s in (market.paid_full, market.paid_half))
        yield Fault("market", "paid_half", half, f"at most 100 % together with paid_full ({full})")
    if market.cbd_cap <= market.lowest_cbd:
        cap, low = (_written(s, "a share") for s in (market.cbd_cap, market.lowest_cbd))
        yield Fault("market", "cbd_cap", cap, f"more than lowest_cbd ({low})")


def crew_is_complete(draft: Draft) -> Iterator[Fault]:
    """The crew has hours from some date on, in order of date, and at least one working day."""
    if not draft.is_sound("crew"):
        return
    crew = draft.season.crew
    starts = [span.starting for span in crew.hours]
    if not starts:
        yield Fault("crew", "hours", None, "a list with at least one entry")
    if starts != sorted(set(starts)):
        allowed = "in order of date, each date once"
        yield Fault("crew", "hours", ", ".join(map(str, starts)), allowed)
    yield from _weekdays("crew", "workdays", crew.workdays)


def sampler_comes(draft: Draft) -> Iterator[Fault]:
    """The sampler comes on some day of the week, and a late result is not before the usual one."""
    if not draft.is_sound("sampler"):
        return
    sampler = draft.season.sampler
    yield from _weekdays("sampler", "weekdays", sampler.weekdays)
    if sampler.result_delay_late < sampler.result_delay:
        late, usual = (
            _written(days, "a number of days")
            for days in (sampler.result_delay_late, sampler.result_delay)
        )
        allowed = f"at least result_delay ({usual})"
        yield Fault("sampler", "result_delay_late", late, allowed)


def _nothing_left(row: Row) -> Iterator[Fault]:
    """What is kept free as a whole leaves a run and a tier."""
    place = row.noun
    if place.aisle_runs >= place.runs:
        yield row.fault("aisle_runs", place.aisle_runs, f"less than the {place.runs} runs")
    if place.tiers <= place.is_top_free + place.is_bottom_free:
        tiers = "one tier is" if place.tiers == 1 else f"{place.tiers} tiers are"
        field = "is_top_free" if place.is_top_free else "is_bottom_free"
        yield row.fault(field, True, f"false, for only {tiers} here")


def _weekdays(table: str, field: str, days: Sequence[Weekday]) -> Iterator[Fault]:
    if not days:
        yield Fault(table, field, None, 'a list such as ["mon", "tue"]')
    elif len(set(days)) < len(days):
        yield Fault(table, field, ", ".join(days), "a list with each day once")


def _written(value: float, kind: str) -> str:
    """An SI value much as a person wrote it."""
    number, unit = to_unit(value, kind)
    return f"{number:.4g} {unit}"


CHECKS: tuple[Check, ...] = (
    something_grows,
    date_is_in_year,
    rules_are_on_file,
    farm_lies_north,
    density_is_possible,
    sticks_can_be_lifted,
    counted_were_set,
    places_have_room,
    places_come_free,
    price_matches_form,
    crew_is_complete,
    sampler_comes,
)
