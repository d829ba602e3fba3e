"""Quantities as people write them, SI inside.

One table of exact factors and one parser. A person writes ``"2 1/2 acre"``, ``"46 F"`` or
``"18 in"``; the code sees square metres, degrees Celsius and metres. `show` goes the other way,
in US or metric units.

Factors are exact by definition: the international yard and pound (1959: 0.9144 m, 0.45359237 kg),
the US gallon (231 cubic inches), ``F = 1.8 C + 32``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

System = Literal["us", "metric"]

FOOT = 0.3048
POUND = 0.45359237
ACRE = 43_560 * FOOT**2


@dataclass(frozen=True)
class Unit:
    """`si = written * factor + offset`; `names` are accepted spellings, the first one is shown."""

    names: tuple[str, ...]
    factor: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True)
class Kind:
    """A kind of quantity, with the units a person may write and the one shown in each system."""

    name: str
    units: tuple[Unit, ...]
    us: str
    metric: str

    def unit(self, name: str) -> Unit | None:
        """The unit spelled `name`, or None."""
        exact = (u for u in self.units if name in u.names)
        folded = (u for u in self.units if name.lower() in (n.lower() for n in u.names))
        return next(exact, None) or next(folded, None)

    def shown_in(self, system: System) -> Unit:
        """The unit a reader of US or metric units is shown."""
        name = self.us if system == "us" else self.metric
        return next(unit for unit in self.units if name in unit.names)

    def allowed(self) -> str:
        """A phrase for error texts: `an area such as "2.5 acre" (acre, ha, m2, ft2)`."""
        return f"{self.name} with its unit ({', '.join(u.names[0] for u in self.units)})"


def _kind(name: str, us: str, metric: str, *units: Unit) -> Kind:
    return Kind(name, units, us, metric)


_KG_PER_LB = Unit(("lb", "lbs", "pound", "pounds"), POUND)
_KG = Unit(("kg",))
_G = Unit(("g",), 1e-3)
_USD_LB = 1.0 / POUND
_HOUR = Unit(("h", "hr", "hour", "hours"), 3600.0)

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        _kind(
            "an area",
            "acre",
            "ha",
            Unit(("acre", "acres", "ac"), ACRE),
            Unit(("ha",), 1e4),
            Unit(("m2",)),
            Unit(("ft2", "sq ft"), FOOT**2),
        ),
        _kind(
            "a length",
            "ft",
            "m",
            Unit(("ft", "feet", "foot"), FOOT),
            Unit(("in", "inch", "inches"), FOOT / 12),
            Unit(("m",)),
            Unit(("cm",), 1e-2),
        ),
        _kind("a mass", "lb", "kg", _KG_PER_LB, _KG, _G, Unit(("oz",), POUND / 16)),
        _kind(
            "a temperature",
            "F",
            "C",
            Unit(("F", "degF", "°F"), 1 / 1.8, -32 / 1.8),
            Unit(("C", "degC", "°C")),
        ),
        _kind(
            "a temperature difference",
            "F",
            "C",
            Unit(("F", "degF", "°F"), 1 / 1.8),
            Unit(("C", "degC", "°C", "K")),
        ),
        _kind(
            "a share",
            "%",
            "%",
            Unit(("%", "percent"), 1e-2),
            Unit(("mg/g",), 1e-3),
            Unit(("share",)),
        ),
        _kind(
            "a time",
            "h",
            "h",
            _HOUR,
            Unit(("min", "minutes", "minute"), 60.0),
            Unit(("d", "day", "days"), 86_400.0),
        ),
        _kind("a number of days", "days", "days", Unit(("days", "d", "day"))),
        _kind("a day length", "h", "h", Unit(("h", "hours", "hour"))),
        _kind(
            "a labour rate",
            "min/stick",
            "min/stick",
            Unit(("min/stick",), 60.0),
            Unit(("h/stick",), 3600.0),
        ),
        _kind(
            "a stripping rate",
            "lb/h",
            "kg/h",
            Unit(("lb/h",), POUND / 3600),
            Unit(("kg/h",), 1 / 3600),
        ),
        _kind("a wage", "USD/h", "USD/h", Unit(("USD/h", "$/h"), 1 / 3600)),
        _kind("money", "USD", "USD", Unit(("USD", "$"))),
        _kind(
            "money an area",
            "USD/acre",
            "USD/ha",
            Unit(("USD/acre", "$/acre"), 1 / ACRE),
            Unit(("USD/ha", "$/ha"), 1e-4),
        ),
        _kind("money a plant", "USD/plant", "USD/plant", Unit(("USD/plant", "$/plant"))),
        _kind("money a stick", "USD/stick", "USD/stick", Unit(("USD/stick", "$/stick"))),
        _kind(
            "money a mass",
            "USD/lb",
            "USD/kg",
            Unit(("USD/lb", "$/lb"), _USD_LB),
            Unit(("USD/kg", "$/kg")),
        ),
        _kind(
            "a price a point",
            "USD/point/lb",
            "USD/point/kg",
            # one point is one hundredth of the mass
            Unit(("USD/point/lb", "$/point/lb"), 100 * _USD_LB),
            Unit(("USD/point/kg", "$/point/kg"), 100.0),
        ),
        _kind(
            "a plant density",
            "plants/acre",
            "plants/ha",
            Unit(("plants/acre", "plants/ac"), 1 / ACRE),
            Unit(("plants/ha",), 1e-4),
            Unit(("plants/m2",)),
        ),
        _kind(
            "a volume",
            "ft3",
            "m3",
            Unit(("ft3", "cu ft"), FOOT**3),
            Unit(("m3",)),
        ),
        _kind(
            "an air flow",
            "cfm",
            "m3/s",
            Unit(("cfm", "ft3/min"), FOOT**3 / 60),
            Unit(("m3/s",)),
        ),
        _kind(
            "a load a length",
            "lb/ft",
            "kg/m",
            Unit(("lb/ft",), POUND / FOOT),
            Unit(("kg/m",)),
        ),
        _kind("a price an energy", "USD/kWh", "USD/kWh", Unit(("USD/kWh", "$/kWh"), 1 / 3.6e6)),
        _kind(
            "a price a volume",
            "USD/gal",
            "USD/l",
            Unit(("USD/gal", "$/gal"), 1 / (231 * (FOOT / 12) ** 3)),
            Unit(("USD/l", "$/l"), 1e3),
        ),
        _kind("air changes", "changes/h", "changes/h", Unit(("changes/h", "/h"), 1 / 3600)),
        _kind(
            "power",
            "kW",
            "kW",
            Unit(("kW",), 1e3),
            Unit(("W",)),
            Unit(("Btu/h",), 1055.05585262 / 3600),
        ),
        _kind("rain", "in", "mm", Unit(("in", "inch", "inches"), 25.4), Unit(("mm",))),
        _kind("an angle", "deg", "deg", Unit(("deg", "°", "degrees"))),
        _kind("hours a day", "h/day", "h/day", Unit(("h/day", "hours/day"), 3600.0)),
    )
}

_WRITTEN = re.compile(
    r"""^\s*\$?\s*(?P<sign>[-+−])?\s*
        (?:(?P<whole>\d[\d,]*)\s+(?P<num>\d+)\s*/\s*(?P<den>\d+)
          |(?P<fnum>\d+)\s*/\s*(?P<fden>\d+)(?=\s|[A-Za-z°%"']|$)
          |(?P<dec>\d[\d,]*(?:\.\d*)?(?:[eE][-+]?\d+)?|\.\d+))
        \s*(?P<unit>.*?)\s*$""",
    re.VERBOSE,
)


def read_quantity(text: str, kind: str) -> float:
    """The SI value of a written quantity such as ``"2 1/2 ft"`` or ``"1,200 lb"``.

    Raises `ValueError` (what is wrong, in words) when there is no number, no unit, or the unit
    belongs to another kind of quantity.
    """
    match = _WRITTEN.match(text)
    if match is None:
        raise ValueError("no number can be read in it")
    unit_name = match["unit"].strip('"')
    if text.lstrip().startswith("$"):
        unit_name = "$" + unit_name
    unit = KINDS[kind].unit(unit_name)
    if unit is None:
        raise ValueError(
            "it has no unit" if not unit_name else f"{unit_name!r} is not a unit of {kind}"
        )
    try:
        return _number(match) * unit.factor + unit.offset
    except OverflowError:
        raise ValueError("its number is too long") from None


def _number(match: re.Match[str]) -> float:
    if match["dec"] is not None:
        number = float(match["dec"].replace(",", ""))
    else:
        whole = float((match["whole"] or "0").replace(",", ""))
        top, bottom = match["num"] or match["fnum"], match["den"] or match["fden"]
        if int(bottom) == 0:
            raise ValueError("a fraction has a zero below the line")
        number = whole + int(top) / int(bottom)
    return -number if match["sign"] in ("-", "−") else number


def to_unit(value: float, kind: str, system: System = "us") -> tuple[float, str]:
    """An SI `value` in the unit a person of that system reads, with the unit's name."""
    unit = KINDS[kind].shown_in(system)
    return (value - unit.offset) / unit.factor, unit.names[0]


def write_quantity(value: float, kind: str, system: System = "us") -> str:
    """An SI `value` written so that `read_quantity` gives it back exactly."""
    number, name = to_unit(value, kind, system)
    short = f"{number:.12g}"
    text = short if read_quantity(f"{short} {name}", kind) == value else repr(number)
    return f"{text} {name}"


def show(value: float, kind: str, system: System = "us", digits: int = 3) -> str:
    """An SI `value` for a reader: rounded to `digits` significant digits, thousands grouped."""
    number, name = to_unit(value, kind, system)
    rounded = float(f"{number:.{digits}g}")
    body = f"{rounded:,.0f}" if abs(rounded) >= 100 or rounded == int(rounded) else f"{rounded:,g}"
    tight = name in ("%",)
    degree = "°" if kind in ("a temperature", "a temperature difference") else ""
    return f"{body}{'' if tight else ' '}{degree}{name}"
