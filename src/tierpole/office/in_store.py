"""What is wrong with material in store, before a buyer stands at the door."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tierpole.documents import Warned
from tierpole.office.sales import SaleDesk, Sold


def warned(desk: SaleDesk, sales: Iterable[Sold]) -> tuple[Warned, ...]:
    """What would keep lots in store back, and what buyers with an open sale would miss of them."""
    proofs, lots = desk.proofs, tuple(_in_store(desk))
    if proofs is None:
        return ()
    found = [Warned(one.said, one.lot) for one in proofs.troubles(None, lots, desk.on)]
    said = {one.said for one in found}
    for sold in sales:
        more = proofs.troubles(sold.sale, lots, desk.on) if sold.is_open else ()
        found += [Warned(one.said, one.lot, sold.sale.name) for one in more if one.said not in said]
    return tuple(found)


def _in_store(desk: SaleDesk) -> Iterator[str]:
    """Lots with bags that have not gone, and what was stripped or remedied and not bagged yet."""
    gone = {bag for kind in ("delivery", "disposal") for one in desk.said(kind) for bag in one.bags}
    stays = [bag.lot for bag in desk.said("bag") if bag.name not in gone]
    made = [one.lot for one in desk.said("stripping")]
    made += [one.name for one in desk.said("remediation")]
    ended = {one.lot for kind in ("bag", "disposal", "remediation") for one in desk.said(kind)}
    yield from dict.fromkeys([*stays, *(lot for lot in made if lot not in ended)])
