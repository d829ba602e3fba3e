"""Crew, prices, costs, sampler and laboratory."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from tierpole.farm.land import Date, Name, Share
from tierpole.farm.measure import Count, Measure, Noun, Ratio

Minutes = Measure("a labour rate", "0.1 min/stick", "30 min/stick")
Money = Annotated[float, Measure("money", "0 USD", "1000000 USD")]


class Weekday(StrEnum):
    """Days of the week as written in a file."""

    MON, TUE, WED, THU, FRI, SAT, SUN = "mon", "tue", "wed", "thu", "fri", "sat", "sun"

    @property
    def number(self) -> int:
        """0 for Monday to 6 for Sunday, as `date.weekday` counts."""
        return list(Weekday).index(self)


class CrewHours(Noun):
    """Worker hours a day the crew has for hemp from a date on, until the next such entry."""

    starting: Date
    hours: Annotated[float, Measure("hours a day", "0 h/day", "2000 h/day")]


class Crew(Noun):
    """Who cuts, hauls, hangs, takes down and strips, how fast, and with what."""

    wage: Annotated[float, Measure("a wage", "1 USD/h", "200 USD/h")]
    hours: tuple[CrewHours, ...]
    workdays: tuple[Weekday, ...]
    cut: Annotated[float, Minutes] = 150.0
    haul: Annotated[float, Minutes] = 54.0
    hang: Annotated[float, Minutes] = 138.0
    take_down: Annotated[float, Minutes] = 48.0
    strip: Annotated[float, Measure("a stripping rate", "0.5 lb/h", "500 lb/h")] = (
        8.0 * 0.45359237 / 3600
    )
    sticks_owned: Annotated[int, Count(10, 1_000_000)]
    haul_limit: Annotated[int, Count(10, 100_000)]
    bulk_room: Annotated[int, Count(0, 1_000_000)] | None = None
    rainy_day_share: Share = 0.4
    cut_days_per_lot: Annotated[int, Count(1, 60)] = 8
    cut_day_cost: Money = 20.0


class PriceForm(StrEnum):
    """How a buyer pays: by the point of CBD, or flat by weight."""

    POINT = "point"
    FLAT = "flat"


class Market(Noun):
    """The contract, and what else the crop may fetch.

    `moisture` is the wet-basis moisture the pounds are counted at; `price_sd` the log spread of
    an open (spot) price, 0 for a contract. `paid_full`, `paid_half` are chances to be paid.
    """

    form: PriceForm = PriceForm.POINT
    price: (
        Annotated[float, Measure("a price a point", "0 USD/point/lb", "50 USD/point/lb")] | None
    ) = None
    flat_price: Annotated[float, Measure("money a mass", "0 USD/lb", "2000 USD/lb")] | None = None
    price_sd: Annotated[float, Ratio(0.0, 2.0)] = 0.0
    moisture: Annotated[float, Measure("a share", "0 %", "25 %")] = 0.10
    lowest_cbd: Share = 0.0
    cbd_cap: Share = 1.0
    paid_full: Share = 0.85
    paid_half: Share = 0.10
    remediated_price: Annotated[float, Measure("money a mass", "0 USD/lb", "100 USD/lb")]
    buyer_retests: bool = True


class Costs(Noun):
    """What the season costs beyond the crew's hours from cutting on.

    `plant` is a rooted cutting; `seedling` a plant from seed, the same price unless given.
    """

    plant: Annotated[float, Measure("money a plant", "0 USD/plant", "50 USD/plant")]
    seedling: Annotated[float, Measure("money a plant", "0 USD/plant", "50 USD/plant")] | None = (
        None
    )
    spare_plants: Share = 0.05
    inputs: Annotated[float, Measure("money an area", "0 USD/acre", "50000 USD/acre")]
    field_labour: Annotated[float, Measure("a time", "0 h", "2000 h")]
    overhead: Money = 0.0
    official_sample: Money = 250.0
    potency_test: Money = 75.0
    potency_tests_per_lot: Annotated[int, Count(0, 50)] = 2
    full_panel: Money = 300.0
    full_panels: Annotated[int, Count(0, 100)] = 2
    interest: Share = 0.08
    electricity: Annotated[float, Measure("a price an energy", "0 USD/kWh", "5 USD/kWh")] | None = (
        None
    )
    propane: Annotated[float, Measure("a price a volume", "0 USD/gal", "50 USD/gal")] | None = None
    months_to_sale: Annotated[float, Ratio(0.0, 36.0)] = 4.0


class Sampler(Noun):
    """How soon the official sampler comes and the laboratory answers."""

    lead: Annotated[float, Measure("a number of days", "0 days", "60 days")] = 5.0
    weekdays: tuple[Weekday, ...] = (
        Weekday.MON,
        Weekday.TUE,
        Weekday.WED,
        Weekday.THU,
        Weekday.FRI,
    )
    closed_on: tuple[Date, ...] = ()
    result_delay: Annotated[float, Measure("a number of days", "0 days", "40 days")] = 5.0
    result_delay_late: Annotated[float, Measure("a number of days", "0 days", "60 days")] = 6.0
    cut_before_result: bool = False


class Laboratory(Noun):
    """Error of the laboratory that runs the official sample, as shares of the result.

    `pretest_delay` is how long the grower waits for a test of his own, wherever it is made.

    `uncertainty` is the measurement uncertainty printed on the certificate: an allowance in the
    pass rule, never the spread of results.
    """

    name: Name = "official laboratory"
    uncertainty: Annotated[float, Measure("a share", "0 %", "0.3 %")] = 0.0004
    repeatability: Share = 0.04
    between_labs: Share = 0.12
    pretest_delay: Annotated[float, Measure("a number of days", "0 days", "60 days")] = 4.0
