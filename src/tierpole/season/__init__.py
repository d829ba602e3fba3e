"""The season: every fact known about one farm and one year, frozen and checked."""

from tierpole.season.checks import faults
from tierpole.season.facts import DAYS, FIRST_DAY, LAST_DAY, STAND, Season

__all__ = ["DAYS", "FIRST_DAY", "LAST_DAY", "STAND", "Season", "faults"]
