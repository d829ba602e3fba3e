"""The outlook: weather, crop, potency, law, barn and money joined, draw by draw."""

from tierpole.outlook.forecast import Forecast, make_forecast
from tierpole.outlook.make import make_outlook
from tierpole.outlook.summary import Summary, seasons_of_twenty, summarise

__all__ = [
    "Forecast", "Summary", "make_forecast", "make_outlook", "seasons_of_twenty", "summarise",
]  # fmt: skip
