"""What a buyer owes for a sale by the contract alone, and where his own statement departs from it.

Masses are kg, prices dollars per kg (of CBD, where paid by the point), contents and moistures
shares. Nothing here is uncertain: these are the bills of what was delivered and tested.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from tierpole.farm.books import Sale, SaleForm, Settlement
from tierpole.money.selling import flat_revenue, mass_at_moisture, point_revenue


@dataclass(frozen=True)
class Load:
    """A delivery as the buyer weighed it; `cbd` is of its lots by their last tests, on dry matter.

    None is what nobody measured: the load is then at the contract's moisture, clean and sound.
    """

    mass: float
    moisture: float | None = None
    cbd: float | None = None
    foreign: float | None = None
    mould: float | None = None


@dataclass(frozen=True)
class Count:
    """What is paid for: counted mass, its content of CBD, the share recovered, the price left."""

    mass: float
    cbd: float | None = None
    recovery: float | None = None
    price: float | None = None
    area: float | None = None


@dataclass(frozen=True)
class Step:
    """One cause of a difference: what we count, what the buyer counts, dollars it makes."""

    name: str
    ours: float | None
    theirs: float | None
    dollars: float


def docked_price(price: float, measured: float, allowed: float, off: float) -> float:
    """A price less what comes off for each percent above what is allowed.

    Parameters
    ----------
    price : dollars per kg
    measured, allowed : share of the load [1]
    off : dollars per kg that come off for each percent above

    Returns
    -------
    float : dollars per kg, never below 0

    Equation: price - off x 100 x max(measured - allowed, 0).
    Source: forms of contract in extension lists; each contract has its own numbers.
    """
    return max(price - off * 100 * max(measured - allowed, 0.0), 0.0)


def split_revenue(
    mass: float, cbd: float, recovery: float, price: float, share_kept: float
) -> float:
    """What is left to a grower whose processor keeps a share of what he recovers.

    Parameters
    ----------
    mass : delivered [kg]
    cbd : total CBD, share of that mass [1]
    recovery : share of the CBD that the processor gets out [1]
    price : dollars per kg of CBD
    share_kept : the processor's share [1]

    Returns
    -------
    float : dollars

    Equation: mass x cbd x recovery x price x (1 - share_kept).
    Source: forms of contract in extension lists; recoveries of 90 to 95 % and of 25 % on one crop
    (Oregon press, 31 January 2020) show whose risk it is.
    """
    return mass * cbd * recovery * price * (1 - share_kept)


def toll_revenue(mass: float, cbd: float, recovery: float, price: float, fee: float) -> float:
    """What is left to a grower who pays a processor for each pound and keeps what comes out.

    Parameters
    ----------
    mass : delivered [kg]
    cbd : total CBD, share of that mass [1]
    recovery : share of the CBD that the processor gets out [1]
    price : dollars per kg of CBD
    fee : dollars per kg delivered

    Returns
    -------
    float : dollars; negative when the fee is more than the oil is worth

    Equation: mass x (cbd x recovery x price - fee).
    Source: forms of contract in extension lists.
    """
    return mass * (cbd * recovery * price - fee)


def acreage_revenue(area: float, price: float, supplied: float = 0.0) -> float:
    """What a contract by the acre brings, less the plants that the buyer supplied.

    Parameters
    ----------
    area : grown for it [m2]
    price : dollars per m2
    supplied : cost of supplied plants that comes off [dollars]

    Returns
    -------
    float : dollars

    Equation: area x price - supplied.
    Source: forms of contract in extension lists.
    """
    return area * price - supplied


def counted(sale: Sale, loads: Sequence[Load]) -> Count:
    """What of the loads is paid for by the contract: refused ones not, the rest at its moisture.

    A content of CBD is the mean of the loads by what is counted of each; without a test of one of
    them there is none. An as-received content is of the mass that is counted.
    """
    sound = [one for one in loads if (one.mould or 0.0) < sale.mould_reject]
    masses = [_mass(sale, one) for one in sound]
    mass = sum(masses)
    cbds = [_content(sale, one) for one in sound]
    known = [one for one in cbds if one is not None]
    cbd = None
    if mass and len(known) == len(cbds):
        cbd = sum(m * c for m, c in zip(masses, known, strict=True)) / mass
    prices = [_price(sale, one) for one in sound]
    price = sum(m * p for m, p in zip(masses, prices, strict=True)) / mass if mass else None
    return Count(mass, cbd, None, price, sale.area)


def owed(sale: Sale, count: Count) -> float | None:
    """Dollars owed for what was counted; None while something it takes is not known."""
    return _OWED[sale.form](sale, count)


def differences(sale: Sale, ours: Count, theirs: Settlement) -> tuple[Step, ...]:
    """Where a buyer's statement departs from our count, cause by cause; they add to the whole.

    Our count is turned into his one number after another; what each turn changes is its cause.
    His deductions are a cause of their own, and what no number explains stands last.
    """
    start = owed(sale, ours)
    if start is None:
        return ()
    steps: list[Step] = []
    count, now = ours, start
    for name, field in (("pounds", "mass"), ("total CBD", "cbd"), ("recovery", "recovery")):
        said = getattr(theirs, _SAID[field])
        if said is None or getattr(ours, field) is None:
            continue
        count = replace(count, **{field: said})
        due = owed(sale, count)
        after = now if due is None else due
        steps.append(Step(name, getattr(ours, field), said, after - now))
        now = after
    steps.append(Step("deductions", 0.0, theirs.deductions, -theirs.deductions))
    rest = theirs.due - (now - theirs.deductions)
    steps.append(Step("price or sum", None, None, rest))
    return tuple(step for step in steps if abs(step.dollars) >= 0.005)


_SAID = {"mass": "mass", "cbd": "total_cbd", "recovery": "recovery"}


def _mass(sale: Sale, load: Load) -> float:
    """A load as it is counted: as weighed where moisture is docked, else at the contract's own."""
    if sale.dockage is not None or load.moisture is None:
        return load.mass
    return float(mass_at_moisture(load.mass, load.moisture, sale.moisture))


