"""What can be printed or taken away: papers, labels, tables and the calendar."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import xarray as xr

from tierpole.charts import words
from tierpole.documents import sheets
from tierpole.office.views.parts import Head, head
from tierpole.plan.result import Plan
from tierpole.season import Season


@dataclass(frozen=True)
class Link:
    """Something to take away: its name, where it is, and how it is ordered."""

    name: str
    path: str
    order: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Group:
    """Papers for the same reader."""

    title: str
    says: str
    links: tuple[Link, ...]


@dataclass(frozen=True)
class Papers:
    """The page of papers."""

    head: Head
    sentence: str
    groups: tuple[Group, ...]
    limits: tuple[str, ...]


def papers(season: Season, _: xr.Dataset, plan: Plan) -> Papers:
    """The view model of Papers."""
    return Papers(
        head=head(season, plan),
        sentence=_sentence(plan),
        groups=tuple(_groups(season, plan)),
        limits=("Papers are made from the plan as it is now; print again after a new one.",),
    )


def _sentence(plan: Plan) -> str:
    following = next((cut.day for cut in plan.cuts), None)
    if following is None:
        return "Print the season, a lot's packet or labels; nothing is left to cut."
    return f"The next cut sheet is for {words.long_day(following)}."


def _groups(season: Season, plan: Plan) -> Iterator[Group]:
    days = list(dict.fromkeys(cut.day for cut in plan.cuts))
    lots = [lot.name for lot in season.lots]
    yield Group("For the crew", "Large print: lots, sticks, places and tiers of one day.", tuple(
        link
        for day in days[:6]
        for link in (
            _link(f"{words.day(day)}, English", "crew", day=day.isoformat()),
            _link(f"{words.day(day)}, español", "crew", day=day.isoformat(), language="es"),
        )
    ))  # fmt: skip
    yield Group("For the barn door", "What hangs on which tier, what comes, what goes.", tuple(
        link
        for place in season.places
        for link in (
            _link(f"{place.name}, English", "map", of=place.name),
            _link(f"{place.name}, español", "map", of=place.name, language="es"),
        )
    ))  # fmt: skip
    yield Group("For an inspection", "What is recorded of a lot and under which rule.", tuple(
        _link(lot, "packet", of=lot) for lot in lots
    ))  # fmt: skip
    yield Group("For a buyer", "Tests, what may be expected and where the lot stands. No price.",
                tuple(_link(lot, "buyer", of=lot) for lot in lots))  # fmt: skip
    yield Group("For you and the lender", "The whole plan; and its money, loss first.", (
        _link("Season plan", "season"), _link("Season summary", "lender"),
    ))  # fmt: skip
    yield Group("Labels with a code", "Ten to a sheet, four by two inches.", (
        _link("Lots", "lot-labels"),
        _link("Sticks of the next cut", "stick-labels"),
        *(_link(f"Bags of {lot}", "bag-labels", of=lot) for lot in lots),
    ))  # fmt: skip
    yield Group("Tables", "Plain values for a spreadsheet.", (
        Link("All in one workbook", "/tables.xlsx"),
        *(Link(sheet.name, f"/table/{sheet.name}.csv") for sheet in sheets(season, plan)),
    ))  # fmt: skip
    yield Group("Calendar", "Add the address to your calendar and it follows the plan; where "
                "people sign in, make it an address of its own on People.", (
        Link("Days to keep", "/calendar.ics"),
    ))  # fmt: skip


def _link(name: str, kind: str, **order: str) -> Link:
    return Link(name, f"/paper/{kind}.pdf", tuple(order.items()))
