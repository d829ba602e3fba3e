"""The nouns of the farm, in trade words: frozen, checked, free of any calculation."""

from tierpole.farm.books import Airing, AirReading, CleanDown, StickWeight, TierLoad
from tierpole.farm.curing import Cut, Hanging, Place, PlaceKind, Reading
from tierpole.farm.land import Farm, Field, Lot, Response, Stock, Variety
from tierpole.farm.measure import Noun
from tierpole.farm.selling import (
    Costs,
    Crew,
    CrewHours,
    Laboratory,
    Market,
    PriceForm,
    Sampler,
    Weekday,
)
from tierpole.farm.tested import (
    CertificateColumns,
    CertificateField,
    CertificateLabel,
    CertificateLabels,
    Flowering,
    GaugeReading,
    Sample,
    Test,
    TestKind,
)

__all__ = [
    "AirReading",
    "Airing",
    "CertificateColumns",
    "CertificateField",
    "CertificateLabel",
    "CertificateLabels",
    "CleanDown",
    "Costs",
    "Crew",
    "CrewHours",
    "Cut",
    "Farm",
    "Field",
    "Flowering",
    "GaugeReading",
    "Hanging",
    "Laboratory",
    "Lot",
    "Market",
    "Noun",
    "Place",
    "PlaceKind",
    "PriceForm",
    "Reading",
    "Response",
    "Sample",
    "Sampler",
    "StickWeight",
    "Stock",
    "Test",
    "TestKind",
    "TierLoad",
    "Variety",
    "Weekday",
]
