"""A plan, a season and a station's weather as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tierpole.outlook.summary import Summary, seasons_of_twenty
from tierpole.units import ACRE, System, show

if TYPE_CHECKING:
    from tierpole.plan.result import LotPlan, Plan
    from tierpole.season import Season

WIDTH = 78
CAUTION = (
    "A forecast is not an official sample, and this is not legal advice: the state department of "
    "agriculture decides. Nobody climbs wet or old rails, and nobody climbs alone."
)


def plan_text(season: Season, plan: Plan, system: System = "us") -> str:
    """The whole plan as text, what to do first."""
    blocks = [
        _head(season, plan),
        _broken(plan),
        _calls(plan),
        _cut_list(plan),
        _lots(plan),
        _places(plan),
        _money(plan),
        _thumbs(plan),
        _worth(plan),
        _notes(season, plan, system),
    ]
    return "\n\n".join("\n".join(block) for block in map(list, blocks) if block)


def season_text(season: Season) -> str:
    """A season in a few lines: what was read."""
    acres = sum(lot.area for lot in season.lots) / ACRE
    sticks = sum(season.sticks_standing(lot) for lot in season.lots)
    weather = season.past_weather
    return "\n".join(
        [
            f"{season.farm.name}, season {season.year}, seen on {day(season.on)}",
            f"  {acres:.1f} acres in {len(season.lots)} lots, {sticks:,.0f} sticks standing",
            f"  {len(season.places)} places, {len(season.tests)} certificates, "
            f"{len(season.hanging_now())} hangings",
            f"  weather: {weather.station.name}, {weather.dates[0]} to {weather.dates[-1]}",
        ]
    )


def day(when: date) -> str:
    """A date as people say it: "Tue 8 Sep"."""
    return f"{when:%a} {when.day} {when:%b}"


def dollars(amount: float) -> str:
    """Dollars to three digits, losses with a minus sign."""
    rounded = float(f"{amount:.3g}")
    return f"-${-rounded:,.0f}" if rounded < 0 else f"${rounded:,.0f}"


def _head(season: Season, plan: Plan) -> Iterator[str]:
    yield f"{season.farm.name}, {season.year} - plan of {day(plan.made_for)}"
    if season.farm.is_invented:
        yield "An invented farm: no such place, variety or price exists."
    if season.stand_in_year is not None:
        yield f"The autumn of {season.stand_in_year} stands in for this season's weather so far."
    if plan.stopped_early:
        yield "Stopped early: this is the best plan found until then."
    yield f"No plan is worth over {plan.gap:.1%} more than this one by the same figures."


def _broken(plan: Plan) -> Iterator[str]:
    if plan.broken_rules:
        yield "ALREADY AGAINST THE RULES (talk to the department before anything else)"
        yield from (f"  {text}" for text in plan.broken_rules)


def _calls(plan: Plan) -> Iterator[str]:
    calls = sorted((lot for lot in plan.lots if lot.request_on), key=lambda lot: lot.request_on)
    if not calls:
        return
    yield "CALL THE SAMPLER"
    for lot in calls:
        chance = lot.p_pass or 0.0
        yield (
            f"  by {day(lot.request_on)} for {day(lot.sample_on)}: {lot.lot}. "
            f"Passes in {seasons_of_twenty(chance)} ({chance:.0%})."
        )  # pyright: ignore


def _cut_list(plan: Plan) -> Iterator[str]:
    if not plan.cuts:
        yield "NOTHING TO CUT: by these figures no lot is worth cutting any more."
        return
    yield "CUT AND HANG"
    for cut in plan.cuts:
        yield (
            f"  {day(cut.day):<11}{cut.sticks:>6,} sticks  {cut.lot:<18}{cut.place:<14}"
            f"{cut.hours:>6.1f} h   dry by {day(cut.dry_on)}"
        )


def _lots(plan: Plan) -> Iterator[str]:
    yield "LOT BY LOT"
    for lot in plan.lots:
        yield f"  {lot.lot}: {lot.state.value}, {lot.sticks_standing:,.0f} sticks standing"
        if lot.window:
            yield f"    may be cut {day(lot.window[0])} to {day(lot.window[1])}"
        yield f"    loses money in {lot.money.p_loss:.0%} of draws; {_band(lot.money)}"
        yield from _reasons(lot)


def _reasons(lot: LotPlan) -> Iterator[str]:
    for reason in lot.reasons:
        told = ", ".join(
            f"{name} {dollars(amount)}" for name, amount in reason.pieces if abs(amount) >= 1
        )
        yield f"    {reason.choice}: {dollars(reason.total)} ({told})"


def _places(plan: Plan) -> Iterator[str]:
    yield "ROOM"
    for place in plan.places:
        fullest = int(np.argmax(place.hanging - 1e-9 * np.arange(place.hanging.size)))
        when = day(place.days[fullest].astype("datetime64[D]").item())
        room = int(place.capacity.max())
        yield f"  {place.place:<14}{place.hanging[fullest]:>6,.0f} of {room:,} sticks at most, {when}"
    used = plan.crew.cut_and_hang + plan.crew.take_down + plan.crew.strip
    yield f"  crew: {used.sum():,.0f} of {plan.crew.available.sum():,.0f} hours"


def _money(plan: Plan) -> Iterator[str]:
    yield "MONEY (the season's net, before fixed machinery and your own time)"
    yield f"  loses money in {seasons_of_twenty(plan.money.p_loss)} ({plan.money.p_loss:.0%})"
    yield f"  {_band(plan.money)}"
    yield f"  mean of the worst fifth: {dollars(plan.money.cvar)}"
    for number in plan.rounds:
        yield (
            f"  round {number.number}: planned {dollars(number.planned)}, drying simulated again "
            f"{dollars(number.resimulated)}, largest move {number.largest_move:.0f} days"
        )


def _band(money: Summary) -> str:
    return f"mean {dollars(money.mean)}; {dollars(money.low)} to {dollars(money.high)} in 8 of 10"


def _thumbs(plan: Plan) -> Iterator[str]:
    if not plan.rules_of_thumb:
        return
    yield "RULES OF THUMB on the same draws (this farm and season only)"
    for rule in plan.rules_of_thumb:
        yield (
            f"  {rule.name}: hangs {rule.sticks_hung:,.0f} of {rule.sticks_total:,.0f} sticks, "
            f"mean {dollars(rule.money.mean)}, loses in {rule.money.p_loss:.0%}"
        )


def _worth(plan: Plan) -> Iterator[str]:
    if plan.worth:
        yield "WHAT MORE WOULD BE WORTH"
        yield from (f"  {worth.what}: {dollars(worth.dollars)}" for worth in plan.worth)


def _notes(season: Season, plan: Plan, system: System) -> Iterator[str]:
    yield "NOTES"
    yield from (f"  {note}" for note in plan.notes)
    cold = [f for f in season.fields if f.night_offset]
    for field in cold:
        offset = show(field.night_offset, "a temperature difference", system)
        yield f"  {field.name}: nights taken as {offset} against the station, in every frost figure."
    yield f"  {CAUTION}"


def weather_text(path: Path, system: System) -> str:
    """What a station file holds: gaps, doubtful values, seasons on file, freeze dates."""
    from tierpole.sources import read_station
    from tierpole.weather import clean, fill_gaps, season_pool

    record, findings = clean(read_station(path))
    filled, count = fill_gaps(record)
    pool = season_pool(filled)
    lines = [
        f"{record.station.name} ({record.station.code}), {record.dates[0]} to {record.dates[-1]}",
        f"  {len(findings)} doubtful values set aside" + (":" if findings else ""),
        *(f"    {finding}" for finding in findings[:10]),
        *([f"    and {len(findings) - 10} more"] if len(findings) > 10 else []),
        f"  gaps filled: {count}",
        f"  {len(pool)} whole seasons to draw from, {pool.years[0]} to {pool.years[-1]}",
        *_freezes(filled, system),
    ]
    return "\n".join(lines)


def _freezes(record: object, system: System) -> Iterator[str]:
    from tierpole.weather import freeze_date, freeze_days, freeze_quantile

    yield "  first night of autumn at or below (1 year in 10, half, 9 in 10 have had it by then):"
    for fahrenheit in (36, 32, 28):
        celsius = (fahrenheit - 32) / 1.8
        freezes = freeze_days(record, celsius, "fall")  # pyright: ignore[reportArgumentType]
        dates = [freeze_date(float(freeze_quantile(freezes, q)), 2025) for q in (0.1, 0.5, 0.9)]
        told = ", ".join("none" if d is None else f"{d.astype(object):%-d %b}" for d in dates)
        yield f"    {show(celsius, 'a temperature', system)}: {told}"
