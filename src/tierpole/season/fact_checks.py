"""What the records of a season may not say: names, dates, and sticks that do not add up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date

from tierpole.barn.geometry import place_capacity
from tierpole.errors import Fault
from tierpole.farm import Hanging
from tierpole.season.draft import Check, Draft, Row, label, place
from tierpole.season.facts import DAYS, Season
from tierpole.units import write_quantity

NAMED = {"field": "fields", "variety": "varieties", "lot": "lots", "place": "places"}
REFERRING = {
    "lots": ("field", "variety"),
    "tests": ("lot",),
    "samples": ("lot",),
    "cuts": ("lot",),
    "hangings": ("lot", "place"),
    "readings": ("lot", "place"),
    "air_readings": ("place",),
    "stick_weights": ("lot", "place"),
    "airings": ("place",),
    "tier_loads": ("lot", "place"),
    "clean_downs": ("place",),
    "flowering": ("lot",),
}
DATED = {
    "lots": ("set_on",),
    "places": ("free_from",),
    "tests": ("sampled_on", "reported_on"),
    "samples": ("requested_on", "sampled_on"),
    "cuts": ("cut_on",),
    "hangings": ("hung_on", "down_on"),
    "readings": ("hung_on", "read_on"),
    "air_readings": ("read_on",),
    "stick_weights": ("hung_on", "read_on"),
    "airings": ("set_on",),
    "tier_loads": ("hung_on",),
    "clean_downs": ("cleaned_on",),
    "flowering": ("seen_on",),
    "gauge_readings": ("read_on",),
}
ORDERED = {
    "tests": ("sampled_on", "reported_on"),
    "samples": ("requested_on", "sampled_on"),
    "hangings": ("hung_on", "down_on"),
    "readings": ("hung_on", "read_on"),
    "stick_weights": ("hung_on", "read_on"),
}
FIRST_SEEN = {
    "tests": "sampled_on",
    "samples": "sampled_on",
    "cuts": "cut_on",
    "flowering": "seen_on",
}


def names_differ(draft: Draft) -> Iterator[Fault]:
    """Two fields, varieties, lots or places may not share a name."""
    for table in NAMED.values():
        seen: set[str] = set()
        for number, noun in enumerate(getattr(draft.season, table)):
            name = getattr(noun, "name", None)
            if name in seen:
                allowed = f"different from the other {table}"
                yield Fault(place(table, number, name), "name", name, allowed)
            if name is not None:
                seen.add(name)


def references_exist(draft: Draft) -> Iterator[Fault]:
    """Lots name fields and varieties, facts name lots and places, that are written down."""
    known = {key: _names(draft, table) for key, table in NAMED.items()}
    for table, keys in REFERRING.items():
        for number, noun in enumerate(getattr(draft.season, table)):
            for key in keys:
                name, names = getattr(noun, key, None), known[key]
                if name is not None and names is not None and name not in names:
                    allowed = f"the name of a {key} ({', '.join(names) or 'none is written'})"
                    where = place(table, number, label(noun) if key != "lot" else "")
                    yield Fault(where, key, name, allowed)


def _names(draft: Draft, table: str) -> list[str] | None:
    """The names in a table; None when one could not be read, so that it may be the one meant."""
    names = [getattr(noun, "name", None) for noun in getattr(draft.season, table)]
    read = [name for name in names if name is not None]
    return read if draft.is_table(table) and len(read) == len(names) else None


def dates_in_season(draft: Draft) -> Iterator[Fault]:
    """Facts lie between 1 April and 31 December of the season year."""
    if not draft.is_sound("season"):
        return
    season = draft.season
    outside = [one for one in _dated(draft) if not 0 <= season.index(one[2]) < DAYS]
    years = {day.year for _, _, day in outside}
    is_all = len(outside) > 1 and len(outside) == sum(1 for _ in _dated(draft))
    if is_all and len(years) == 1:  # one slip, not one a date
        allowed = f"the year of the dates written, {years.pop()}"
        yield Fault("scenario", "season", season.year, allowed)
        return
    allowed = f"a date from {season.first_day} to {season.day(DAYS - 1)}"
    yield from (row.fault(key, day, allowed) for row, key, day in outside)
    yield from _lists_in_year(draft)


def _dated(draft: Draft) -> Iterator[tuple[Row, str, date]]:
    """Every date that is written of a fact: the row, the field, the day."""
    for row in draft.rows(*DATED):
        for key in DATED[row.table]:
            if (day := getattr(row.noun, key)) is not None:
                yield row, key, day


def _lists_in_year(draft: Draft) -> Iterator[Fault]:
    """Crew hours and days without sampler are of the season's year."""
    allowed = f"a date in {draft.season.year}"
    spans = draft.season.crew.hours if draft.is_sound("crew") else ()
    closed = draft.season.sampler.closed_on if draft.is_sound("sampler") else ()
    for number, span in enumerate(spans):
        if span.starting.year != draft.season.year:
            yield Fault(place("crew.hours", number), "starting", span.starting, allowed)
    for number, day in enumerate(closed):
        if day.year != draft.season.year:
            yield Fault("sampler", f"closed_on[{number + 1}]", day, allowed)


