"""The steps about work: places to cure by the measuring tape, the crew, prices."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import Annotated

from pydantic import TypeAdapter

from tierpole.barn.geometry import place_capacity
from tierpole.farm import Costs, Crew, CrewHours, Market, Noun, Place, PriceForm
from tierpole.farm.measure import Count, Measure
from tierpole.office.entry.fields import Ask, allowed_by, ask_of
from tierpole.office.start.asking import RowFaultError, Step, Told, Values, measured
from tierpole.office.start.assumed import (
    COEFFICIENTS,
    usual_costs,
    usual_crew,
    usual_place,
    usual_prices,
)
from tierpole.office.start.known import Known
from tierpole.rulebook import cautions
from tierpole.units import ACRE, System, show, write_quantity

MOST_RUNS = 60
PEOPLE = Count(1, 200)
_TAPE = re.compile(r"By the tape: (.+) long, (.+) wide, (.+) high, rails (.+) apart")


def _length(key: str, label: str, hint: str, low: str, high: str, needed: bool = True) -> Ask:
    return measured(key, label, Measure("a length", low, high), hint, needed)


# --- places ---------------------------------------------------------------------------------------


def _place(values: Values, _known: Known) -> Iterator[Noun]:
    rails = values["rails"] or COEFFICIENTS["rail_spacing"]
    runs = int(values["wide"] / rails + 1e-9)
    if not 1 <= runs <= MOST_RUNS:
        raise RowFaultError("wide", f"The width must take 1 to {MOST_RUNS} rows, rail to rail.")
    long, wide, high = (values[key] for key in ("long", "wide", "high"))
    tape = [write_quantity(one, "a length") for one in (long, wide, high, rails)]
    optional = ("keep_out", "bents", "free_from", "occupied_by")
    given = {key: values[key] for key in optional if values[key] is not None}
    if "occupied_by" in given and "free_from" not in given:
        raise RowFaultError("free_from", "Write until when something else hangs there.")
    place = Place(
        name=values["name"], kind=values["kind"], tiers=values["tiers"], runs=runs,
        run_length=long, volume=long * wide * high,
        stick_spacing=values["stick_spacing"] or COEFFICIENTS["stick_spacing"],
        note="By the tape: {} long, {} wide, {} high, rails {} apart".format(*tape), **given,
    )  # fmt: skip
    if place_capacity(place) < 1:
        raise RowFaultError("long", "No stick fits in it: look at the measures again.")
    yield place


def _place_answers(noun: Place, _known: Known, system: System) -> dict[str, str]:
    shown = {
        ask.key: ask.show(getattr(noun, ask.key), system)
        for ask in PLACES.asks if ask.key in Place.model_fields
    }  # fmt: skip
    if tape := _TAPE.fullmatch(noun.note):
        return shown | dict(zip(("long", "wide", "high", "rails"), tape.groups(), strict=True))
    rails = COEFFICIENTS["rail_spacing"]
    wide = noun.runs * rails
    sizes = {"long": noun.run_length, "wide": wide, "rails": rails,
             "high": noun.volume / (wide * noun.run_length)}  # fmt: skip
    return shown | {key: show(one, "a length", system, 6) for key, one in sizes.items()}


def _usual_places(_known: Known) -> Iterator[Noun]:
    yield usual_place()


def sticks_an_acre(known: Known) -> float:
    """Sticks that come off an acre: of the lots told so far, else of the usual spacing."""
    area = sum(lot.area for lot in known.lots) / ACRE
    if not area:
        return COEFFICIENTS["density_clone"] * ACRE / COEFFICIENTS["plants_stick_clone"]
    return sum(lot.plants_set / lot.plants_per_stick for lot in known.lots) / area


def _tell_place(values: Values, known: Known, _system: System) -> Iterator[Told]:
    (place,) = _place(values, known)
    assert isinstance(place, Place)  # noqa: S101 - for the type checker
    room = place_capacity(place)
    acres = room / sticks_an_acre(known)
    rows = f"{place.runs} rows of sticks, {place.tiers} high"
    yield Told(place.name, f"holds {room:,} sticks in {rows}: about {acres:.1f} acres at once.")


PLACES = Step(
    "places", "Places to cure, by the measuring tape",
    "Room in sticks decides how much can hang at once, and how tight it dries.",
    "one air-cured barn of 64 by 40 ft with three tiers",
    "place",
    (
        ask_of(Place, "name", "Name of the place"), ask_of(Place, "kind", "What it is"),
        _length("long", "Length inside", "64 ft", "4 ft", "600 ft"),
        _length("wide", "Width inside", "40 ft", "2 ft", "240 ft"),
        _length("high", "Height, to half the roof", "22 ft", "5 ft", "60 ft"),
        ask_of(Place, "tiers", "Tiers you hang", hint="3"),
        _length("rails", "From rail to rail", "4 ft", "2 ft", "8 ft", needed=False),
        ask_of(Place, "stick_spacing", "From stick to stick", hint="14 in", is_needed=False),
        ask_of(Place, "bents", "Bents", hint="5"),
        ask_of(Place, "keep_out", "Sticks kept out, for doors and a drive", hint="28"),
        ask_of(Place, "occupied_by", "Something else hangs there", hint="tobacco"),
        ask_of(Place, "free_from", "Free from"),
    ),
    _place, _place_answers, _usual_places, _tell_place, row="Place",
    folded=(
        ("Bents, spacing, what is kept free",
         ("rails", "stick_spacing", "bents", "keep_out")),
        ("Something else hangs there now", ("occupied_by", "free_from")),
    ),
    notes=tuple(one.says for one in cautions("barn") if one.key in ("rails-break", "falls")),
)  # fmt: skip


# --- crew -----------------------------------------------------------------------------------------


def _crew(values: Values, known: Known) -> Iterator[Noun]:
    usual = usual_crew(known.year, _room(known))
    hours = values["people"] * values["hours"]
    given = {key: values[key] for key in ("wage", "sticks_owned", "cut") if values[key] is not None}
    said = usual.model_dump(exclude_unset=True) | given
    said["hours"] = (CrewHours(starting=date(known.year, 8, 1), hours=hours),)
    yield Crew.model_validate(said)


def _crew_answers(noun: Crew, _known: Known, system: System) -> dict[str, str]:
    """The crew as it was told; how many people share the hours is guessed from their sum."""
    total = noun.hours[-1].hours if noun.hours else 0.0
    people = max(1, round(total / 3600 / COEFFICIENTS["hours"]))
    cut = show(noun.cut, "a labour rate", system) if "cut" in noun.model_fields_set else ""
    return {
        "people": str(people), "hours": f"{total / people / 3600:.6g} h",
        "wage": f"{noun.wage * 3600:.6g} USD/h", "sticks_owned": f"{noun.sticks_owned:,}",
        "cut": cut,
    }  # fmt: skip


def _room(known: Known) -> int:
    return sum(map(place_capacity, known.places))


def _usual_crews(known: Known) -> Iterator[Noun]:
    yield usual_crew(known.year, _room(known))


def _tell_crew(values: Values, known: Known, _system: System) -> Iterator[Told]:
    (crew,) = _crew(values, known)
    assert isinstance(crew, Crew)  # noqa: S101
    sticks = crew.hours[-1].hours / (crew.cut + crew.haul + crew.hang)
    wanted = sum(lot.plants_set / lot.plants_per_stick for lot in known.lots)
    days = f"; your lots are about {wanted:,.0f} sticks, {wanted / sticks:.0f} days of that"
    yield Told("Cut, hauled and hung", f"about {sticks:,.0f} sticks a day{days if wanted else ''}.")


CREW = Step(
    "crew", "Your crew",
    "Hours decide how many sticks come in on a day.",
    "three people, nine hours a day from August on, Monday to Saturday, at 18 dollars an hour",
    "crew",
    (
        Ask("people", "People at harvest", "count", True,
            TypeAdapter(Annotated[int, PEOPLE]), hint="3", allowed=allowed_by(PEOPLE)),
        measured("hours", "Hours a day for each", Measure("a time", "0.5 h", "16 h"), "9"),
        ask_of(Crew, "wage", "Wage", hint="18", is_needed=False),
        ask_of(Crew, "sticks_owned", "Sticks you own", is_needed=False, hint="1,200"),
        ask_of(Crew, "cut", "Cutting takes", hint="2.5 min/stick"),
    ),
    _crew, _crew_answers, _usual_crews, _tell_crew,
    folded=(("Sticks and speed", ("sticks_owned", "cut")),),
)  # fmt: skip


# --- prices ---------------------------------------------------------------------------------------


def _prices(values: Values, _known: Known) -> Iterator[Noun]:
    needed = "price" if values["form"] is PriceForm.POINT else "flat_price"
    if values[needed] is None:
        told = "Write the price this way of selling has."
        raise RowFaultError(needed, told)
    yield Market.model_validate({
        "form": values["form"], needed: values[needed],
        "remediated_price": COEFFICIENTS["remediated"],
    })  # fmt: skip
    said = usual_costs().model_dump(exclude_unset=True)
    given = {key: values[key] for key in ("plant", "inputs", "overhead") if values[key] is not None}
    yield Costs.model_validate(said | given)


def _price_answers(noun: Market, known: Known, system: System) -> dict[str, str]:
    costs = next(iter(known.nouns("costs")), None)
    both = {ask.key: noun if ask.key in Market.model_fields else costs for ask in PRICES.asks}
    return {
        ask.key: ask.show(getattr(both[ask.key], ask.key), system) if both[ask.key] else ""
        for ask in PRICES.asks
    }


def _usual_markets(_known: Known) -> Iterator[Noun]:
    yield from usual_prices()


def _tell_prices(values: Values, known: Known, _system: System) -> Iterator[Told]:
    _, costs = _prices(values, known)
    assert isinstance(costs, Costs)  # noqa: S101
    plants = sum(lot.plants_set for lot in known.lots)
    acres = sum(lot.area for lot in known.lots)
    if plants:
        spent = plants * costs.plant + acres * costs.inputs
        yield Told("Before harvest", f"about ${spent:,.0f} for plants and inputs.")


PRICES = Step(
    "prices", "Prices",
    "What a pound brings, against what another week in the field risks.",
    "an open price of about 45 cents a point, and what plants and inputs usually cost",
    "market",
    (
        ask_of(Market, "form", "How the buyer pays", is_needed=True),
        ask_of(Market, "price", "Price a point", hint="1.50 USD/point/lb"),
        ask_of(Market, "flat_price", "Or price a pound", hint="8 USD/lb"),
        ask_of(Costs, "plant", "A rooted cutting costs", hint="1.25", is_needed=False),
        ask_of(Costs, "inputs", "Fertilizer and all, an acre", hint="900", is_needed=False),
        ask_of(Costs, "overhead", "Licence, fuel, land, in all", hint="3,700"),
    ),
    _prices, _price_answers, _usual_markets, _tell_prices,
    folded=(("What it costs", ("plant", "inputs", "overhead")),), usual={"form": "point"},
)  # fmt: skip
