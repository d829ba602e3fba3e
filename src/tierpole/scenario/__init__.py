"""A farm and season as one TOML file, for what-if questions, demos and version control."""

from tierpole.scenario.read import Checked, check_scenario, demo_path, read_scenario
from tierpole.scenario.reference import Assumed, assumed

__all__ = ["Assumed", "Checked", "assumed", "check_scenario", "demo_path", "read_scenario"]
