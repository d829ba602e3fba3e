"""Where a lot stands: what its samples, certificates and cuts say under the rulebook."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from tierpole.compliance.chance import CERTIFICATE
from tierpole.compliance.verdict import passes
from tierpole.compliance.windows import window_end
from tierpole.farm import Cut, Sample, Test, TestKind
from tierpole.rulebook import Provision, Rulebook


class LotState(StrEnum):
    """The five states of a lot."""

    GROWING = "growing"
    SAMPLED = "sampled, result pending"
    PASSED = "passed"
    FAILED = "failed"
    CLOSED = "closed"


@dataclass(frozen=True)
class LotStatus:
    """The state of a lot on a day.

    `sampled_on` is the sample that rules now, `window_last` the last day to cut under it (both
    None when there is none, or its window has ended and a new sample is needed). `visit_on` is a
    sample agreed for a later day; `certificate` what the ruling sample tested.
    """

    state: LotState
    sampled_on: date | None = None
    window_last: date | None = None
    certificate: Test | None = None
    visit_on: date | None = None
    window_ended: bool = False


@dataclass(frozen=True)
class Breach:
    """A recorded fact that already breaks a rule: which lot, what happened, under which rule."""

    lot: str
    fact: str
    name: str
    provision: Provision[Any]

    def __str__(self) -> str:
        return f"{self.lot}: {self.fact} ({self.provision.citation})"


def lot_status(
    samples: Iterable[Sample],
    tests: Iterable[Test],
    sticks_standing: float,
    on: date,
    book: Rulebook,
) -> LotStatus:
    """The state of one lot on a day, from its own samples and certificates known by then.

    The latest sample rules, and of its certificates the latest. A window that ended with sticks
    standing leaves the lot growing, in need of a new sample; a passed lot cut to the last stick is
    closed.
    """
    agreed = [sample.sampled_on for sample in samples if sample.requested_on <= on]
    known = [test for test in official(tests) if test.reported_on <= on]
    visit = min((day for day in agreed if day > on), default=None)
    taken = [day for day in agreed if day <= on] + [test.sampled_on for test in known]
    if not taken:
        return LotStatus(LotState.GROWING, visit_on=visit)
    latest, end = max(taken), window_end(max(taken), book)
    certificate = ruling(test for test in known if test.sampled_on == latest)
    if certificate is not None and not has_passed(certificate, book):
        return LotStatus(LotState.FAILED, latest, end, certificate, visit)
    if certificate is not None and sticks_standing < 1:
        return LotStatus(LotState.CLOSED, latest, end, certificate)
    if on > end:
        return LotStatus(LotState.GROWING, visit_on=visit, window_ended=True)
    state = LotState.SAMPLED if certificate is None else LotState.PASSED
    return LotStatus(state, latest, end, certificate, visit)


def rule_breaches(
    samples: Iterable[Sample], tests: Iterable[Test], cuts: Iterable[Cut], book: Rulebook
) -> Iterator[Breach]:
    """Cuts of one lot that the rulebook did not allow on their day, each with the rule."""
    certificates = list(official(tests))
    taken = sorted({s.sampled_on for s in samples} | {t.sampled_on for t in certificates})
    for cut in cuts:
        sampled = [day for day in taken if day <= cut.cut_on]
        known = [t for t in certificates if t.reported_on <= cut.cut_on]
        yield from _breaches_of_cut(cut, sampled, known, book)


def _breaches_of_cut(
    cut: Cut, sampled: list[date], known: list[Test], book: Rulebook
) -> Iterator[Breach]:
    fact = f"{cut.sticks:,} sticks were cut on {cut.cut_on}"
    if not sampled:
        early = f"{fact}, before any official sample"
        yield Breach(cut.lot, early, "cut_before_sample", book.cut_before_sample)
        return
    sample, end = sampled[-1], window_end(sampled[-1], book)
    certificate = ruling(test for test in known if test.sampled_on == sample)
    if cut.cut_on > end:
        late = f"{fact}, after the window of the sample of {sample} ended on {end}"
        yield Breach(cut.lot, late, "window_days", book.window_days)
    if certificate is None and not book.cut_before_result.value:
        early = f"{fact}, before the result of the sample of {sample}"
        yield Breach(cut.lot, early, "cut_before_result", book.cut_before_result)
    if certificate is not None and not has_passed(certificate, book):
        failed = f"{fact}, after the lot had failed on {certificate.reported_on}"
        yield Breach(cut.lot, failed, "remediation", book.remediation)


def official(tests: Iterable[Test]) -> Iterator[Test]:
    """The certificates that count: official samples."""
    return (test for test in tests if test.kind is TestKind.OFFICIAL)


def ruling(certificates: Iterable[Test]) -> Test | None:
    """Of several certificates of one sample day, the one reported last."""
    return max(certificates, key=lambda test: test.reported_on, default=None)


def has_passed(certificate: Test, book: Rulebook) -> bool:
    """True when a certificate passes with the uncertainty it states, or else the usual one."""
    stated = certificate.uncertainty
    uncertainty = CERTIFICATE["uncertainty"] if stated is None else stated
    return passes(certificate.total_thc, uncertainty, book)
