"""What an Outlook holds: one table, read by the code, the validator and the documents."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr


@dataclass(frozen=True)
class Variable:
    """One variable of the Outlook: its dimensions, unit, meaning and possible range.

    The range is what no draw can leave, however wide a farm states its spreads.
    """

    name: str
    dims: tuple[str, ...]
    unit: str
    meaning: str
    lowest: float = -np.inf
    highest: float = np.inf


DIMENSIONS: dict[str, str] = {
    "draw": "one possible season: a weather season joined with one set of parameters",
    "barn_draw": "one set of drying parameters in one weather season; several draws share it",
    "weather_season": "one year of weather: observed days, forecast, then a past year's remainder",
    "lot": "lots, by name",
    "place": "places to cure, by name",
    "day": "calendar days of the season, 1 April to 31 December",
    "sample_day": "days on which the official sampler could come",
    "cut_day": "days on which sticks could be cut and hung",
    "load": "water-weighted fill of a place on the hang day, this hanging included",
    "hanging": "sticks already hanging, one row each",
}

_LOT_DAY = ("draw", "lot", "day")
_LOT_SAMPLE = ("draw", "lot", "sample_day")
_BARN = ("barn_draw", "place", "cut_day", "load")

VARIABLES: tuple[Variable, ...] = (
    Variable("weather_row", ("draw",), "row", "which weather season a draw lives in", 0),
    Variable("barn_row", ("draw",), "row", "which barn draw a draw uses, of its own weather", 0),
    Variable("night_low", ("weather_season", "day"), "°C", "daily minimum at the station", -60, 50),
    Variable("rain", ("weather_season", "day"), "mm", "daily rain", 0, 2000),
    Variable("flower_day", ("draw", "lot"), "day index", "flower initiation, shifted by sightings"),
    Variable("cbd", _LOT_DAY, "share", "true lot mean of total CBD in the sampled tops", 0),
    Variable("thc", _LOT_DAY, "share", "true mean of total THC in tops of true-to-type plants", 0),
    Variable("top_to_plant", ("draw", "lot"), "ratio", "potency of tops over threshed biomass", 0),
    Variable("p_pass", _LOT_SAMPLE, "chance", "official composite passes, given the truth", 0, 1),
    Variable(
        "p_buyer_pass", _LOT_SAMPLE, "chance", "trimmed dry flower re-tests legal without MU", 0, 1
    ),
    Variable("p_over_one", _LOT_SAMPLE, "chance", "official result above 1.0 %", 0, 1),
    Variable("flower_mass", _LOT_DAY, "kg/plant", "dry threshed biomass to sell, before losses", 0),
    Variable("frost_loss", _LOT_DAY, "share", "of the flower, lost to frost by then", 0, 1),
    Variable(
        "field_loss", _LOT_DAY, "share", "of the flower, lost to mould, borers, shatter", 0, 1
    ),
    Variable("drying_days", _BARN, "days", "from hanging until dry enough to take down", 0, 60),
    Variable("drying_loss", _BARN, "share", "of the value, lost while hanging", 0, 1),
    Variable("mould_risk", _BARN, "chance", "visible mould while hanging", 0, 1),
    Variable(
        "value_pass", ("draw", "lot", "cut_day", "place"), "USD/stick",
        "worth of a stick cut then and hung there if the lot passes, costs to come off",
    ),
    Variable(
        "value_fail", _LOT_SAMPLE, "USD/stick", "worth of a stick of a failed lot, best path taken"
    ),
    Variable("fail_path", ("lot", "sample_day"), "path", "the best path after a fail, on average"),
    Variable("value_left", ("draw", "lot"), "USD/stick", "a stick never cut: the cost to clear it"),
    Variable("sample_fee", ("lot",), "USD", "the official sample and its test", 0),
    Variable("fixed_money", ("draw",), "USD", "money of the season that no choice below changes"),
    Variable("price", ("draw",), "USD/kg", "price of the CBD sold (or of biomass, if flat)", 0),
    Variable("paid_share", ("draw",), "share", "of the bill that the buyer pays", 0, 1),
    Variable("free_day", ("draw", "hanging"), "day index", "when sticks already hanging are dry"),
)  # fmt: skip


def validate(outlook: xr.Dataset) -> None:
    """Raise `ValueError` naming every variable that is missing, misshapen or impossible."""
    problems = [text for variable in VARIABLES for text in _problems(outlook, variable)]
    known = {variable.name for variable in VARIABLES}
    problems += [f"{name} is not in the schema" for name in outlook.data_vars if name not in known]
    if problems:
        raise ValueError("outlook: " + "; ".join(problems))


def _problems(outlook: xr.Dataset, variable: Variable) -> list[str]:
    if variable.name not in outlook.data_vars:
        return [f"{variable.name} is missing"]
    array = outlook[variable.name]
    if array.dims != variable.dims:
        return [f"{variable.name} has dimensions {array.dims}, not {variable.dims}"]
    if array.dtype.kind not in "fiu":
        return []
    values = array.values
    if not np.isfinite(values).all():
        return [
            f"{variable.name} has {int((~np.isfinite(values)).sum())} values that are no number"
        ]
    if values.size and (
        values.min() < variable.lowest - 1e-6 or values.max() > variable.highest + 1e-6
    ):
        return [f"{variable.name} leaves {variable.lowest:g}..{variable.highest:g}"]
    return []


def attributes(name: str) -> dict[str, str]:
    """The attributes a variable carries in the Dataset."""
    variable = next(v for v in VARIABLES if v.name == name)
    return {"units": variable.unit, "long_name": variable.meaning}
