"""The season for a lender: what it may lose and earn, what is spent, and what could go wrong."""

from __future__ import annotations

from collections.abc import Iterator

import xarray as xr

from tierpole import charts
from tierpole.charts import words
from tierpole.charts.ground import TOOL_LIMIT, has_test
from tierpole.charts.money import money_sentence
from tierpole.charts.reading import limit_of
from tierpole.compliance import LotState, change_deadlines
from tierpole.documents.break_even import break_even
from tierpole.documents.calendar import reason
from tierpole.documents.expected import expected
from tierpole.documents.filed import Filed
from tierpole.documents.parts import Cell, Grid, Order, Said, head, percent, warnings
from tierpole.documents.season_plan import assumed, thumb_grid
from tierpole.documents.typeset import Draft, file_name, picture
from tierpole.farm import PriceForm
from tierpole.outlook.dollars import before_harvest
from tierpole.plan.result import LotPlan, Plan
from tierpole.rulebook import rule_changes
from tierpole.season import DAYS, Season
from tierpole.units import System, to_unit


def lender_summary(season: Season, outlook: xr.Dataset, plan: Plan, order: Order) -> Draft:
    """The money of the season, loss first, with what it rests on."""
    return Draft(
        template="lender_summary",
        name=file_name("season-summary", str(season.year), season.on.isoformat()),
        title=f"Season summary {season.year}: {season.farm.name}",
        made_on=season.on,
        size=order.size,
        data={
            "head": head(season),
            "year": str(season.year),
            "sentence": money_sentence(plan.money),
            "spread": picture(charts.money_spread(plan)),
            "facts": list(_facts(season, plan, order.system)),
            "money": _money(plan),
            "spent": _spent(season),
            "price": list(_price(season, order.system)),
            "break_even": break_even(season, outlook, plan, order.system),
            "sales": _sales(order.filed),
            "lots": _lots(season, plan, order.system),
            "thumbs": thumb_grid(plan),
            "risks": list(_risks(season, outlook, plan)),
            "assumed": list(assumed(season)),
            "limits": [TOOL_LIMIT],
            "cautions": warnings("money"),
        },
    )


def _facts(season: Season, plan: Plan, system: System) -> Iterator[tuple[str, Cell]]:
    acres = words.area(sum(lot.area for lot in season.lots), system, 3)
    yield "Grown", f"{acres} of floral hemp in {words.counted(len(season.lots), 'lot')}"
    passed = sum(lot.state in (LotState.PASSED, LotState.CLOSED) for lot in plan.lots)
    failed = sum(lot.state is LotState.FAILED for lot in plan.lots)
    waiting = len(plan.lots) - passed - failed
    yield "Official samples", f"{passed} passed, {failed} failed, {waiting} still to come"
    cut = sum(cut.sticks for cut in season.cuts)
    planned = sum(cut.sticks for cut in plan.cuts)
    yield "Harvest", f"{cut:,} sticks cut so far, {planned:,} planned"
    if plan.cuts:
        dry = max(cut.dry_on for cut in plan.cuts)
        yield "Last of it dry by", f"{words.day(dry)} in 8 of 10 seasons, then stripped and sold"


def _money(plan: Plan) -> Grid:
    money = plan.money
    return Grid(
        ("Money of the season, all costs off", "Dollars"),
        (
            ("Seasons that lose", words.odds(money.p_loss)),
            ("Mean of the worst fifth of seasons", words.dollars(money.cvar)),
            ("One season in ten is below", words.dollars(money.low)),
            ("Middle season", words.dollars(money.median)),
            ("Mean", words.dollars(money.mean)),
            ("One season in ten is above", words.dollars(money.high)),
        ),
        (1,),
    )


def _spent(season: Season) -> Grid:
    spent = before_harvest(season)
    rows = [(words.capital(name), f"${amount:,.0f}") for name, amount in spent.items()]
    return Grid(
        ("Before harvest, from the scenario's prices", "Dollars"),
        tuple(rows),
        (1,),
        ("In all, spent whatever the harvest brings", f"${sum(spent.values()):,.0f}"),
    )


