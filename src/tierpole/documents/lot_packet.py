"""A lot's packet for an inspection: what is recorded of it, and under which rule. No forecast."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import xarray as xr

from tierpole.charts import words
from tierpole.compliance import largest_passing, lot_status, passes, rule_breaches, window_end
from tierpole.compliance.chance import CERTIFICATE
from tierpole.documents.filed import Filed
from tierpole.documents.grids import certificate_grid, panel_grid
from tierpole.documents.parts import (
    Cell,
    Grid,
    Order,
    Said,
    chosen,
    full_day,
    head,
    percent,
    warnings,
)
from tierpole.documents.typeset import Draft, file_name
from tierpole.farm import Lot, Test, TestKind
from tierpole.outlook.legal import ruling_book
from tierpole.plan.result import Plan
from tierpole.rulebook import Rulebook
from tierpole.season import Season
from tierpole.units import System, show

CAUTIONS = ("who-decides", "not-legal-advice", "keep-records")
RULES = ("limit", "mu_allowed", "window_days", "window_event", "cut_before_sample", "sampler",
         "disposal_notice_days", "disposal_report_days", "record_years")  # fmt: skip


def lot_packet(season: Season, _: xr.Dataset, __: Plan, order: Order) -> Draft:
    """Everything recorded of one lot from planting to disposal, for an inspector."""
    name = chosen(order.of, [lot.name for lot in season.lots], "lot")
    lot = season.lots[season.lot_index(name)]
    book, filed = ruling_book(season, lot), order.filed
    return Draft(
        template="lot_packet",
        name=file_name("lot-packet", name, season.on.isoformat()),
        title=f"Lot packet: {name}, {season.farm.name}",
        made_on=season.on,
        size=order.size,
        data={
            "head": head(season),
            "lot": name,
            "sentence": _sentence(season, lot, book),
            "facts": list(_facts(season, lot, filed, order.system)),
            "planting": _planting(lot, filed),
            "tests": certificate_grid(season, name),
            "verdicts": list(_verdicts(season, name, book)),
            "samples": _samples(season, lot, book),
            "custody": _custody(filed, name),
            "panels": panel_grid(filed, name),
            "sticks": _sticks(season, lot),
            "balance": list(_balance(season, lot)),
            "disposals": _disposals(filed, name, order.system),
            "breaches": list(_breaches(season, name, book)),
            "rules": _rules(book),
            "texts": list(book.texts),
            "proof": _proof(filed),
            "cautions": [*book.cautions, *warnings("rules", CAUTIONS)],
        },
    )


def _sentence(season: Season, lot: Lot, book: Rulebook) -> str:
    samples = [s for s in season.samples if s.lot == lot.name]
    tests = [t for t in season.tests if t.lot == lot.name]
    status = lot_status(samples, tests, season.sticks_standing(lot), season.on, book)
    said = f"As of {full_day(season.on)}, {lot.name}: {status.state}."
    if status.window_ended:
        return f"{said} The window of its last sample has ended and it needs a new one."
    if status.sampled_on is None or status.window_last is None:
        return f"{said} No official sample is recorded."
    last = full_day(status.window_last)
    return f"{said} Sampled {full_day(status.sampled_on)}, last day to cut {last}."


def _facts(season: Season, lot: Lot, filed: Filed, system: System) -> Iterator[tuple[str, Cell]]:
    farm, variety = season.farm, season.variety(lot)
    yield "Grower", farm.name
    for licence in filed.licences:
        dates = f"{licence.valid_from} to {licence.expires_on}"
        yield words.capital(licence.name), f"{licence.number}, {licence.authority}, {dates}"
    yield "Field", lot.field
    yield "Farm lies at", f"{farm.latitude:.4f}°, {farm.longitude:.4f}° (WGS 84)"
    other: System = "metric" if system == "us" else "us"
    areas = [words.area(lot.area, units, 3) for units in (system, other)]
    yield "Area", f"{areas[0]} ({areas[1]})"
    yield "Variety", f"{variety.name}{' (invented)' if variety.is_invented else ''}"
    yield "Stock", "rooted cuttings of one plant" if lot.stock == "clone" else "seedlings"
    yield "Set", full_day(lot.set_on)
    yield "Plants set", f"{lot.plants_set:,}"
    counted = lot.plants_counted
    yield "Plants counted alive", "not counted" if counted is None else f"{counted:,}"
    yield "Plants to a stick", f"{lot.plants_per_stick}"


def _planting(lot: Lot, filed: Filed) -> Grid:
    rows = [
        (p.set_on, "set", f"{p.plants:,}", p.note) for p in filed.plantings if p.lot == lot.name
    ]
    rows += [
        (a.arrived_on, "arrived", f"{a.plants:,}", f"{a.dead:,} dead; {a.condition}".strip("; "))
        for a in filed.arrivals if a.lot == lot.name
    ]  # fmt: skip
    rows += [
        (x.seen_on, "lost", f"{x.plants:,}", x.cause) for x in filed.losses if x.lot == lot.name
    ]
    return Grid(
        ("Day", "Plants", "Count", "Remark"),
        tuple((full_day(day), *rest) for day, *rest in sorted(rows)),
        (2,),
    )


def _verdicts(season: Season, lot: str, book: Rulebook) -> Iterator[str]:
    for test in sorted(season.tests, key=lambda test: test.reported_on):
        if test.lot == lot and test.kind is TestKind.OFFICIAL:
            yield _verdict(test, book)


def _verdict(test: Test, book: Rulebook) -> str:
    stated = test.uncertainty
    allowed = CERTIFICATE["uncertainty"] if stated is None else stated
    passed = passes(test.total_thc, allowed, book)
    largest = percent(float(largest_passing(allowed, book)))
    how = f"the limit {percent(float(book.limit.value))} and the uncertainty {percent(allowed)}"
    assumed = " (assumed; the certificate states none)" if stated is None else ""
    return (
        f"Sample of {full_day(test.sampled_on)}: {percent(test.total_thc)} total THC "
        f"{'is within' if passed else 'is above'} {largest}, {how}{assumed}. "
        f"{'Passed' if passed else 'Failed'} ({book.mu_allowed.citation})."
    )


def _samples(season: Season, lot: Lot, book: Rulebook) -> Grid:
    asked = {s.sampled_on: s.requested_on for s in season.samples if s.lot == lot.name}
    rows = []
    for day in season.sampled_days(lot):
        called = full_day(asked[day]) if day in asked else "not recorded"
        results = [
            t.reported_on for t in season.tests
            if t.lot == lot.name and t.kind is TestKind.OFFICIAL and t.sampled_on == day
        ]  # fmt: skip
        result = full_day(max(results)) if results else "awaited"
        rows.append((called, full_day(day), result, full_day(window_end(day, book))))
    return Grid(("Called", "Sampled", "Result", "Last day to cut"), tuple(rows))


def _custody(filed: Filed, lot: str) -> Grid:
    steps = sorted(
        (s for s in filed.custody if s.lot == lot),
        key=lambda step: (step.handed_on, step.handed_at or ""),
    )
    return Grid(
        ("Sample of", "Handed on", "By", "To", "Seal", "Plants"),
        tuple(
            (full_day(s.sampled_on), f"{full_day(s.handed_on)} {s.handed_at or ''}".strip(),
             s.giver, s.taker, s.seal, "" if s.plants is None else f"{s.plants}")
            for s in steps
        ),
        (5,),
    )  # fmt: skip


def _sticks(season: Season, lot: Lot) -> Grid:
    """Cuts and hangings of the lot, day by day."""
    rows: list[tuple[Any, ...]] = [
        (cut.cut_on, 0, "cut", f"{cut.sticks:,}", "") for cut in season.cuts if cut.lot == lot.name
    ]
    for hanging in season.hangings:
        if hanging.lot == lot.name:
            rows.append((hanging.hung_on, 1, "hung", f"{hanging.sticks:,}", hanging.place))
            if hanging.down_on is not None:
                down = (hanging.down_on, 2, "taken down", f"{hanging.sticks:,}", hanging.place)
                rows.append(down)
    return Grid(
        ("Day", "What", "Sticks", "Place"),
        tuple((full_day(row[0]), *row[2:]) for row in sorted(rows)),
        (2,),
    )


def _balance(season: Season, lot: Lot) -> Iterator[tuple[str, Cell]]:
    cut = season.sticks_cut(lot)
    hung = sum(h.sticks for h in season.hangings if h.lot == lot.name)
    counted = lot.plants_counted is not None
    standing = Said(f"{int(season.sticks_standing(lot)):,} sticks", not counted)
    yield "Cut so far", f"{cut:,} sticks, about {cut * lot.plants_per_stick:,} plants"
    yield "Hung so far", f"{hung:,} sticks"
    yield "Cut and not recorded as hung", f"{cut - hung:,} sticks"
    yield "Still standing", standing


def _disposals(filed: Filed, lot: str, system: System) -> Grid:
    rows = [
        (d.disposed_on, f"destroyed: {'; '.join(filter(None, (d.method, d.note)))}",
         f"{d.plants:,}", f"{d.sticks:,}", show(d.mass, "a mass", system, 3), d.witness)
        for d in filed.disposals if d.lot == lot
    ]  # fmt: skip
    rows += [
        (r.done_on, f"remedied: {r.method}", "", f"{r.sticks:,}",
         show(r.mass, "a mass", system, 3), f"now {r.name}")
        for r in filed.remediations if r.lot == lot
    ]  # fmt: skip
    rows += [
        (t.filed_on, f"told the department: {t.kind}", "", "", "", t.number)
        for t in filed.reports or () if t.lot == lot
    ]  # fmt: skip
    return Grid(
        ("Day", "What", "Plants", "Sticks", "Mass", "Witness, new lot or receipt"),
        tuple((full_day(day), *rest) for day, *rest in sorted(rows)),
        (2, 3, 4),
    )


def _breaches(season: Season, lot: str, book: Rulebook) -> Iterator[str]:
    samples = [sample for sample in season.samples if sample.lot == lot]
    tests = [test for test in season.tests if test.lot == lot]
    cuts = [cut for cut in season.cuts if cut.lot == lot]
    yield from (str(breach) for breach in rule_breaches(samples, tests, cuts, book))


def _rules(book: Rulebook) -> Grid:
    rows = [
        (title, rule.says, f"{rule.citation}{' (to be confirmed)' if rule.verify else ''}")
        for name, title, rule in book.provisions() if name in RULES
    ]  # fmt: skip
    return Grid(("Rule", "What it says", "Read in"), tuple(rows))


def _proof(filed: Filed) -> list[tuple[str, str]]:
    proof = filed.proof
    if proof is None:
        return []
    return [
        ("Entries in the books", f"{proof.entries:,}"),
        ("Chain", "unbroken" if proof.is_unbroken else "BROKEN: ask the grower why"),
        ("Checked", proof.checked_on),
        ("Seal", proof.seal),
    ]
