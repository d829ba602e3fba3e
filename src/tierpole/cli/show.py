"""A plan as plain text for a terminal: what to do first, then why, then how sure it is.

The sentences are those of the page for the week, so that page and terminal cannot disagree.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from tierpole.charts import words
from tierpole.charts.ground import invented, reason_words
from tierpole.cli.layout import USUAL, columns, wrap
from tierpole.office.views.parts import plain
from tierpole.office.views.week import Item, Week

if TYPE_CHECKING:
    from tierpole.plan.result import LotPlan, Plan
    from tierpole.season import Season

CAUTION = (
    "A forecast is not an official sample, and this is not legal advice: the state department of "
    "agriculture decides. Nobody climbs wet or old rails, and nobody climbs alone."
)
SMALL = 0.0005  # a gap nobody would notice


def plan_text(season: Season, plan: Plan, this_week: Week, width: int = USUAL) -> str:
    """The whole plan as text, what to do first; units are those of the view of the week."""
    page = _Page(season, plan, this_week, width)
    blocks = [(heading, list(lines(page))) for heading, lines in BLOCKS]
    return "\n\n".join("\n".join([heading] * bool(heading) + b) for heading, b in blocks if b)


@dataclass(frozen=True)
class _Page:
    """What the blocks of the text are made of."""

    season: Season
    plan: Plan
    week: Week
    width: int

    def lines(self, text: str, hang: str = "  ") -> Iterator[str]:
        """A paragraph under a heading."""
        yield wrap(text, self.width, "  ", hang)


def _head(page: _Page) -> Iterator[str]:
    season, plan = page.season, page.plan
    yield wrap(headline(plan, page.week), page.width)
    yield wrap(f"{page.week.sentence.partition(' First:')[0]} {plain(page.week.money)}", page.width)
    yield ""
    made = f"{season.farm.name}, plan of {words.long_day(plan.made_for)} {plan.made_for.year}."
    yield wrap(f"{made} {invented(season)[0]}".strip(), page.width)
    if plan.stopped_early:
        yield wrap("Stopped early: this is the best plan found until then.", page.width)


def headline(plan: Plan, this_week: Week) -> str:
    """The one thing to say at the barn door."""
    if plan.broken_rules:
        facts = words.counted(len(plan.broken_rules), "recorded fact already breaks a rule",
                              "recorded facts already break a rule")  # fmt: skip
        return f"Talk to the department first: {facts}."
    if this_week.decide:
        return _said(_together(this_week.decide))
    if this_week.todo:
        return _said(this_week.todo[0])
    coming = [lot.request_on for lot in plan.lots if lot.request_on] + [c.day for c in plan.cuts]
    if coming:
        return f"Nothing to decide or to do before {words.long_day(min(coming))}."
    return "Nothing is worth cutting any more by these figures: leave what stands."


def _together(items: tuple[Item, ...]) -> Item:
    """The first item, for every lot of which the same is to be done by the same day."""
    first = items[0]
    said = first.what.replace(first.lot, "")
    same = [i.lot for i in items if i.by == first.by and i.what.replace(i.lot, "") == said]
    lots = words.listed(same) if first.lot else ""
    return replace(first, what=first.what.replace(first.lot, lots, 1))


def _said(item: Item) -> str:
    return f"{words.capital(item.said_by)}: {item.what[:1].lower()}{item.what[1:]}"


def _broken(page: _Page) -> Iterator[str]:
    for text in page.plan.broken_rules:
        yield from page.lines(f"{_with_days(text)}.")


def _decide(page: _Page) -> Iterator[str]:
    for item in page.week.decide:
        yield from page.lines(_said(item))
        for fact in item.facts:
            yield wrap(plain(fact), page.width, "    ", "  ")


def _todo(page: _Page) -> Iterator[str]:
    for item in page.week.todo:
        yield from page.lines(" ".join([_said(item), *(plain(fact) for fact in item.facts)]))


def _calls(page: _Page) -> Iterator[str]:
    rows = [
        (words.day(by), lot.lot, words.day(on), _odds(lot.p_pass or 0.0),
         words.span(*lot.window) if lot.window else "")
        for by, on, lot in sorted(_asked(page.plan), key=lambda call: call[:2])
    ]  # fmt: skip
    if rows:
        heads = ("call by", "lot", "sampler comes", "passes, seasons", "may then be cut")
        yield from columns(heads, rows, page.width)


def _asked(plan: Plan) -> Iterator[tuple[date, date, LotPlan]]:
    """Every call to make: by when, for when, for which lot."""
    for lot in plan.lots:
        if lot.request_on and lot.sample_on:
            yield lot.request_on, lot.sample_on, lot


def _odds(chance: float) -> str:
    """A chance as seasons of twenty, short enough for a column."""
    return words.short_odds(chance).replace("more than ", ">").replace("fewer than ", "<")


def _cuts(page: _Page) -> Iterator[str]:
    cuts = page.plan.cuts
    if not cuts:
        yield from page.lines("Nothing: by these figures no lot is worth cutting any more.")
        return
    rows = [
        (words.day(c.day), f"{c.sticks:,}", c.lot, c.place, _hours(c.hours), words.day(c.dry_on))
        for c in cuts
    ]
    total = sum(cut.sticks for cut in cuts), sum(cut.hours for cut in cuts)
    rows.append(("in all", f"{total[0]:,}", "", "", _hours(total[1]), ""))
    heads = ("day", ">sticks", "lot", "place", ">crew h", "dry by, 8 in 10")
    yield from columns(heads, rows, page.width)


def _hours(hours: float) -> str:
    return f"{max(round(hours), 1):,}"


def _lots(page: _Page) -> Iterator[str]:
    rows = [
        (lot.lot, lot.state.partition(",")[0], f"{lot.sticks_standing:,.0f}",
         f"{lot.sticks_left:,}", _odds(lot.money.p_loss), words.dollars(lot.money.mean),
         f"{words.dollars(lot.money.low)} to {words.dollars(lot.money.high)}")
        for lot in page.plan.lots
    ]  # fmt: skip
    heads = ("lot", "state", ">sticks", ">left", ">loses", ">mean", ">in 8 of 10 seasons")
    yield from columns(heads, rows, page.width)


def _why(page: _Page) -> Iterator[str]:
    for lot in page.plan.lots:
        for reason in lot.reasons:
            total = words.signed_dollars(reason.total)
            choice = _with_days(reason.choice)
            yield from page.lines(
                f"{lot.lot}, {choice}: {total} for the season: {reason_words(reason)}."
            )


def _with_days(text: str) -> str:
    """A text with its dates as people say them."""
    return re.sub(r"\d{4}-\d\d-\d\d", lambda found: words.day(date.fromisoformat(found[0])), text)


def _room(page: _Page) -> Iterator[str]:
    rows = []
    for place in page.plan.places:
        fullest = int(np.argmax(place.hanging))
        when = place.days[fullest].astype("datetime64[D]").item()
        most = f"{place.hanging[fullest]:,.0f} of {place.capacity.max():,.0f}"
        rows.append((place.place, most, words.day(when)))
    yield from columns(("place", ">sticks at most", "on"), rows, page.width)
    for phrase in page.week.room:
        yield from page.lines(plain(phrase))


def _crew(page: _Page) -> Iterator[str]:
    crew = page.plan.crew
    parts = {"cut, haul and hang": crew.cut_and_hang, "take down": crew.take_down,
             "strip": crew.strip}  # fmt: skip
    used = {name: hours.sum() for name, hours in parts.items()}
    told = ", ".join(f"to {name} {hours:,.0f}" for name, hours in used.items() if hours >= 0.5)
    yield from page.lines(plain(page.week.hands))
    yield from page.lines(
        f"In all {sum(used.values()):,.0f} of {crew.available.sum():,.0f} hours"
        f"{': ' if told else ''}{told}."
    )


def _frost(page: _Page) -> Iterator[str]:
    for phrase in page.week.frost:
        yield from page.lines(plain(phrase))


def _money(page: _Page) -> Iterator[str]:
    money = page.plan.money
    band = f"{words.dollars(money.low)} and {words.dollars(money.high)}"
    yield from page.lines(f"Loses money in {words.odds(money.p_loss)}.")
    yield from page.lines(
        f"Mean {words.dollars(money.mean)}; in 8 of 10 seasons between {band}; mean of the worst "
        f"fifth {words.dollars(money.cvar)}. Before fixed machinery and your own time."
    )


def _thumbs(page: _Page) -> Iterator[str]:
    for rule in page.plan.rules_of_thumb:
        hung = f"{rule.sticks_hung:,.0f} of {rule.sticks_total:,.0f} sticks"
        yield from page.lines(
            f"{words.capital(rule.name)}: loses money in {words.odds(rule.money.p_loss)}, mean "
            f"{words.dollars(rule.money.mean)}, hangs {hung}."
        )


def _sure(page: _Page) -> Iterator[str]:
    plan = page.plan
    more = f"no plan is worth over {words.percent(plan.gap)} more than this one"
    best = "this is the best plan" if plan.gap < SMALL else more
    yield from page.lines(
        f"Counted over {plan.money.n:,} simulated seasons. By the same figures {best}."
    )
    for number in plan.rounds:
        planned, seen = words.dollars(number.planned, 3), words.dollars(number.resimulated, 3)
        moved = words.counted(number.largest_move, "day")
        yield from page.lines(
            f"Round {number.number}: planned {planned}; with the drying of just these hangings "
            f"simulated, {seen}, none off by over {moved}{words.no_room(number.no_room)}."
        )
    for limit in page.week.limits:
        yield from page.lines(limit)


def _notes(page: _Page) -> Iterator[str]:
    for note in (*page.plan.notes, CAUTION):
        yield from page.lines(_with_days(note))


Lines = Callable[[_Page], Iterator[str]]
BLOCKS: tuple[tuple[str, Lines], ...] = (
    ("", _head),
    ("ALREADY AGAINST THE RULES", _broken),
    ("TO DECIDE THIS WEEK", _decide),
    ("TO DO THIS WEEK", _todo),
    ("CALLS TO THE SAMPLER", _calls),
    ("CUT AND HANG", _cuts),
    ("LOTS", _lots),
    ("WHY NOT A WEEK EARLIER OR LATER", _why),
    ("ROOM, and what more would be worth", _room),
    ("CREW", _crew),
    ("FROST", _frost),
    ("MONEY", _money),
    ("RULES OF THUMB, through the same seasons, on this farm only", _thumbs),
    ("HOW SURE THIS IS", _sure),
    ("NOTES", _notes),
)
