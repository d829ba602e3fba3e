"""Lots that failed, remediated material among them: what was told, done and reported of each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from tierpole.compliance import RETESTS, LotState, LotStatus, lot_status, was_told
from tierpole.documents.filed import Filed
from tierpole.farm import TestKind
from tierpole.farm.books import ReportKind
from tierpole.outlook.legal import lot_states, ruling_book
from tierpole.rulebook import Rulebook, rulebook_on
from tierpole.season import Season


@dataclass(frozen=True)
class Failed:
    """A lot that failed, as the books have it on a day.

    `done_on` is when it was last destroyed or remedied, None before; `is_told` whether the
    department knew beforehand, `is_reported` whether it had the proof afterwards. `is_again` marks
    remediated material, of which nothing is left but to destroy it.
    """

    name: str
    status: LotStatus
    book: Rulebook
    is_told: bool
    done_on: date | None
    is_reported: bool
    is_again: bool = False

    @property
    def is_path_chosen(self) -> bool:
        """Whether it was told or done what becomes of it."""
        return self.is_told or self.done_on is not None or self.is_reported


def failed_lots(season: Season, filed: Filed) -> tuple[Failed, ...]:
    """Every lot that stands failed on the day the season is seen on, whatever was done since."""
    lots = [
        _failed(season, filed, lot.name, status, ruling_book(season, lot))
        for lot, status in zip(season.lots, lot_states(season), strict=True)
        if status.state is LotState.FAILED
    ]
    return (*lots, *_failed_again(season, filed))


def _failed_again(season: Season, filed: Filed) -> Iterator[Failed]:
    """Remediated material whose own test is over the limit."""
    for made in filed.remediations:
        own = [
            test.model_copy(update={"kind": TestKind.OFFICIAL})
            for test in filed.retests
            if test.lot == made.name and test.kind in RETESTS
            if test.sampled_on >= max(made.done_on, season.first_day)
        ]
        days = [test.sampled_on for test in own if test.reported_on <= season.on]
        if days:
            book = rulebook_on(season.farm.jurisdiction, max(days))
            status = lot_status([], own, 0.0, season.on, book)
            if status.state is LotState.FAILED:
                yield _failed(season, filed, made.name, status, book, is_again=True)


def _failed(
    season: Season, filed: Filed, lot: str, status: LotStatus, book: Rulebook,
    is_again: bool = False,
) -> Failed:  # fmt: skip
    certificate = status.certificate
    since = certificate.reported_on if certificate else season.first_day
    done = [(one.disposed_on, one.notice_on) for one in filed.disposals if one.lot == lot]
    done += [(one.done_on, one.notice_on) for one in filed.remediations if one.lot == lot]
    done = [(day, told) for day, told in done if since <= day <= season.on]
    told = [one for one in filed.reports or () if one.filed_on <= season.on]
    last = max((day for day, _ in done), default=None)
    is_told = was_told(told, ReportKind.NOTICE, lot, since) or any(day for _, day in done)
    is_reported = was_told(told, ReportKind.DISPOSED, lot, last or since)
    return Failed(lot, status, book, is_told, last, is_reported, is_again)
