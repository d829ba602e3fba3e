"""Which formulas make each variable of the outlook, and in which tables their values stand.

One table, read by the pages that answer "why?". A test resolves every name and asks for its
equation and source, so that it cannot fall behind the code.
"""

from __future__ import annotations

import importlib
import inspect
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from tierpole.evidence import Table, Value


@dataclass(frozen=True)
class Made:
    """How a variable comes about: formulas (module:function), and modules with more values."""

    formulas: tuple[str, ...]
    values: tuple[str, ...] = ()


_MONEY = ("money.costs", "money.selling")

MADE: dict[str, Made] = {
    "night_low": Made((), ("weather.seasons",)),
    "rain": Made((), ("weather.seasons",)),
    "weather_row": Made(()),
    "barn_row": Made(()),
    "flower_day": Made(
        ("crop.phenology:flower_day", "crop.phenology:photoperiod_response",
         "crop.phenology:temperature_response", "weather.daylight:day_length",
         "crop.observed:shift_counted"), ("crop.prior",)),
    "cbd": Made(("potency.curves:cbd_course",), ("potency.prior",)),
    "thc": Made(("potency.curves:thc_course", "potency.curves:thc_peak"), ("potency.prior",)),
    "top_to_plant": Made((), ("potency.prior",)),
    "p_pass": Made(("compliance.chance:p_pass", "compliance.chance:p_printed_at_most",
                    "potency.sampling:log_sd"), ("potency.sampling",)),
    "p_buyer_pass": Made(("compliance.chance:p_buyer_pass",)),
    "p_over_one": Made(("compliance.chance:p_printed_at_most",)),
    "flower_mass": Made(("crop.biomass:mass_course",), ("crop.prior",)),
    "frost_loss": Made(("crop.losses:frost_damage",)),
    "field_loss": Made(("crop.losses:infection_grey_mould", "crop.losses:disease_progress"),
                       ("crop.prior",)),
    "drying_days": Made(("barn.drying:drying_rate", "barn.drying:drying_step",
                         "barn.isotherm:equilibrium_moisture", "barn.isotherm:activity_on_branch",
                         "barn.air:barn_air", "barn.air:wind_flow", "barn.air:stack_flow"),
                        ("barn.draws", "barn.places")),
    "drying_loss": Made(("barn.losses:value_share_lost", "barn.losses:cannabinoid_share_lost",
                         "barn.losses:shatter_share_lost")),
    "mould_risk": Made(("barn.losses:mould_chance", "barn.mould:dose_rate",
                        "barn.mould:growth_rate")),
    "value_pass": Made(("money.value:value_per_stick", "money.selling:point_revenue",
                        "money.costs:stripping_cost"), _MONEY),
    "value_fail": Made(("compliance.failing:fail_paths",), _MONEY),
    "fail_path": Made(("compliance.failing:fail_paths",)),
    "value_left": Made((), _MONEY),
    "sample_fee": Made(()),
    "fixed_money": Made(("money.costs:interest_operating",), ("outlook.dollars",)),
    "price": Made((), ("money.selling",)),
    "paid_share": Made((), ("money.selling",)),
    "free_day": Made(("barn.drying:drying_step",), ("barn.draws", "barn.places")),
}  # fmt: skip

TOLD = ("crop.insects",)  # modules whose values pages tell without a variable of the outlook


@dataclass(frozen=True)
class Section:
    """One titled part of a formula's docstring."""

    title: str
    text: str


def function(name: str) -> Callable[..., Any]:
    """The function a `module:function` name means."""
    module, attribute = name.split(":")
    return getattr(importlib.import_module(f"tierpole.{module}"), attribute)


def tables(module: str) -> list[Table]:
    """The coefficient tables a module works with, each once."""
    names = vars(importlib.import_module(f"tierpole.{module}"))
    return list({id(held): held for held in names.values() if isinstance(held, Table)}.values())


def values(module: str) -> tuple[Value, ...]:
    """Every coefficient of a module, in reading order."""
    return tuple(row for table in tables(module) for row in table)


def value(module: str, name: str) -> Value | None:
    """One coefficient of a module by its name, or None."""
    return next((row for row in values(module) if row.name == name), None)


def used(name: str) -> list[tuple[str, Value]]:
    """The coefficients a formula rests on, with the module each stands in.

    Those it names in its own lines; else all of its module; else the values drawn for it.
    """
    module = name.split(":", maxsplit=1)[0]
    source = inspect.getsource(function(name))
    own = [(module, row) for row in values(module)]
    named = [(module, row) for module, row in own if f'"{row.name}"' in source]
    drawn = [m for made in MADE.values() if name in made.formulas for m in made.values]
    return named or own or [(m, row) for m in dict.fromkeys(drawn) for row in values(m)]


_TITLES = ("Equation", "Source", "Departures", "Valid range", "Example")


def sections(name: str) -> Iterator[Section]:
    """A formula's docstring in its parts: what it is, parameters, equation, source and the rest."""
    text = inspect.getdoc(function(name)) or ""
    parts = re.split(rf"^((?:{'|'.join(_TITLES)}):|(?:Parameters|Returns)\n-+\n)", text, flags=re.M)
    yield Section("", parts[0].strip())
    for title, body in zip(parts[1::2], parts[2::2], strict=True):
        yield Section(title.split("\n")[0].rstrip(":"), inspect.cleandoc(body))
