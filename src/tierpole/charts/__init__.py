"""Charts from an outlook and a plan: each is drawn, said in a sentence and written as a table."""

from tierpole.charts.acre import AcreLeft, acre_left
from tierpole.charts.chart import Chart, Table
from tierpole.charts.elevation import elevation_chart
from tierpole.charts.lots import passing, potency, stick_worth
from tierpole.charts.money import crew_hours, money_spread
from tierpole.charts.places import drying, mould, place_load
from tierpole.charts.strip import season_strip
from tierpole.charts.testing import if_read, worth_of_test, worth_sentence
from tierpole.charts.watch import air_inside, moistures, mould_by_hour

__all__ = [
    "AcreLeft", "Chart", "Table", "acre_left", "air_inside", "crew_hours", "drying",
    "elevation_chart", "if_read", "moistures", "money_spread", "mould", "mould_by_hour", "passing",
    "place_load", "potency", "season_strip", "stick_worth", "worth_of_test", "worth_sentence",
]  # fmt: skip
