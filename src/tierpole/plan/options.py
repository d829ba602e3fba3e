"""More room or faster drying, weighed: what each way costs a season and a lot, and what it earns.

What it earns comes from `worth`: the schedule searched again with it. What a building costs a year
is its capital recovery.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from tierpole.barn.geometry import hung_runs, hung_tiers, sticks_per_run
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Place
from tierpole.money import capital_recovery
from tierpole.plan.harvest import make_harvest, usual_drying
from tierpole.plan.problem import Problem, Schedule
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop, solve
from tierpole.plan.worth import Change, FasterDrying, MoreRoom, worth
from tierpole.season import Season
from tierpole.units import FOOT

_BURLEY_RUN = 1300 * 8 / 12 * FOOT  # m of run that an acre of burley fills, 1,300 sticks at 8 in

COEFFICIENTS = Table(
    "Building room",
    (
        Value(
            "barn", 6500 / _BURLEY_RUN, "USD/m", Mark.INFERENCE,
            "a metre of run in a new barn: 6,000-7,000 dollars an acre of burley in 2008, not "
            "raised since; ask a builder",
            low=6000 / _BURLEY_RUN, high=7000 / _BURLEY_RUN,
        ),
        Value("barn_life", 50.0, "y", Mark.PRACTICE, "life of a barn"),
        Value(
            "frame", 1250 / _BURLEY_RUN, "USD/m", Mark.INFERENCE,
            "a metre of run in a one-tier field frame: 1,000-1,500 dollars an acre of burley in "
            "2008, not raised since",
            low=1000 / _BURLEY_RUN, high=1500 / _BURLEY_RUN,
        ),
        Value("frame_life", 8.5, "y", Mark.PRACTICE, "life of a field frame, 7-10 years"),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Option:
    """One way to get sticks dry, in words, with what it changes and what it costs a season [USD].

    `assumed` says that the cost is a guess of ours and not the farm's own figure.
    """

    name: str
    change: Change
    cost: float
    assumed: bool = False


@dataclass(frozen=True)
class Weighed:
    """An option with what it earns before its own cost, between which two numbers, and per lot."""

    option: Option
    earns: float
    low: float
    high: float
    cost_per_lot: float

    @property
    def net(self) -> float:
        """What is left of it a season."""
        return self.earns - self.option.cost


def shed_cost(
    run_length: float, price: float, rate: float, years: float, salvage: float = 0.0
) -> float:
    """Yearly cost of runs newly built.

    Parameters
    ----------
    run_length : of all runs together [m]
    price : of a metre of run [USD/m]
    rate : of interest [1/year]
    years : the building lasts [year]
    salvage : share of the price it is worth at the end [share]

    Returns
    -------
    cost : [USD/year]

    Equation: capital recovery of L p.
    Source: see `money.capital_recovery`.
    """
    whole = run_length * price
    return capital_recovery(whole, salvage * whole, rate, years)


def more_shed(
    place: Place, number: int, length: float, rate: float, price: float | None = None
) -> Option:
    """`length` metres of new shed of the same section at the end of a place.

    `price` is that of a metre of run; the usual one, marked as assumed, when None.
    """
    runs = hung_runs(place) * len(hung_tiers(place))
    sticks = runs * int(sticks_per_run(length, place.stick_spacing))
    each = COEFFICIENTS["barn"] if price is None else price
    cost = shed_cost(runs * length, each, rate, COEFFICIENTS["barn_life"])
    name = f"{length / FOOT:,.0f} ft more of {place.name}"
    return Option(name, MoreRoom(number, sticks), cost, assumed=price is None)


def rented(place: Place, number: int, sticks: int, cost: float) -> Option:
    """Room for so many sticks rented for the season, with air like that of a place."""
    return Option(f"{sticks:,} sticks of rented room like {place.name}", MoreRoom(number, sticks),
                  cost)  # fmt: skip


def faster(place: Place, number: int, share: float, cost: float) -> Option:
    """A place made to dry in some share less time, by fans or heat, at a cost a season."""
    name = f"{place.name} drying {100 * share:.0f} % faster"
    return Option(name, FasterDrying(number, share), cost)


def weigh(
    problem: Problem,
    schedule: Schedule,
    options: Sequence[Option],
    risk: Risk,
    seconds: float = 4.0,
) -> tuple[Weighed, ...]:
    """What each option alone would earn and cost, the best first; each searched for `seconds`."""
    gains = worth(problem, schedule, [option.change for option in options], risk, seconds)
    lots = max(int(np.count_nonzero(schedule.sticks.sum(axis=(1, 2)))), 1)
    weighed = [
        Weighed(option, gain.dollars, gain.low, gain.high, option.cost / lots)
        for option, gain in zip(options, gains, strict=True)
    ]
    return tuple(sorted(weighed, key=lambda one: -one.net))


@dataclass(frozen=True)
class Wish:
    """What somebody would like weighed for a place; costs a season in dollars.

    `shed` is new shed of the place's own section [m], at `shed_price` for a metre of run [USD/m],
    the usual one when None.
    """

    shed: float = 24 * FOOT
    shed_price: float | None = None
    rent: int = 200
    rent_cost: float = 0.0
    faster: float = 0.2
    faster_cost: float = 0.0


def what_if(
    season: Season, outlook: xr.Dataset, name: str, wish: Wish, stop: Stop, risk: Risk
) -> tuple[Weighed, ...]:
    """More shed, rented room and faster drying of a place, weighed for the rest of a season."""
    number = season.place_index(name)
    place = season.places[number]
    problem = make_harvest(season, outlook, usual_drying(outlook)).problem
    choices = [
        more_shed(place, number, wish.shed, season.costs.interest, wish.shed_price),
        rented(place, number, wish.rent, wish.rent_cost),
        faster(place, number, wish.faster, wish.faster_cost),
    ]
    return weigh(problem, solve(problem, stop, risk), choices, risk, stop.seconds)
