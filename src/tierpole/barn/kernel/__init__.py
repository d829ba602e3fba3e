"""One place drying, hour by hour: the same source compiled by Numba and run as plain Python.

`run_place` follows the batches hung in one place through a span of hours for one draw, and can be
called again for the next span; `run_hours` is the same, compiled. Formulas with powers and
exponentials come in as tables, and numbers as constants, from `lookup`; here stand only balances
and steps.

The air of a place is parted into its tiers. Wind, fans and leaks change the air of every tier with
the outside; the stack's stream runs through the tiers one after the other, up or down. Inside a
step the air is in balance with the plants, so no step is too long for it.

Nothing else imports Numba, and nothing here needs any other of the package.
"""

from tierpole.barn.kernel.compiled import dry_fillings, run_hours
from tierpole.barn.kernel.data import (
    ABOVE,
    AGE,
    AT_TARGET,
    BURNT,
    CROSS,
    DOSE,
    EVAPORATED,
    FAN_ENERGY,
    FLOWER,
    HEAT,
    HOURS_WET,
    HUNG,
    INDEX,
    LEAF,
    MOISTURE_FLOWER,
    MOULDS,
    PARTS,
    PLACE_HOURS,
    RATIO,
    RECORDS,
    RISK,
    SCRATCH,
    STEM,
    TEMPERATURE,
    THROUGH,
    Batches,
    Case,
    Constants,
    Controls,
    Outside,
    Plant,
    Rule,
    Space,
    State,
    Tables,
    Trace,
)
from tierpole.barn.kernel.hours import run_place, start_place

__all__ = [
    "ABOVE",
    "AGE",
    "AT_TARGET",
    "BURNT",
    "CROSS",
    "DOSE",
    "EVAPORATED",
    "FAN_ENERGY",
    "FLOWER",
    "HEAT",
    "HOURS_WET",
    "HUNG",
    "INDEX",
    "LEAF",
    "MOISTURE_FLOWER",
    "MOULDS",
    "PARTS",
    "PLACE_HOURS",
    "RATIO",
    "RECORDS",
    "RISK",
    "SCRATCH",
    "STEM",
    "TEMPERATURE",
    "THROUGH",
    "Batches",
    "Case",
    "Constants",
    "Controls",
    "Outside",
    "Plant",
    "Rule",
    "Space",
    "State",
    "Tables",
    "Trace",
    "dry_fillings",
    "run_hours",
    "run_place",
    "start_place",
]
