"""What the guided start takes where a question is skipped, and where each of it comes from."""

from __future__ import annotations

from datetime import date

import numpy as np

from tierpole.crop.biomass import mass_after_delay, mass_at_density
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import (
    Costs,
    Crew,
    CrewHours,
    Field,
    Lot,
    Market,
    Place,
    PlaceKind,
    Stock,
    Variety,
)
from tierpole.farm.measure import Noun
from tierpole.units import ACRE, FOOT, POUND

CHOSEN = "answered at the start"  # why an entry was written
_ASK = "ask for a local figure"

COEFFICIENTS = Table(
    "A farm's start",
    (
        Value(
            "density_clone", 1742 / ACRE, "1/m2", Mark.PRACTICE,
            "a plant every 5 ft in rows 5 ft apart, 1,742 an acre",
            low=1000 / ACRE, high=2700 / ACRE,
        ),
        Value(
            "density_seed", 3200 / ACRE, "1/m2", Mark.INFERENCE,
            "day-neutral seedlings are set closer; breeders say 4,000 an acre and more",
            low=2500 / ACRE, high=5000 / ACRE,
        ),
        Value("plant_neutral", 0.34 * POUND, "kg", Mark.INFERENCE, "threshed, 0.34 lb a plant"),
        Value("plants_stick_clone", 3.0, "plants", Mark.INFERENCE, "air between the plants"),
        Value("plants_stick_seed", 5.0, "plants", Mark.INFERENCE, "smaller plants"),
        Value("set_month", 6.0, "month", Mark.PRACTICE, "mid June to early July in the Midwest"),
        Value("set_day", 1.0, "day", Mark.PRACTICE, "of the month; spacing trials start from it"),
        Value("area", 1.0, "acre", Mark.INFERENCE, "one acre, where no field was given"),
        Value("rail_spacing", 4 * FOOT, "m", Mark.PUBLISHED,
              "3 ft 10 in to 4 ft between rails: Killebrew & Myrick 1897",
              low=(3 + 10 / 12) * FOOT, high=5 * FOOT),
        Value("stick_spacing", 14 / 12 * FOOT, "m", Mark.INFERENCE,
              "wider than burley's 8 to 12 in, for hemp flower must dry faster",
              low=FOOT, high=1.5 * FOOT),
        Value("barn_length", 64 * FOOT, "m", Mark.PRACTICE, "a middling air-cured barn"),
        Value("barn_width", 40 * FOOT, "m", Mark.PRACTICE, "a middling air-cured barn"),
        Value("barn_height", 22 * FOOT, "m", Mark.PRACTICE, "to half the roof; same barn"),
        Value("barn_tiers", 3.0, "tiers", Mark.INFERENCE, "every other one of five, for air"),
        Value("people", 3.0, "people", Mark.INFERENCE, "a family and a hand"),
        Value("hours", 9.0, "h/day", Mark.PRACTICE, "a harvest day"),
        Value("wage", 18.0 / 3600, "USD/s", Mark.INFERENCE, f"$15 to 18 an hour; {_ASK}",
              low=15.0 / 3600, high=20.0 / 3600),
        Value("haul", 400.0, "sticks/day", Mark.INFERENCE, "two wagons on a small farm"),
        Value("price", 0.45 * 100 / POUND, "USD/kg", Mark.INFERENCE,
              f"$0.45 a point, the middle of open offers of 2020-22; {_ASK}",
              low=20 / POUND, high=100 / POUND),
        Value("price_sd", 0.63, "1", Mark.INFERENCE, "log, of open offers; none for a contract"),
        Value("remediated", 0.40 / POUND, "USD/kg", Mark.INFERENCE, f"$0.40 a pound; {_ASK}"),
        Value("plant", 1.25, "USD", Mark.COMPUTED, "NASS 2024: $446,000 for 356,000 plants"),
        Value("inputs", 900.0 / ACRE, "USD/m2", Mark.INFERENCE, f"$900 an acre; {_ASK}"),
        Value("field_labour", 23 * 3600.0, "s", Mark.INFERENCE, "setting and weeding an acre"),
    ),
)  # fmt: skip


def usual_set_on(year: int) -> date:
    """The day plants are set where nobody says another."""
    return date(year, int(COEFFICIENTS["set_month"]), int(COEFFICIENTS["set_day"]))


def usual_plants(area: float, stock: Stock) -> int:
    """How many plants of a stock go on an area at the usual spacing."""
    return max(10, round(area * COEFFICIENTS[f"density_{stock}"]))


def usual_lot(
    name: str, field: str, variety: Variety, stock: Stock, area: float, year: int,
    set_on: date | None = None, plants: int | None = None,
) -> Lot:  # fmt: skip
    """A lot as it is usually set: spacing, sticks and pounds of its stock, later set being less."""
    day = set_on or usual_set_on(year)
    count = plants or usual_plants(area, stock)
    if stock is Stock.SEED:
        mass = COEFFICIENTS["plant_neutral"]
    else:
        late = (day - date(year, 6, 1)).days
        mass = float(mass_after_delay(np.asarray(mass_at_density(count / area)), late))
    return Lot(
        name=name, field=field, variety=variety.name, stock=stock, area=area, set_on=day,
        plants_set=count, plants_per_stick=int(COEFFICIENTS[f"plants_stick_{stock}"]),
        # to the hundredth of a pound: it is no better known
        plant_yield=round(min(max(mass / POUND, 0.03), 1.9), 2) * POUND,
    )  # fmt: skip


def usual_field() -> Field:
    """The one field of a farm that told of none."""
    return Field(name="Field 1")


def usual_place() -> Place:
    """The one barn of a farm that told of none."""
    length, width, height = (COEFFICIENTS[f"barn_{one}"] for one in ("length", "width", "height"))
    return Place(
        name="Barn", kind=PlaceKind.BARN, tiers=int(COEFFICIENTS["barn_tiers"]),
        runs=int(width / COEFFICIENTS["rail_spacing"] + 1e-9), run_length=length,
        stick_spacing=COEFFICIENTS["stick_spacing"], volume=length * width * height,
    )  # fmt: skip


def usual_crew(year: int, room: int) -> Crew:
    """The crew of a farm that told of none; it owns the sticks its places hold."""
    hours = COEFFICIENTS["people"] * COEFFICIENTS["hours"] * 3600
    return Crew.model_validate({
        "wage": COEFFICIENTS["wage"], "workdays": ("mon", "tue", "wed", "thu", "fri", "sat"),
        "hours": (CrewHours(starting=date(year, 8, 1), hours=hours),),
        "sticks_owned": max(room, 10), "haul_limit": int(COEFFICIENTS["haul"]),
    })  # fmt: skip


def usual_prices() -> list[Noun]:
    """What the crop sells for and costs where nobody said."""
    market = Market(
        price=COEFFICIENTS["price"], price_sd=COEFFICIENTS["price_sd"],
        remediated_price=COEFFICIENTS["remediated"],
    )  # fmt: skip
    return [market, usual_costs()]


def usual_costs() -> Costs:
    """What plants, inputs and setting cost where nobody said."""
    return Costs(
        plant=COEFFICIENTS["plant"], inputs=COEFFICIENTS["inputs"],
        field_labour=COEFFICIENTS["field_labour"],
    )  # fmt: skip
