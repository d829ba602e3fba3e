"""What a season may not say: each check looks at one rule and yields every fault it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import date

from tierpole.errors import Fault, RuleError
from tierpole.farm import PriceForm
from tierpole.rulebook import jurisdictions, rulebook_on
from tierpole.season.facts import DAYS, Season
from tierpole.units import ACRE

Check = Callable[[Season], Iterable[Fault]]


def faults(season: Season) -> list[Fault]:
    """Everything in a season that contradicts itself, from all checks."""
    return [fault for check in CHECKS for fault in check(season)]


def _row(table: str, number: int, name: str = "") -> str:
    return f'{table}[{number + 1}] "{name}"' if name else f"{table}[{number + 1}]"


def names_differ(season: Season) -> Iterator[Fault]:
    """Two fields, varieties, lots or places may not share a name."""
    for table in ("fields", "varieties", "lots", "places"):
        seen: set[str] = set()
        for number, noun in enumerate(getattr(season, table)):
            if noun.name in seen:
                allowed = f"different from the other {table}"
                yield Fault(_row(table, number, noun.name), "name", noun.name, allowed)
            seen.add(noun.name)


def references_exist(season: Season) -> Iterator[Fault]:
    """Lots name fields and varieties, facts name lots and places, that are written down."""
    known = {
        "field": [f.name for f in season.fields],
        "variety": [v.name for v in season.varieties],
        "lot": [lot.name for lot in season.lots],
        "place": [p.name for p in season.places],
    }
    tables = {
        "lots": ("field", "variety"),
        "tests": ("lot",),
        "samples": ("lot",),
        "cuts": ("lot",),
        "hangings": ("lot", "place"),
        "readings": ("lot", "place"),
        "flowering": ("lot",),
    }
    for table, keys in tables.items():
        for number, noun in enumerate(getattr(season, table)):
            for key in keys:
                name = getattr(noun, key)
                if name not in known[key]:
                    allowed = f"the name of a {key} ({', '.join(known[key]) or 'none is written'})"
                    yield Fault(_row(table, number, getattr(noun, "name", "")), key, name, allowed)


_DATED = {
    "lots": ("set_on",),
    "tests": ("sampled_on", "reported_on"),
    "samples": ("requested_on", "sampled_on"),
    "cuts": ("cut_on",),
    "hangings": ("hung_on", "down_on"),
    "readings": ("hung_on", "read_on"),
    "flowering": ("seen_on",),
}
_ORDERED = {
    "tests": ("sampled_on", "reported_on"),
    "samples": ("requested_on", "sampled_on"),
    "hangings": ("hung_on", "down_on"),
    "readings": ("hung_on", "read_on"),
}


def dates_in_season(season: Season) -> Iterator[Fault]:
    """Facts lie between 1 April and 31 December of the season year."""
    allowed = f"a date from {season.first_day} to {season.day(DAYS - 1)}"
    for table, keys in _DATED.items():
        for number, noun in enumerate(getattr(season, table)):
            for key in keys:
                day = getattr(noun, key)
                if day is not None and not 0 <= season.index(day) < DAYS:
                    row = _row(table, number, getattr(noun, "name", getattr(noun, "lot", "")))
                    yield Fault(row, key, str(day), allowed)


def dates_in_order(season: Season) -> Iterator[Fault]:
    """A report does not come before its sample, nor a taking down before the hanging."""
    for table, (first, second) in _ORDERED.items():
        for number, noun in enumerate(getattr(season, table)):
            early, late = getattr(noun, first), getattr(noun, second)
            if late is not None and late < early:
                row = _row(table, number, getattr(noun, "lot", ""))
                yield Fault(row, second, str(late), f"on or after {first} ({early})")


def nothing_before_setting(season: Season) -> Iterator[Fault]:
    """A lot is not seen, sampled or cut before it was set."""
    set_on = {lot.name: lot.set_on for lot in season.lots}
    for table in ("tests", "samples", "cuts", "flowering"):
        key = _DATED[table][0] if table != "samples" else "sampled_on"
        for number, noun in enumerate(getattr(season, table)):
            start = set_on.get(noun.lot)
            if start is not None and getattr(noun, key) < start:
                allowed = f"after the lot was set ({start})"
                yield Fault(_row(table, number, noun.lot), key, str(getattr(noun, key)), allowed)


def sticks_add_up(season: Season) -> Iterator[Fault]:
    """No more is cut than stood, no more hung than was cut."""
    for number, lot in enumerate(season.lots):
        total, cut = season.sticks_total(lot), season.sticks_cut(lot)
        hung = sum(h.sticks for h in season.hangings if h.lot == lot.name)
        row = _row("lots", number, lot.name)
        if cut > total + 1:
            yield Fault(row, "cuts", cut, f"at most the {total:,.0f} sticks the lot makes")
        if hung > cut:
            yield Fault(row, "hangings", hung, f"at most the {cut:,} sticks cut of it")
        if lot.plants_counted is not None and lot.plants_counted > lot.plants_set:
            allowed = f"at most the {lot.plants_set:,} plants set"
            yield Fault(row, "plants_counted", lot.plants_counted, allowed)


def density_is_possible(season: Season) -> Iterator[Fault]:
    """Plants an acre between 300 and 60,000: outside, area or plants carry a slip."""
    for number, lot in enumerate(season.lots):
        density = lot.plants_set / (lot.area / ACRE)
        if not 300 <= density <= 60_000:
            allowed = "300 to 60,000 plants an acre for the area given"
            yield Fault(_row("lots", number, lot.name), "plants_set", lot.plants_set, allowed)


def sighting_is_possible(season: Season) -> Iterator[Fault]:
    """No more plants are in flower than were looked at."""
    for number, seen in enumerate(season.flowering):
        if seen.in_flower > seen.looked_at:
            allowed = f"at most looked_at ({seen.looked_at})"
            yield Fault(_row("flowering", number, seen.lot), "in_flower", seen.in_flower, allowed)


def price_matches_form(season: Season) -> Iterator[Fault]:
    """A point contract has a price a point, a flat one a price a pound; chances add to one."""
    market = season.market
    if market.form is PriceForm.POINT and market.price is None:
        yield Fault("market", "price", None, 'a price a point such as "1.40 USD/point/lb"')
    if market.form is PriceForm.FLAT and market.flat_price is None:
        yield Fault("market", "flat_price", None, 'a price such as "2.10 USD/lb"')
    if market.paid_full + market.paid_half > 1 + 1e-9:
        allowed = "at most 100 % together with paid_full"
        yield Fault("market", "paid_half", market.paid_half, allowed)


def crew_is_complete(season: Season) -> Iterator[Fault]:
    """The crew has hours from some date on, in order of date, and at least one working day."""
    starts = [span.starting for span in season.crew.hours]
    if not starts:
        yield Fault("crew", "hours", None, "a list with at least one entry")
    if starts != sorted(set(starts)):
        allowed = "in order of date, each date once"
        yield Fault("crew", "hours", ", ".join(map(str, starts)), allowed)
    if not season.crew.workdays:
        yield Fault("crew", "workdays", None, 'a list such as ["mon", "tue"]')


def something_grows(season: Season) -> Iterator[Fault]:
    """There is at least one lot and one place."""
    for table in ("lots", "places"):
        if not getattr(season, table):
            yield Fault(table, "", None, f"at least one [[{table}]] table")


def date_is_in_year(season: Season) -> Iterator[Fault]:
    """The season is seen on a day of its own year (or the winter before)."""
    first, last = date(season.year - 1, 11, 1), date(season.year, 12, 31)
    if not first <= season.on <= last:
        yield Fault("scenario", "on", str(season.on), f"a date from {first} to {last}")


def rules_are_on_file(season: Season) -> Iterator[Fault]:
    """There are rulebooks for the farm's jurisdiction, on the day it is seen and to the end."""
    place, known = season.farm.jurisdiction, jurisdictions()
    if place not in known:
        yield Fault("farm", "jurisdiction", place, f"one of {', '.join(known)}")
        return
    try:
        rulebook_on(place, season.on)
        rulebook_on(place, season.day(DAYS - 1))
    except RuleError as error:
        allowed = f"a year with rules of {place} on file"
        yield Fault("scenario", "season", season.year, allowed, str(error))


CHECKS: tuple[Check, ...] = (
    something_grows,
    date_is_in_year,
    rules_are_on_file,
    names_differ,
    references_exist,
    dates_in_season,
    dates_in_order,
    nothing_before_setting,
    sticks_add_up,
    density_is_possible,
    sighting_is_possible,
    price_matches_form,
    crew_is_complete,
)
