"""Which days a plan can still use: days to cut, days to be sampled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tierpole.compliance import sample_days
from tierpole.evidence import Mark, Table, Value
from tierpole.rulebook import rulebook_on
from tierpole.season import Season

CALENDAR = Table(
    "Days a plan looks at",
    (
        Value(
            "first_sample", 14.0, "d", Mark.INFERENCE,
            "no lot is worth sampling sooner than two weeks after it starts to flower",
        ),
        Value(
            "last_cut", 229.0, "day index", Mark.INFERENCE,
            "16 November: what is hung later has no drying weather left in the record",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Calendar:
    """Day indices [cut_day] and [sample_day]; the first samples may lie in the past (pending)."""

    cut_days: np.ndarray
    sample_days: np.ndarray


def calendar(season: Season, flower_day: np.ndarray) -> Calendar:
    """The days left to decide on, given flower days [draw, lot].

    Cutting can start today, or two weeks after the earliest lot begins to flower when the season
    is still young; when it is over, today is the one day left. Sampling days are the sampler's
    own, after his lead; the days on which lots were sampled already stand first.
    """
    earliest = float(np.quantile(flower_day, 0.02, axis=0).min()) + CALENDAR["first_sample"]
    last = max(int(CALENDAR["last_cut"]), season.today)
    first = min(max(season.today, int(earliest)), last)
    book = rulebook_on(season.farm.jurisdiction, season.on)
    sampler = season.sampler
    lead = max(sampler.lead, book.request_lead_days.value)
    start = max(season.on, season.day(first))
    visits = sample_days(
        season.on, season.day(last), lead, [d.number for d in sampler.weekdays], sampler.closed_on
    )
    agreed = {season.index(day) for lot in season.lots for day in season.sampled_days(lot)}
    future = {season.index(day) for day in visits if day >= start}
    return Calendar(np.arange(first, last + 1), np.array(sorted(agreed | future), dtype=int))
