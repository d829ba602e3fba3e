"""Tables read in a straight line between their rows, and the formulas short enough to stand."""

from __future__ import annotations

from math import exp

from tierpole.barn.kernel.data import SATURATION, Array, Constants, Tables
from tierpole.barn.kernel.jit import jitable


@jitable
def interpolate(table: Array, position: float, column: int) -> float:
    """Value of a column at a fractional row, held at the ends of the table."""
    row = min(max(int(position), 0), table.shape[0] - 2)
    share = min(max(position - row, 0.0), 1.0)
    return table[row, column] + share * (table[row + 1, column] - table[row, column])


@jitable
def by_temperature(tables: Tables, temperature: float, column: int) -> float:
    """Value of a column of the temperature table."""
    position = (temperature - tables.coldest) * tables.per_kelvin
    return interpolate(tables.by_temperature, position, column)


@jitable
def saturation_and_rise(tables: Tables, temperature: float) -> tuple[float, float]:
    """Saturation pressure and its rise with temperature [Pa, Pa/K]."""
    table = tables.by_temperature
    position = (temperature - tables.coldest) * tables.per_kelvin
    row = min(max(int(position), 0), table.shape[0] - 2)
    rise = table[row + 1, SATURATION] - table[row, SATURATION]
    return table[row, SATURATION] + (position - row) * rise, rise * tables.per_kelvin


@jitable
def activity_of(moisture: float, level: float, table: Array) -> float:
    """Water activity of a part; the table runs over moisture / (moisture + level)."""
    position = moisture / (moisture + level) * (table.size - 1)
    row = int(position)
    return table[row] + (position - row) * (table[row + 1] - table[row])


@jitable
def mean_decay(z: float) -> float:
    """Mean of exp(-t) over t from 0 to z: what is left of a step's drive, on average."""
    if z < 1.0:
        return 1.0 / (1.0 + z * (0.5 + z * (1.0 / 12.0 - z * z / 720.0)))
    return (1.0 - exp(-z)) / z


@jitable
def share_above(before: float, after: float, target: float) -> float:
    """Share of a step spent above the target, moisture running straight from before to after."""
    high, low = max(before, after), min(before, after)
    if low >= target:
        return 1.0
    if high <= target:
        return 0.0
    return (high - target) / (high - low)


@jitable
def virtual_kelvin(temperature: float, ratio: float, c: Constants) -> float:
    """Virtual temperature [K], see `moist_air.virtual_temperature`."""
    return (temperature + c.zero_celsius) * (1.0 + ratio / c.mass_ratio) / (1.0 + ratio)


@jitable
def vapour_of(ratio: float, c: Constants) -> float:
    """Vapour pressure, see `moist_air.vapour_pressure`."""
    return c.pressure * ratio / (c.mass_ratio + ratio)


@jitable
def enthalpy_of(temperature: float, ratio: float, c: Constants) -> float:
    """Heat content of moist air, see `moist_air.enthalpy`."""
    return c.heat_air * temperature + ratio * (c.latent + c.heat_vapour * temperature)
