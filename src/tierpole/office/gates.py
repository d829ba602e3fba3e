"""What stands between material and its buyer: panels, its own certificate, and the rules.

A failed panel keeps a delivery back until somebody writes why it goes out all the same; one that
the buyer asks for and that is missing or too old is a warning. What the rules keep back, a lot over
the limit or shredded plants without a test of their own, no reason opens: only a certificate does.
Panels and certificates are of the lot in the bag: remediated material is a lot of its own, and what
its mother lot passed does not count for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from tierpole.charts import words
from tierpole.compliance import Bar, last_verdicts, lot_bar, remedied_bar
from tierpole.errors import Fault, InputError, RuleError
from tierpole.farm import Noun, Test
from tierpole.farm.books import Delivery, Panel, PanelGroup, Remediation, Sale
from tierpole.records import Store, Wanted, nouns
from tierpole.rulebook import rulebook_on

LET_OUT = "of lots that may leave the farm"
MEND = "If a certificate is written down wrong or not yet, do that first; else ask the department."


@dataclass(frozen=True)
class Trouble:
    """What is wrong with a lot that is sold, in a sentence; `blocks` when it is kept back.

    `rule` says which rule it is that is in the way: what a rule keeps back no reason lets out.
    """

    lot: str
    said: str
    blocks: bool
    rule: str = ""

    def __str__(self) -> str:
        return f"{self.said} {self.rule}".strip()


@dataclass(frozen=True)
class Proofs:
    """What the books of a season hold that material leaves the farm by; the farm's jurisdiction."""

    jurisdiction: str
    panels: tuple[Panel, ...] = ()
    tests: tuple[Test, ...] = ()
    remediations: tuple[Remediation, ...] = ()

    def troubles(self, sale: Sale | None, lots: Iterable[str], on: date) -> tuple[Trouble, ...]:
        """What is wrong with some lots for a sale on a day: the rules first, then the panels."""
        return tuple(
            found
            for lot in dict.fromkeys(lots)
            for found in (*self._by_rule(lot, on), *_by_panels(sale, lot, self.panels, on))
        )

    def _by_rule(self, lot: str, on: date) -> Iterator[Trouble]:
        try:
            bar = self._bar(lot, on)
        except RuleError:  # a day no rulebook covers: nothing can be said of it
            return
        if bar is not None:
            yield Trouble(lot, f"{lot}: {bar.fact}.", bar.blocks, bar.rule)

    def _bar(self, lot: str, on: date) -> Bar | None:
        book_on = partial(rulebook_on, self.jurisdiction)
        made = next((one for one in self.remediations if one.name == lot), None)
        if made is not None:
            return remedied_bar(made, self.tests, on, book_on)
        return lot_bar(lot, self.tests, on, book_on)


def proofs_of(store: Store, said: Callable[[str], Iterable[Any]]) -> Proofs | None:
    """The proofs among what is said of each kind in a season; None while there is no farm."""
    farm = next((one.noun for one in nouns(store, Wanted("farm"))), None)
    if farm is None:
        return None
    kinds = ("panel", "test", "remediation")
    return Proofs(farm.jurisdiction, *(tuple(said(kind)) for kind in kinds))


def _by_panels(sale: Sale | None, lot: str, panels: Iterable[Panel], on: date) -> Iterator[Trouble]:
    told = last_verdicts(panels, lot, on)
    for group in PanelGroup:
        found = _of_panel(sale, lot, group, told.get(group), on)
        if found is not None:
            yield found


def _of_panel(
    sale: Sale | None, lot: str, group: PanelGroup, last: tuple[date, bool] | None, on: date
) -> Trouble | None:
    if last is not None and not last[1]:
        when = words.plain_day(last[0])
        return Trouble(lot, f"{lot}: {group} failed in the sample of {when}.", True)
    if sale is None or group not in sale.panels:
        return None
    if last is None:
        return Trouble(lot, f"{lot}: {sale.buyer} asks for {group}, and none is reported.", False)
    days = (on - last[0]).days
    if sale.panel_days is not None and days > sale.panel_days:
        most = f"{sale.panel_days:.0f}"
        said = f"{lot}: {group} were sampled {days} days before, and {sale.buyer} takes {most}."
        return Trouble(lot, said, False)
    return None


def check_gates(store: Store, said: Iterable[Noun | None]) -> None:
    """Raise `InputError` for a delivery that is kept back: by the rules, or by a failed panel."""
    for noun in said:
        if isinstance(noun, Delivery):
            _check_delivery(noun, delivery_troubles(store, noun))


def _check_delivery(delivery: Delivery, found: Iterable[Trouble]) -> None:
    shut = [one for one in found if one.blocks]
    ruled = [one for one in shut if one.rule]
    if ruled:
        why, named = " ".join(one.said for one in ruled).rstrip("."), ", ".join(delivery.bags)
        cure = " ".join([*dict.fromkeys(one.rule for one in ruled), MEND])
        raise InputError("delivery", [Fault(why, "bags", named, LET_OUT, cure)])
    if shut and not delivery.exception:
        allowed = "why it goes out all the same"
        told = " ".join(one.said for one in shut)
        raise InputError("delivery", [Fault(told, "exception", None, allowed)])


def delivery_troubles(store: Store, delivery: Delivery) -> tuple[Trouble, ...]:
    """What is wrong with the lots of what is delivered, by the season each bag was filled in."""
    sale = next((one.noun for one in nouns(store, Wanted("sale", name=delivery.sale))), None)
    found: list[Trouble] = []
    for year, lots in _lots_of(store, delivery).items():
        proofs = proofs_of(
            store, lambda kind, y=year: [one.noun for one in nouns(store, Wanted(kind, season=y))]
        )
        found += proofs.troubles(sale, lots, delivery.delivered_on) if proofs else ()
    return tuple(found)


def _lots_of(store: Store, delivery: Delivery) -> dict[int, list[str]]:
    """The lots in the bags of a delivery, by season; of bags named alike the newest is meant."""
    every = ((one.entry.season or 0, one.noun) for one in nouns(store, Wanted("bag")))
    named = ((year, bag) for year, bag in every if bag.name in delivery.bags)
    newest = {bag.name: (year, bag.lot) for year, bag in sorted(named, key=lambda one: one[0])}
    found: dict[int, list[str]] = {}
    for year, lot in newest.values():
        found.setdefault(year, []).append(lot)
    return found
