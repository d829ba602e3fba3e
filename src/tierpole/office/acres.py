"""Did the acre pay: what came for each lot, what it cost by the books, beside plan and budget.

What a buyer owes for a sale is shared out among its lots by the dry matter they gave. Work, inputs
and plants that name a lot are its own; the rest is shared out by area. Hours are at the crew's
wage. What nobody wrote down is not in it, and the page says which of the usual costs that is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tierpole.charts import words
from tierpole.farm.books import (
    Arrival,
    Bag,
    CloneOrder,
    InputUse,
    Operation,
    Remediation,
    Stripping,
)
from tierpole.outlook.dollars import before_harvest
from tierpole.records import Store, Wanted, nouns
from tierpole.units import to_unit

if TYPE_CHECKING:
    from tierpole.office.kept import Kept
    from tierpole.office.sales import Sold
    from tierpole.season import Season

_HOUR = 3600.0


@dataclass(frozen=True)
class Acre:
    """What a lot brought and cost, in dollars, with its area in acres and its hours of work."""

    lot: str
    acres: float
    brought: float
    plants: float
    work: float
    inputs: float
    shared: float
    hours: float

    @property
    def cost(self) -> float:
        """All that it cost, its share of the common costs in it."""
        return self.plants + self.work + self.inputs + self.shared

    @property
    def left(self) -> float:
        """What it left."""
        return self.brought - self.cost

    @property
    def left_per_acre(self) -> float:
        """What an acre of it left."""
        return self.left / self.acres if self.acres else 0.0


@dataclass(frozen=True)
class Acres:
    """Every lot, the sum, and what was expected: by the first plan kept, and by the budget.

    `planned` is the plan's mean with one season in ten below and above; `budget` what was to be
    spent before harvest. `missing` names what is not in the books.
    """

    lots: tuple[Acre, ...]
    whole: Acre
    planned: tuple[float, float, float] | None
    planned_on: str
    budget: float
    missing: tuple[str, ...]


def acres_of(store: Store, season: Season, sales: tuple[Sold, ...], first: Kept | None) -> Acres:
    """The season's lots as they paid, by the books."""
    said = {
        kind: [one.noun for one in nouns(store, Wanted(kind, season=season.year))]
        for kind in ("operation", "input", "order", "arrival", "stripping", "bag", "remediation")
    }
    mother = _mothers(said["remediation"])
    brought = _brought(sales, said["bag"], mother)
    spent = _spent(said, season.crew.wage, mother)
    common = sum(sum(amounts.values()) for lot, amounts in spent.items() if lot is None)
    common -= spent[None]["hours"]
    area = sum(lot.area for lot in season.lots)
    lots = tuple(
        Acre(
            lot=lot.name,
            acres=to_unit(lot.area, "an area", "us")[0],
            brought=brought[lot.name],
            shared=common * lot.area / area,
            **{key: spent[lot.name][key] for key in ("plants", "work", "inputs", "hours")},
        )
        for lot in season.lots
    )
    money = first.document.plan.money if first else None
    return Acres(
        lots=lots,
        whole=_whole(lots, spent[None]["hours"]),
        planned=(money.low_usd, money.mean_usd, money.high_usd) if money else None,
        planned_on=words.plain_day(first.document.plan.on) if first else "",
        budget=sum(before_harvest(season).values()),
        missing=tuple(_missing(said, sales)),
    )


def _mothers(remediations: list[Remediation]) -> dict[str, str]:
    """The field lot of each lot of remediated material."""
    return {one.name: one.lot for one in remediations}


def _brought(
    sales: tuple[Sold, ...], bags: list[Bag], mother: Mapping[str, str]
) -> defaultdict[str, float]:
    """What each lot brought: of each sale the share of its dry matter."""
    brought: defaultdict[str, float] = defaultdict(float)
    for sold in sales:
        names = {name for one in sold.deliveries for name in one.bags}
        dry: defaultdict[str, float] = defaultdict(float)
        for bag in bags:
            if bag.name in names:
                dry[mother.get(bag.lot, bag.lot)] += bag.mass * (1 - bag.moisture)
        whole = sum(dry.values())
        for lot, mass in dry.items():
            brought[lot] += (sold.due or 0.0) * mass / whole if whole else 0.0
    return brought


_Spent = defaultdict[str | None, dict[str, float]]


def _spent(said: Mapping[str, list[Any]], wage: float, mother: Mapping[str, str]) -> _Spent:
    """Dollars by lot, None for what names none, and hours."""
    spent: _Spent = defaultdict(lambda: {"plants": 0.0, "work": 0.0, "inputs": 0.0, "hours": 0.0})

    def add(lot: str | None, kind: str, cost: float, seconds: float) -> None:
        row = spent[None if lot is None else mother.get(lot, lot)]
        row[kind] += cost
        row["work"] += seconds * wage
        row["hours"] += seconds / _HOUR

    operations: list[Operation] = said["operation"]
    uses: list[InputUse] = said["input"]
    strippings: list[Stripping] = said["stripping"]
    for work in operations:
        add(work.lot, "work", work.cost, work.hours)
    for use in uses:
        add(use.lot, "inputs", use.cost, use.hours)
    for stripping in strippings:
        add(stripping.lot, "work", 0.0, stripping.hours)
    for lot, cost in _plants(said["order"], said["arrival"]):
        add(lot, "plants", cost, 0.0)
    return spent


def _plants(orders: list[CloneOrder], arrivals: list[Arrival]) -> list[tuple[str | None, float]]:
    """What plants cost: those that came of an order, or all of it where no arrival is written."""
    came: defaultdict[str, int] = defaultdict(int)
    for one in arrivals:
        came[one.order] += one.plants
    return [(one.lot, (one.price or 0.0) * came.get(one.name, one.plants)) for one in orders]


def _whole(lots: tuple[Acre, ...], common_hours: float) -> Acre:
    def total(field: str) -> float:
        return sum(getattr(lot, field) for lot in lots)

    fields = ("acres", "brought", "plants", "work", "inputs", "shared", "hours")
    sums = {field: total(field) for field in fields}
    return Acre(lot="In all", **(sums | {"hours": sums["hours"] + common_hours}))


def _missing(said: Mapping[str, list[Any]], sales: tuple[Sold, ...]) -> list[str]:
    """Which of the usual entries the books lack."""
    found = {
        "what plants cost": any(one.price for one in said["order"]),
        "hours of work": any(one.hours for one in said["operation"]),
        "inputs and what they cost": any(one.cost for one in said["input"]),
        "hours of stripping": any(one.hours for one in said["stripping"]),
        "a sale with its statement": any(one.settlement for one in sales),
    }
    return [name for name, is_there in found.items() if not is_there]
