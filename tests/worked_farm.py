"""An invented farm of eight lots whose figures were worked by hand from stated formulas.

Fourteen acres on the White Oak Creek weather: 1,742 clones an acre (3,200 seedlings in lot 1), one
in ten lost, three plants a stick (five in lot 1). Each test names the formulas of its figures; they
come from an independent hand calculation, not from this package.
"""

from datetime import date
from functools import cache

from tierpole.farm import (
    Costs,
    Crew,
    CrewHours,
    Farm,
    Field,
    Laboratory,
    Lot,
    Market,
    Place,
    PlaceKind,
    Response,
    Sampler,
    Stock,
    Variety,
    Weekday,
)
from tierpole.season import Season
from tierpole.units import ACRE, FOOT, POUND
from weather_data import DEMO, raw

YEAR = 2025
# name, variety, acres, set on, pounds a plant, sticks by hand
LOTS = (
    ("1 River", "Quickset", 1.0, (6, 12), 0.34, 576),
    ("2 Barn field", "Ridge Early", 2.5, (6, 1), 0.86, 1306),
    ("3 Church", "Ridge Early", 2.0, (6, 4), 0.86, 1045),
    ("4 Lane", "Ridge Early", 2.0, (6, 8), 0.80, 1045),
    ("5 Ridge", "Longbend", 2.2, (6, 2), 0.86, 1150),
    ("6 South bottom", "Longbend hot", 1.8, (6, 6), 0.86, 941),
    ("7 Hollow", "Hollow Late", 1.5, (6, 10), 0.80, 784),
    ("8 Orchard", "Hollow Late", 1.0, (6, 14), 0.76, 523),
)
# critical day length [h], CBD plateau, CBD : THC
VARIETIES = {
    "Ridge Early": (14.9, 0.086, 27.5),
    "Longbend": (14.6, 0.098, 25.5),
    "Longbend hot": (14.6, 0.098, 25.5 / 1.06),
    "Hollow Late": (14.1, 0.090, 28.5),
}


def _varieties():
    day_neutral = Variety(
        name="Quickset", response=Response.DAY_NEUTRAL, inductive_days=30.0, cbd_plateau=0.072,
        cbd_plateau_sd=0.0, cbd_to_thc=27.0, cbd_to_thc_sd=0.0, peak_day=50.0, peak_day_sd=4.0,
    )  # fmt: skip
    return (
        day_neutral,
        *(
            Variety(
                name=name, critical_day_length=critical, critical_day_length_sd=0.0,
                inductive_days=11.0, cbd_plateau=plateau, cbd_plateau_sd=0.0, cbd_to_thc=ratio,
                cbd_to_thc_sd=0.0, peak_day=58.0, peak_day_sd=4.0,
            )
            for name, (critical, plateau, ratio) in VARIETIES.items()
        ),
    )  # fmt: skip


def _lot(name, variety, acres, set_on, pounds, _):
    is_seed = variety == "Quickset"
    return Lot(
        name=name, field="Home", variety=variety, stock=Stock.SEED if is_seed else Stock.CLONE,
        area=acres * ACRE, set_on=date(YEAR, *set_on),
        plants_set=round(acres * (3200 if is_seed else 1742)),
        plants_per_stick=5 if is_seed else 3, plant_yield=pounds * POUND,
    )  # fmt: skip


def _place(name, kind, sticks, free_from=None):
    """A place of so many sticks in tiers of ten runs, a foot and a half apart."""
    return Place(
        name=name, kind=kind, tiers=1, runs=10, run_length=sticks / 10 * 1.5 * FOOT,
        stick_spacing=1.5 * FOOT, volume=sticks * 44 * FOOT**3, free_from=free_from,
    )  # fmt: skip


@cache
def season(on=date(YEAR, 7, 1)):
    """The farm before anything is known of it but the station's past."""
    return Season(
        year=YEAR,
        on=on,
        farm=Farm(name="Worked farm", jurisdiction="ohio", latitude=38.86, longitude=-83.93,
                  elevation=270.0, is_invented=True),
        fields=(Field(name="Home"),),
        varieties=_varieties(),
        lots=tuple(_lot(*row) for row in LOTS),
        places=(
            _place("Creek barn", PlaceKind.BARN, 760),
            _place("Frame", PlaceKind.FRAME, 420),
            _place("Fan room", PlaceKind.ROOM, 160),
            _place("Old barn", PlaceKind.BARN, 480, date(YEAR, 9, 29)),
            _place("Home barn", PlaceKind.BARN, 1260, date(YEAR, 10, 18)),
        ),
        crew=Crew(wage=18 / 3600, hours=(CrewHours(starting=date(YEAR, 8, 1), hours=24 * 3600.0),),
                  workdays=tuple(Weekday)[:6], sticks_owned=7400, haul_limit=1000),
        market=Market(price=140 / POUND, remediated_price=0.40 / POUND, buyer_retests=False),
        costs=Costs(plant=1.25, seedling=0.60, inputs=900 / ACRE, field_labour=23 * 3600.0,
                    overhead=3700.0, months_to_sale=1.5),
        sampler=Sampler(),
        laboratory=Laboratory(),
        past_weather=raw(DEMO),
        this_weather=raw(DEMO).only_year(YEAR),
    )  # fmt: skip


def day(month, number):
    """A date as an index on the season axis."""
    return season().index(date(YEAR, month, number))