def _content(sale: Sale, load: Load) -> float | None:
    if load.cbd is None or not sale.is_as_received:
        return load.cbd
    is_as_weighed = sale.dockage is not None and load.moisture is not None
    return load.cbd * (1 - (load.moisture or 0.0 if is_as_weighed else sale.moisture))


def _price(sale: Sale, load: Load) -> float:
    """The price of a load, dockages off; those are by the pound, so only for a flat price."""
    price = sale.price_flat if sale.form is SaleForm.FLAT else sale.price_point
    if price is None or sale.form is not SaleForm.FLAT:
        return price or 0.0
    moist = docked_price(price, load.moisture or 0.0, sale.moisture, sale.dockage or 0.0)
    return docked_price(moist, load.foreign or 0.0, sale.foreign_most, sale.dockage_foreign or 0.0)


def _point(sale: Sale, count: Count) -> float | None:
    if count.cbd is None or count.price is None:
        return None
    paid = point_revenue(count.mass, count.cbd, count.price, sale.cbd_lowest, sale.cbd_cap)
    return float(paid)


def _flat(_: Sale, count: Count) -> float | None:
    return None if count.price is None else float(flat_revenue(count.mass, count.price))


def _of_mass(sale: Sale, cbd: float) -> float:
    """A content as a share of the counted mass: what a processor can get out, water aside."""
    return cbd if sale.is_as_received else cbd * (1 - sale.moisture)


def _split(sale: Sale, count: Count) -> float | None:
    if count.cbd is None or count.recovery is None or not sale.price_point:
        return None
    content = (count.mass, _of_mass(sale, count.cbd), count.recovery, sale.price_point)
    return split_revenue(*content, sale.share_kept or 0.0)


def _toll(sale: Sale, count: Count) -> float | None:
    if count.cbd is None or count.recovery is None or not sale.price_point:
        return None
    content = (count.mass, _of_mass(sale, count.cbd), count.recovery, sale.price_point)
    return toll_revenue(*content, sale.fee or 0.0)


def _acreage(sale: Sale, count: Count) -> float | None:
    if count.area is None or sale.price_area is None:
        return None
    return acreage_revenue(count.area, sale.price_area, sale.plants_supplied)


_OWED: dict[SaleForm, Callable[[Sale, Count], float | None]] = {
    SaleForm.POINT: _point,
    SaleForm.FLAT: _flat,
    SaleForm.SPLIT: _split,
    SaleForm.TOLL: _toll,
    SaleForm.ACREAGE: _acreage,
}
