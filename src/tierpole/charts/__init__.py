"""Charts from an outlook and a plan: each is drawn, said in a sentence and written as a table."""

from tierpole.charts.chart import Chart, Table
from tierpole.charts.lots import passing, potency, stick_worth
from tierpole.charts.money import crew_hours, money_spread
from tierpole.charts.places import drying, mould, place_load
from tierpole.charts.strip import season_strip
from tierpole.charts.testing import if_read, worth_of_test, worth_sentence

__all__ = [
    "Chart", "Table", "crew_hours", "drying", "if_read", "money_spread", "mould", "passing",
    "place_load", "potency", "season_strip", "stick_worth", "worth_of_test", "worth_sentence",
]  # fmt: skip
