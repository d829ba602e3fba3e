"""How many plants of a lot the sampling agent cuts at least.

The question behind every method: how many plants, drawn at random, show with `confidence` at
least one of those over the limit, when a `share` of all plants is over?
"""

from __future__ import annotations

import math
from decimal import Decimal

from tierpole import units
from tierpole.rulebook import PlantsMethod
from tierpole.rulebook.models import (
    ByAcres,
    ByPlants,
    FixedNumber,
    Hypergeometric,
    PerAcre,
    StepTable,
)

Number = float | Decimal


def plants_unlimited(confidence: Number, share: Number) -> int:
    """Plants to cut from a lot without end.

    Parameters
    ----------
    confidence : chance to find a plant over the limit [1]
    share : share of the plants that is over it [1]

    Returns
    -------
    int : plants, rounded up

    Equation: n0 = ln(1 - confidence) / ln(1 - share).
    Source: USDA Sampling Guidelines for Hemp 2021, after CAC/GL 33-1999 (from memory).
    Departures: rounded up here, before the correction for a finite lot: 0.95 and 0.01 give 299.
    """
    return _up(math.log(1 - float(confidence)) / math.log(1 - float(share)))


def plants_corrected(unlimited: int, population: float) -> float:
    """Plants to cut after the finite population correction, not yet rounded.

    Parameters
    ----------
    unlimited : plants to cut from a lot without end
    population : acres in the federal guideline, plants in others

    Returns
    -------
    float : plants

    Equation: n = n0 / (1 + (n0 - 1) / N).
    Source: USDA Sampling Guidelines for Hemp 2021, after CAC/GL 33-1999 (from memory). That the
    guideline counts acres follows from its tables as commentaries describe them (inference).
    """
    return unlimited / (1 + (unlimited - 1) / population)


def plants_without_replacement(confidence: Number, share: Number, population: float) -> float:
    """Plants to cut when none is drawn twice, not yet rounded.

    Parameters
    ----------
    confidence : chance to find a plant over the limit [1]
    share : share of the plants that is over it [1]
    population : plants in the lot

    Returns
    -------
    float : plants

    Equation: n = (1 - (1 - confidence)^(1/D)) (N - (D - 1)/2), D = N x share, not rounded.
    Source: Cannon and Roe 1982 (from memory). With share 0.10 and at least 15 plants it gives
    every row of the pilot table of Wisconsin.
    """
    over = float(population) * float(share)
    return (1 - (1 - float(confidence)) ** (1 / over)) * (population - (over - 1) / 2)


def plants_to_cut(method: PlantsMethod, area: float, plants: int) -> int:
    """The least number of plants the agent cuts by a rulebook's method; he may cut more.

    Parameters
    ----------
    method : `Rulebook.plants.value`
    area : area of the lot [m2]
    plants : plants of the lot (the flowering ones)

    Returns
    -------
    int : plants, at least 1 and at most those of the lot
    """
    return max(1, min(plants, _count(method, area / units.ACRE, plants)))


def _count(method: PlantsMethod, acres: float, plants: int) -> int:
    match method:
        case ByAcres():
            return _up(plants_corrected(plants_unlimited(method.confidence, method.share), acres))
        case ByPlants():
            return _up(plants_corrected(plants_unlimited(method.confidence, method.share), plants))
        case Hypergeometric():
            number = plants_without_replacement(method.confidence, method.share, plants)
            return max(method.least, _up(number))
        case StepTable():
            return max((cut for fewest, cut in method.steps if plants >= fewest), default=1)
        case FixedNumber():
            return method.count
        case PerAcre():
            return max(method.least, _up(float(method.count) * acres))


def _up(number: float) -> int:
    """Rounded up, past the noise of binary arithmetic (an acre is not 1.0 acre to the last bit)."""
    return math.ceil(round(number, 9))
