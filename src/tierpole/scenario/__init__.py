"""A farm and season as one TOML file, for what-if questions, demos and version control."""

from tierpole.scenario.read import Checked, check_scenario, demo_path, read_scenario

__all__ = ["Checked", "check_scenario", "demo_path", "read_scenario"]
