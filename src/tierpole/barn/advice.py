"""How to air a place in the next days: a rule chosen on some draws and scored on others.

A rule says hour by hour, from the outside air alone, whether vents stand open, fans run and the
heater burns, so that a person can follow it. The best rule found is held against the simple ones
everybody knows; what it gains over the best of them is told even when it is nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

COEFFICIENTS = Table(
    "Airing",
    (
        Value("opened", 8.0, "h", Mark.PRACTICE, "vents opened once the dew is off"),
        Value("closed", 18.0, "h", Mark.PRACTICE, "vents shut before the evening damp"),
        Value("ajar", 0.15, "share", Mark.INFERENCE, "vents while the heater burns, for its fumes"),
        Value("horizon", 5.0, "d", Mark.INFERENCE, "days ahead that a forecast tells of airing"),
        Value(
            "electricity", 0.13 / 3.6e6, "USD/J", Mark.PRACTICE, "a farm's rate, 13 cents a kWh",
            low=0.09 / 3.6e6, high=0.20 / 3.6e6,
        ),
        Value(
            "propane_heat", 91_452 * 1055.05585262 / 3.785411784e-3, "J/m3", Mark.PUBLISHED,
            "US Energy Information Administration: 91,452 Btu a gallon, gross",
        ),
        Value(
            "propane", 2.6 / 3.785411784e-3, "USD/m3", Mark.PRACTICE, "2.60 USD a gallon",
            low=1.8 / 3.785411784e-3, high=3.6 / 3.785411784e-3,
        ),
        Value("burner", 0.80, "share", Mark.INFERENCE, "of its fuel's heat a vented heater gives"),
        Value(
            "sure", 2.0, "SE", Mark.PRACTICE,
            "a gain smaller than this many of its standard errors counts as none",
        ),
    ),
)  # fmt: skip

_C = COEFFICIENTS
HUMIDITIES = (0.70, 0.75, 0.80, 0.85, 0.90)  # above which vents are shut; what a gauge can show
HEATED = (0.90, 0.80)  # humidities above which a heater burns at night


class Hours(StrEnum):
    """When something may happen at all."""

    ALWAYS = "always"
    BY_DAY = "by day"
    NEVER = "never"


@dataclass(frozen=True)
class Means:
    """What a place has: fans and a listed, vented heater are used only where they are."""

    has_fans: bool = False
    has_heater: bool = False


@dataclass(frozen=True)
class Rule:
    """Vents open in these hours while the outside humidity is at most `most`; fans; heat above.

    The heater burns at night while the outside humidity is above `heat_above`; 1 means never.
    """

    vents: Hours
    most: float = 1.0
    fans: Hours = Hours.NEVER
    heat_above: float = 1.0

    @property
    def is_simple(self) -> bool:
        """Whether it is one of the rules everybody knows: vents alone."""
        return self.fans is Hours.NEVER and self.heat_above >= 1 and self.is_plain_vent

    @property
    def is_plain_vent(self) -> bool:
        """Whether vents go by the clock alone or by the humidity alone."""
        return self.most >= 1 or self.vents is Hours.ALWAYS


@dataclass(frozen=True)
class Schedule:
    """A rule in hours, arrays [..., hour] of the shape of the outside humidity."""

    vents: Array  # share open
    fans: Bools
    heat: Bools


@dataclass(frozen=True)
class Score:
    """What following a rule costs, by draw [draw]: value lost, and fuel and power, in dollars."""

    lost: Array
    energy: Array

    @property
    def cost(self) -> Array:
        """Both together [draw]."""
        return self.lost + self.energy


@dataclass(frozen=True)
class Advice:
    """The rule to follow, the best simple one, and what the first gains over the second.

    `gain` is the mean over draws that had no part in the choice, `error` its standard error [USD];
    `energy` what fuel and power cost then. `scores` are the mean costs there of every rule tried.
    """

    rule: Rule
    simple: Rule
    gain: float
    error: float
    energy: float
    scores: tuple[tuple[Rule, float], ...]

    @property
    def is_worth_it(self) -> bool:
        """Whether it gains more than chance could."""
        return self.gain > _C["sure"] * self.error and self.gain > 0


def simple_rules() -> list[Rule]:
    """Always open, open by day, shut when it is damper outside than some share."""
    shut = [Rule(Hours.ALWAYS, most) for most in HUMIDITIES]
    return [Rule(Hours.ALWAYS), Rule(Hours.BY_DAY), *shut, Rule(Hours.NEVER)]


def vent_rules() -> list[Rule]:
    """Every rule of vents alone: the simple ones, and those by clock and gauge together."""
    return [*simple_rules(), *(Rule(Hours.BY_DAY, most) for most in HUMIDITIES)]


def fan_rules(rule: Rule, means: Means) -> list[Rule]:
    """A rule with fans by day or always, where there are fans."""
    if not means.has_fans:
        return []
    return [replace(rule, fans=hours) for hours in (Hours.BY_DAY, Hours.ALWAYS)]


def heat_rules(rule: Rule, means: Means) -> list[Rule]:
    """A rule with heat in damp nights, where there is a listed, vented heater."""
    return [replace(rule, heat_above=damp) for damp in HEATED] if means.has_heater else []


def schedule(rule: Rule, hour_of_day: ArrayLike, humidity_outside: ArrayLike) -> Schedule:
    """What a rule does in each hour.

    Parameters
    ----------
    rule : to follow
    hour_of_day : 0 to 23 [h], [hour]
    humidity_outside : relative humidity outside [share], [..., hour]
    """
    damp = np.asarray(humidity_outside, dtype=float)
    clock = np.broadcast_to(np.asarray(hour_of_day), damp.shape)
    by_day = (clock >= _C["opened"]) & (clock < _C["closed"])
    heat = (damp > rule.heat_above) & ~by_day
    opened = _when(rule.vents, by_day) & (damp <= rule.most)
    vents = np.where(heat, _C["ajar"], opened.astype(float))
    return Schedule(vents, _when(rule.fans, by_day), heat)


def _when(hours: Hours, by_day: Bools) -> Bools:
    if hours is Hours.BY_DAY:
        return by_day
    return np.full(by_day.shape, hours is Hours.ALWAYS)


def fuel_cost(heat: ArrayLike, price: float | None = None) -> Array:
    """Dollars of propane for heat given to a place.

    Parameters
    ----------
    heat : given [J], any shape
    price : of propane [USD/m³]; a usual one when None

    Returns
    -------
    cost : [USD]

    Equation: Q / (η H) p, H the gross heat of a volume of propane.
    Source: energy balance; efficiency ours (inference).
    """
    volume = np.asarray(heat, dtype=float) / (_C["burner"] * _C["propane_heat"])
    return volume * (_C["propane"] if price is None else price)


def power_cost(work: ArrayLike, price: float | None = None) -> Array:
    """Dollars of electricity for the fans.

    Parameters
    ----------
    work : drawn [J], any shape
    price : [USD/J]; a usual one when None

    Returns
    -------
    cost : [USD]

    Equation: W p.
    Source: definition.
    """
    return np.asarray(work, dtype=float) * (_C["electricity"] if price is None else price)


def advise(means: Means, score: Callable[[Rule], Score]) -> Advice:
    """The best rule for a place, chosen on every other draw and scored on the rest.

    Parameters
    ----------
    means : what the place has
    score : what following a rule costs, draw by draw

    Vents are settled first, then fans, then heat. The best simple rule is the best on the very
    draws the gain is counted on, so that the gain is rather told too small than too large.
    """
    costs: dict[Rule, Score] = {}

    def best(choices: Sequence[Rule]) -> Rule:
        costs.update({rule: score(rule) for rule in choices if rule not in costs})
        return min(costs, key=lambda rule: float(costs[rule].cost[0::2].mean()))

    chosen = best(vent_rules())
    chosen = best(fan_rules(chosen, means))
    chosen = best(heat_rules(chosen, means))
    simple = min(
        (rule for rule in costs if rule.is_simple),
        key=lambda rule: float(costs[rule].cost[1::2].mean()),
    )
    saved = (costs[simple].cost - costs[chosen].cost)[1::2]
    error = float(saved.std(ddof=1) / np.sqrt(saved.size)) if saved.size > 1 else np.inf
    return Advice(
        rule=chosen,
        simple=simple,
        gain=float(saved.mean()),
        error=error,
        energy=float(costs[chosen].energy[1::2].mean()),
        scores=tuple((rule, float(one.cost[1::2].mean())) for rule, one in costs.items()),
    )
