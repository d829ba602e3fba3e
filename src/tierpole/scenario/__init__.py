"""A farm and season as one TOML file, for what-if questions, demos and version control."""

from tierpole.scenario.read import (
    Checked,
    Whole,
    check_scenario,
    demo_path,
    read_scenario,
    read_whole,
)
from tierpole.scenario.reference import Assumed, assumed
from tierpole.scenario.weather import built_in, located

__all__ = [
    "Assumed", "Checked", "Whole", "assumed", "built_in", "check_scenario", "demo_path", "located",
    "read_scenario", "read_whole",
]  # fmt: skip
