"""The outlook: weather, crop, potency, law, barn and money joined, draw by draw."""

from tierpole.outlook.make import make_outlook
from tierpole.outlook.summary import Summary, seasons_of_twenty, summarise

__all__ = ["Summary", "make_outlook", "seasons_of_twenty", "summarise"]