def dates_in_order(draft: Draft) -> Iterator[Fault]:
    """A report does not come before its sample, nor a taking down before the hanging."""
    for row in draft.rows(*ORDERED):
        first, second = ORDERED[row.table]
        early, late = getattr(row.noun, first), getattr(row.noun, second)
        if late is not None and late < early:
            yield row.fault(second, late, f"on or after {first} ({early})")


def nothing_before_setting(draft: Draft) -> Iterator[Fault]:
    """A lot is not seen, sampled or cut before it was set."""
    set_on = {row.noun.name: row.noun.set_on for row in draft.rows("lots")}
    for row in draft.rows(*FIRST_SEEN):
        key, start = FIRST_SEEN[row.table], set_on.get(row.noun.lot)
        day = getattr(row.noun, key)
        if start is not None and day < start:
            yield row.fault(key, day, f"after the lot was set ({start})")


def cut_sticks_stood(draft: Draft) -> Iterator[Fault]:
    """No more sticks are cut of a lot than it makes; until they are counted all plants live."""
    if not draft.is_sound("cuts"):
        return
    lots = {row.noun.name: row.noun for row in draft.rows("lots")}
    cut: Counter[str] = Counter()
    for row in sorted(draft.rows("cuts"), key=lambda row: row.noun.cut_on):
        lot = lots.get(row.noun.lot)
        cut[row.noun.lot] += row.noun.sticks
        if lot is None:
            continue
        plants = lot.plants_set if lot.plants_counted is None else lot.plants_counted
        most = plants / lot.plants_per_stick
        if cut[lot.name] > most + 1:
            allowed = (
                f"at most {most:,.0f} with the lot's other cuts: its plants over those a stick"
            )
            yield row.fault("sticks", row.noun.sticks, allowed)


def hung_sticks_were_cut(draft: Draft) -> Iterator[Fault]:
    """No more sticks of a lot hang, day by day, than had been cut."""
    if not draft.is_sound("cuts", "hangings"):
        return
    hung: Counter[str] = Counter()
    for row in sorted(draft.rows("hangings"), key=lambda row: row.noun.hung_on):
        lot, day = row.noun.lot, row.noun.hung_on
        cut = sum(c.sticks for c in draft.season.cuts if c.lot == lot and c.cut_on <= day)
        if hung[lot] + row.noun.sticks > cut:
            allowed = f"at most the {cut - hung[lot]:,} sticks cut of the lot and not yet hung"
            yield row.fault("sticks", row.noun.sticks, allowed)
        hung[lot] += row.noun.sticks


