"""The season: every fact known about one farm and one year, frozen and checked."""

from tierpole.season.checks import faults
from tierpole.season.draft import Draft
from tierpole.season.facts import DAYS, FIRST_DAY, LAST_DAY, STAND, Season
from tierpole.season.remarks import remarks

__all__ = ["DAYS", "FIRST_DAY", "LAST_DAY", "STAND", "Draft", "Season", "faults", "remarks"]
