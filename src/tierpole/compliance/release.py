"""Whether material of a lot may leave the farm: what its certificates say, and after a remedy."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from tierpole.compliance.status import has_passed, official
from tierpole.farm import Test, TestKind
from tierpole.farm.books import Remediation, RemediationMethod
from tierpole.rulebook import Provision, Rulebook

BookOn = Callable[[date], Rulebook]
RETESTS = (TestKind.REMEDIATION, TestKind.OFFICIAL)


@dataclass(frozen=True)
class Bar:
    """What the rules say against material of a lot leaving the farm, and under which rule.

    One that does not block asks to be looked at: the texts on file do not settle it.
    """

    lot: str
    fact: str
    provision: Provision[Any]
    blocks: bool = True

    @property
    def rule(self) -> str:
        """The rule in words, with where it stands and whether to confirm it."""
        confirm = " Confirm it with the department." if self.provision.verify else ""
        return f"{self.provision.says} ({self.provision.citation}){confirm}"


def lot_bar(lot: str, tests: Iterable[Test], on: date, book_on: BookOn) -> Bar | None:
    """What keeps the material of a lot back by its official certificates known on a day.

    Material does not say under which sample it was cut: where one sample passed and a later one
    failed, that is to be looked at.
    """
    known = [t for t in official(tests) if t.lot == lot and t.reported_on <= on]
    if not known:
        rule = book_on(on).performance_sampling
        return Bar(lot, "no official certificate of it is in the books", rule, blocks=False)
    *earlier, last = _by_sample(known)
    if _passed(last, book_on):
        return None
    book, passed = book_on(last.sampled_on), any(_passed(one, book_on) for one in earlier)
    over = f"its sample of {_day(last)} is over the limit"
    fact = f"{over}; only what was cut under an earlier sample that passed may leave"
    return Bar(lot, fact if passed else over, book.limit, blocks=not passed)


def remedied_bar(made: Remediation, tests: Iterable[Test], on: date, book_on: BookOn) -> Bar | None:
    """What keeps remediated material back: the rule on its remedy, and its own test after it.

    The test is of a sample taken on the day of the remedy or later, official or post-remediation;
    a test of the lot it was made of does not count, nor does one of the grower's own.
    """
    book = book_on(made.done_on)
    if made.method not in book.remediation.value:
        fact = f"{made.method} on {made.done_on:%-d %b} is no remedy the rules then knew"
        return Bar(made.name, fact, book.remediation)
    own = [t for t in tests if t.lot == made.name and t.kind in RETESTS and t.reported_on <= on]
    since = [test for test in own if test.sampled_on >= made.done_on]
    if not since:
        done = f"remedied on {made.done_on:%-d %b} ({made.method})"
        fact = f"{done}, and no test of a sample taken since then is in the books"
        must = made.method is RemediationMethod.SHRED and book.biomass_retest.value
        return Bar(made.name, fact, book.biomass_retest, blocks=must)
    last = _by_sample(since)[-1]
    if _passed(last, book_on):
        return None
    fact = f"its sample of {_day(last)}, after the remedy, is over the limit: destroy it"
    return Bar(made.name, fact, book.biomass_retest)


def _by_sample(tests: Iterable[Test]) -> list[Test]:
    """The certificate that rules of each sample, oldest sample first."""
    every = sorted(tests, key=lambda test: (test.sampled_on, test.reported_on))
    return list({test.sampled_on: test for test in every}.values())


def _passed(test: Test, book_on: BookOn) -> bool:
    return has_passed(test, book_on(test.sampled_on))


def _day(test: Test) -> str:
    return f"{test.sampled_on:%-d %b}"