def hangings_find_room(draft: Draft) -> Iterator[Fault]:
    """What hangs in a place has room there, and came after whatever hung there before."""
    places = {row.noun.name: row.noun for row in draft.rows("places")}
    for row in draft.rows("hangings"):
        where, day = places.get(row.noun.place), row.noun.hung_on
        if where is None:
            continue
        if where.free_from is not None and day < where.free_from:
            allowed = f"on or after the day {where.name} is free ({where.free_from})"
            yield row.fault("hung_on", day, allowed)
        room, there = place_capacity(where), _hanging_on(draft.season, where.name, day)
        if draft.is_sound("hangings") and there > room:
            others = there - row.noun.sticks
            allowed = f"at most the {max(room - others, 0):,} sticks of room left that day"
            yield row.fault("sticks", row.noun.sticks, allowed)


def _hanging_on(season: Season, name: str, day: date) -> int:
    """Sticks in a place on a day."""

    def hangs(one: Hanging) -> bool:
        return one.hung_on <= day and (one.down_on is None or one.down_on > day)

    return sum(one.sticks for one in season.hangings if one.place == name and hangs(one))


def readings_are_of_hangings(draft: Draft) -> Iterator[Fault]:
    """A reading is of something that was hung in that place on that day, and hung still."""
    if not draft.is_sound("hangings"):
        return
    for row in draft.rows("readings", "stick_weights"):
        own = (row.noun.place, row.noun.lot)
        hung = [h for h in draft.season.hangings if (h.place, h.lot) == own]
        same = [h for h in hung if h.hung_on == row.noun.hung_on]
        if not same:
            days = ", ".join(str(h.hung_on) for h in hung) or "none"
            allowed = f"a day on which {own[1]} was hung in {own[0]} ({days})"
            yield row.fault("hung_on", row.noun.hung_on, allowed)
        elif all(h.down_on is not None and h.down_on < row.noun.read_on for h in same):
            down = max(h.down_on for h in same if h.down_on is not None)
            yield row.fault("read_on", row.noun.read_on, f"by the day it was taken down ({down})")


def sightings_are_possible(draft: Draft) -> Iterator[Fault]:
    """No more plants are in flower than were looked at."""
    for row in draft.rows("flowering"):
        if row.noun.in_flower > row.noun.looked_at:
            yield row.fault(
                "in_flower", row.noun.in_flower, f"at most looked_at ({row.noun.looked_at:,})"
            )


def gauge_readings_are_possible(draft: Draft) -> Iterator[Fault]:
    """A reading of the farm's own gauge has a value, and its temperatures are in order."""
    for row in draft.rows("gauge_readings"):
        if row.noun.contradiction:
            field, allowed = row.noun.contradiction
            value = getattr(row.noun, field)
            shown = None if value is None else write_quantity(value, "a temperature")
            yield row.fault(field, shown, allowed)


def limits_stand_in(draft: Draft) -> Iterator[Fault]:
    """A content said to be below its limit has that limit written."""
    for row in draft.rows("tests"):
        if row.noun.cbd_below and row.noun.total_cbd is None:
            yield row.fault("total_cbd", None, "the limit that CBD stayed below")
        if row.noun.thc_below and not row.noun.total_thc:
            yield row.fault("total_thc", 0, "the limit that THC stayed below, above 0")


def learnt_is_of_varieties(draft: Draft) -> Iterator[Fault]:
    """What was learnt is of varieties of this season, each once."""
    known = _names(draft, "varieties")
    if known is None:
        return
    seen: set[str] = set()
    for learnt in draft.season.learnt:
        if learnt.variety not in known:
            allowed = f"files on varieties written here ({', '.join(known)})"
            yield Fault("files", "learnt", learnt.variety, allowed)
        elif learnt.variety in seen:
            yield Fault("files", "learnt", learnt.variety, "one file for each variety")
        seen.add(learnt.variety)


CHECKS: tuple[Check, ...] = (
    names_differ,
    references_exist,
    dates_in_season,
    dates_in_order,
    nothing_before_setting,
    cut_sticks_stood,
    hung_sticks_were_cut,
    hangings_find_room,
    readings_are_of_hangings,
    sightings_are_possible,
    gauge_readings_are_possible,
    limits_stand_in,
    learnt_is_of_varieties,
)