def _price(season: Season, system: System) -> Iterator[tuple[str, Cell]]:
    market = season.market
    weight = "pound" if system == "us" else "kilogram"
    how = "open: it may move before the sale" if market.price_sd else "as agreed by contract"
    if market.form is PriceForm.POINT and market.price is not None:
        price = to_unit(market.price, "a price a point", system)[0]
        yield "Price", f"${price:.2f} a {weight} for each percent of CBD, {how}"
    elif market.flat_price is not None:
        price = to_unit(market.flat_price, "money a mass", system)[0]
        yield "Price", f"${price:.2f} a {weight}, {how}"
    saved = to_unit(market.remediated_price, "money a mass", system)[0]
    yield "A lot that fails, if it can be saved", f"${saved:.2f} a {weight}"
    taken = {"paid_full", "paid_half"} - market.model_fields_set
    never = 1 - market.paid_full - market.paid_half
    shares = (market.paid_full, market.paid_half, never)
    full, half, nothing = (words.percent(share) for share in shares)
    yield "Bills", Said(f"{full} paid in full, {half} by half, {nothing} never", bool(taken))


def _sales(filed: Filed) -> Grid:
    """What is sold so far: by the contract, by the buyer's statement, and what came."""
    rows = tuple(
        (bill.sale, bill.buyer, bill.state, _bill(bill.owed), _bill(bill.says), _bill(bill.paid),
         bill.off)
        for bill in filed.bills
    )  # fmt: skip
    came = sum(bill.paid for bill in filed.bills)
    return Grid(
        ("Sale", "Buyer", "How it stands", "By contract", "Buyer says", "Came", "Differs in"),
        rows, (3, 4, 5), ("In all", "", "", "", "", _bill(came), "") if rows else (),
    )  # fmt: skip


def _bill(amount: float | None) -> str:
    return "" if amount is None else f"${amount:,.2f}"


def _lots(season: Season, plan: Plan, system: System) -> Grid:
    rows = tuple(_lot_row(season, lot, system) for lot in plan.lots)
    return Grid(
        ("Lot", "Area", "Passes in", "Loses in", "From here on, mean", "8 of 10 seasons between"),
        rows, (1, 4),
    )  # fmt: skip


def _lot_row(season: Season, lot: LotPlan, system: System) -> tuple[Cell, ...]:
    noun, money = season.lots[season.lot_index(lot.lot)], lot.money
    passes: Cell = ""
    if lot.state is LotState.PASSED:
        passes = "passed"
    elif lot.p_pass is not None:
        passes = Said(words.short_odds(lot.p_pass), not has_test(season, lot.lot))
    return (
        lot.lot, words.area(noun.area, system), passes, words.short_odds(money.p_loss),
        words.dollars(money.mean), f"{words.dollars(money.low)} and {words.dollars(money.high)}",
    )  # fmt: skip


def _risks(season: Season, outlook: xr.Dataset, plan: Plan) -> Iterator[str]:
    chances = [
        (lot.p_pass, lot.lot)
        for lot in plan.lots
        if lot.p_pass is not None and lot.state in (LotState.GROWING, LotState.SAMPLED)
    ]
    if chances:
        least, lot = min(chances)
        yield (
            f"A lot over the limit earns almost nothing. Likeliest is {lot}, which passes in "
            f"{words.odds(least)}."
        )
    yield from _refused(season, outlook, plan)
    left = sum(lot.sticks_left for lot in plan.lots)
    if left >= 1:
        yield f"{words.counted(left, 'stick')} find neither room nor hands and stay in the field."
    changes = rule_changes(season.farm.jurisdiction, season.on, season.day(DAYS - 1))
    for change in change_deadlines(changes):
        yield (
            f"On {words.long_day(change.day)} {change.day.year} the rules change: {reason(change)} "
            "What is sold after that day may fall under the new ones."
        )
    yield from plan.broken_rules


def _refused(season: Season, outlook: xr.Dataset, plan: Plan) -> Iterator[str]:
    """The lot whose sold flower is likeliest over the limit, though its sample passed."""
    crops = [(expected(season, outlook, plan, lot.lot), lot) for lot in plan.lots]
    over = [
        (1.0 - crop.is_legal.mean, lot.lot)
        for crop, lot in crops
        if crop is not None and lot.state is not LotState.FAILED
    ]
    chance, lot = max(over, default=(0.0, ""))
    if chance > 0:
        yield (
            f"What is sold of {lot}, cut after its sample, is over {percent(limit_of(season))} THC "
            f"in {words.odds(chance)}; a buyer who tests again may refuse it."
        )
