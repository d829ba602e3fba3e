"""Plans as they were made, kept in the books with the hash of what they were made from.

A plan that a day was worked from can be seen again, and the next plan can be told apart from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from tierpole.farm.books import KeptPlan
from tierpole.office.document import PlanDocument, plan_document
from tierpole.records import (
    Change,
    Store,
    Stored,
    Wanted,
    content_key,
    latest,
    nouns,
    read_content,
    season_hash,
    write_with,
)

if TYPE_CHECKING:
    import xarray as xr

    from tierpole.plan.result import Plan
    from tierpole.season import Season

PROGRAM = "Tierpole"  # who enters what nobody typed


class KeptDocument(BaseModel):
    """A plan, what it expected, and how much of the books it was made from."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal["tierpole-kept-plan-1"] = "tierpole-kept-plan-1"
    entries: int = Field(description="entries of the journal it was made from")
    first_day: date = Field(description="the day of the first number of each expectation")
    expected_thc: dict[str, list[float]] = Field(description="median share, by lot, day by day")
    plan: PlanDocument

    def expected(self, lot: str, on: date) -> float | None:
        """Total THC that was expected of a lot on a day [share]; None where nothing was."""
        days, number = self.expected_thc.get(lot, []), (on - self.first_day).days
        return days[number] if 0 <= number < len(days) else None


@dataclass(frozen=True)
class Kept:
    """A plan in the books: when it was made, from what, and its mark, by which it is asked for."""

    made_at: datetime
    inputs: str
    mark: str
    document: KeptDocument


def document_of(season: Season, outlook: xr.Dataset, plan: Plan, entries: int) -> KeptDocument:
    """What is kept of a plan."""
    medians = np.median(outlook["thc"].values, axis=0)
    names = [str(name) for name in outlook["lot"].values]
    return KeptDocument(
        entries=entries,
        first_day=season.first_day,
        expected_thc={
            name: [round(float(value), 5) for value in row]
            for name, row in zip(names, medians, strict=True)
        },
        plan=plan_document(season, plan),
    )


def keep(store: Store, season: Season, document: KeptDocument) -> None:
    """Keep a plan in the books, unless it is the one kept last."""
    now = datetime.now().astimezone()
    inputs, last = season_hash(season), kept_last(store)
    if last is not None and (last.inputs, last.document.plan) == (inputs, document.plan):
        return
    data = document.model_dump_json(exclude_unset=True).encode()
    noun = KeptPlan(
        made_on=now.date(), made_at=f"{now:%H:%M}", seen_on=season.on, inputs=inputs,
        plan=content_key(data),
    )  # fmt: skip
    write_with(store, [Change(noun, season=season.year)], [data], PROGRAM)


def kept_plans(store: Store, season: int) -> list[KeptPlan]:
    """Every plan kept in a season, newest first."""
    return [one.noun for one in reversed(nouns(store, Wanted("plan", season=season)))]


def kept_last(store: Store) -> Kept | None:
    """The plan kept last; None when there is none."""
    found = latest(store, "plan")
    return _read(store, found) if found else None


def mark_last(store: Store) -> str:
    """The mark of the plan kept last; empty when there is none."""
    found = latest(store, "plan")
    return mark_of(found.noun) if found else ""


def kept_before(store: Store, mark: str) -> Kept | None:
    """The plan that readers who never said what they saw are told from.

    It is the last of an earlier day than the plan of a mark, else the first of that day.
    """
    found = nouns(store, Wanted("plan"))
    made_on = next((one.noun.made_on for one in found if mark_of(one.noun) == mark), None)
    if made_on is None:
        return None
    earlier = [one for one in found if one.noun.made_on < made_on]
    first = next(one for one in found if one.noun.made_on == made_on)
    return _read(store, earlier[-1] if earlier else first)


def kept_plan(store: Store, mark: str) -> Kept | None:
    """A kept plan by its mark, the newest that bears it; None when there is none."""
    found = [one for one in nouns(store, Wanted("plan")) if one.noun.plan.startswith(mark)]
    return _read(store, found[-1]) if found and mark else None


def _read(store: Store, stored: Stored) -> Kept:
    noun: KeptPlan = stored.noun
    made_at = datetime.fromisoformat(stored.entry.entered_at).astimezone()
    document = KeptDocument.model_validate_json(read_content(store, noun.plan))
    return Kept(made_at, noun.inputs, mark_of(noun), document)


def mark_of(noun: KeptPlan) -> str:
    """The short name of a kept plan in an address."""
    return noun.plan[:16]
