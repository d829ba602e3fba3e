"""A farm and season as one TOML file, for what-if questions, demos and version control."""

from tierpole.scenario.read import demo_path, read_scenario

__all__ = ["demo_path", "read_scenario"]
