"""What a new plan does otherwise than one before it, and which entries of the books are why."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from tierpole.charts import words
from tierpole.farm import (
    Cut,
    Flowering,
    GaugeReading,
    Hanging,
    Lot,
    Noun,
    Place,
    Reading,
    Sample,
    Test,
)
from tierpole.office.document import LotDocument
from tierpole.office.kept import KeptDocument
from tierpole.records import IN_SEASON, Store, history, news

ONE_SEASON = 0.05  # a chance that moves by one season of twenty is worth a word
FEW = 0.02  # of a lot's sticks: fewer are not worth one
SHOWN = 3  # causes named of a change before the rest is counted


@dataclass(frozen=True)
class News:
    """Something entered that a plan is made from; when taken back, what it had said."""

    kind: str
    noun: Any
    is_taken_back: bool


def news_between(store: Store, before: KeptDocument, after: KeptDocument) -> list[News]:
    """What was entered after one plan was made from the books and before another, oldest first."""
    kinds = [kind.name for kind in IN_SEASON] + ["weather"]
    found = news(store, kinds, before.entries, after.entries)
    return [
        News(entry.kind, entry.noun or _said_last(store, entry.of), entry.noun is None)
        for entry in found
    ]


def _said_last(store: Store, noun: UUID) -> Noun | None:
    """What a noun said before it was withdrawn."""
    said = [entry.noun for entry in history(store, noun) if entry.noun is not None]
    return said[-1] if said else None


def what_changed(
    before: KeptDocument, after: KeptDocument, entered: Sequence[News]
) -> tuple[str, ...]:
    """Every lot whose plan moved, and why; then what was entered and moved nothing."""
    own: list[str] = []
    shared: list[str] = []
    told: list[News] = []
    old_lots = {lot.lot: lot for lot in before.plan.lots}
    for lot in after.plan.lots:
        moves = list(_moves(old_lots.get(lot.lot), lot))
        causes = [one for one in entered if _is_about(one, lot)]
        if moves:
            told += causes
            said = [_cause(one, before) for one in causes or entered]
            if not causes:
                said = [_of_whom(one, text) for one, text in zip(entered, said, strict=True)]
            why = _why(said) or _by_itself(before, after)
            (own if causes else shared).append(f"{lot.lot}: {'; '.join(moves)}: {why}.")
    quiet = (one for one in entered if one not in told and isinstance(one.noun, _OF_A_LOT))
    rest = [f"{_named(one.noun)}: {_cause(one, before)}; nothing moves." for one in quiet]
    return tuple(dict.fromkeys(own + rest + shared))


def _moves(old: LotDocument | None, new: LotDocument) -> Iterator[str]:
    """What is otherwise for a lot, worst first."""
    if old is None:
        yield "new in the plan"
        return
    if old.state != new.state:
        yield f"is now {new.state.partition(',')[0]}"
    if old.sample_on != new.sample_on and new.state == old.state:
        yield _moved("sample", old.sample_on, new.sample_on)
    if _first_cut(old) != _first_cut(new):
        yield _moved("first cut", _first_cut(old), _first_cut(new))
    if abs(old.sticks_left - new.sticks_left) > FEW * max(old.sticks_standing, 1):
        left = words.counted(new.sticks_left, "stick")
        yield f"{left} left standing, before {old.sticks_left:,}"
    chances = old.p_pass, new.p_pass
    if None not in chances and abs(chances[0] - chances[1]) >= ONE_SEASON:  # type: ignore[operator]
        yield (
            f"passes in {words.short_odds(new.p_pass or 0.0)} seasons, before "
            f"{words.short_odds(old.p_pass or 0.0)}"
        )


def _first_cut(lot: LotDocument) -> date | None:
    return min((cut.cut_on for cut in lot.cuts), default=None)


def _moved(what: str, old: date | None, new: date | None) -> str:
    if old is None or new is None:
        day = words.plain_day(old or new or date.min)
        return f"no {what} any more, was to be {day}" if new is None else f"{what} now on {day}"
    if (old.year, old.month) == (new.year, new.month):
        return f"{what} moves from {old.day} to {words.plain_day(new)}"
    return f"{what} moves from {words.plain_day(old)} to {words.plain_day(new)}"


# --- causes ---------------------------------------------------------------------------------------


def _is_about(one: News, lot: LotDocument) -> bool:
    """Whether an entry is of a lot, or of a place the lot is to hang in."""
    if isinstance(one.noun, Place):
        return one.noun.name in {cut.place for cut in lot.cuts}
    return isinstance(one.noun, _OF_A_LOT) and _named(one.noun) == lot.lot


def _named(noun: Any) -> str:
    """The lot a noun is of."""
    return noun.name if isinstance(noun, Lot) else noun.lot


def _of_whom(one: News, said: str) -> str:
    """A cause as it is told of another lot, with which room and hands are shared."""
    return f"{_named(one.noun)} ({said})" if isinstance(one.noun, _OF_A_LOT) else said


def _why(causes: Sequence[str]) -> str:
    """Causes in one breath, the newest first."""
    said = list(dict.fromkeys(reversed(causes)))
    more = [f"{len(said) - SHOWN} more"] * (len(said) > SHOWN)
    return words.listed([*said[:SHOWN], *more])


def _by_itself(before: KeptDocument, after: KeptDocument) -> str:
    """Why a plan moves when nothing was entered."""
    if before.plan.on != after.plan.on:
        return f"the weather up to {words.plain_day(after.plan.on)} is known"
    return "the season was worked through anew"


def _cause(one: News, before: KeptDocument) -> str:
    """An entry as a cause, in the words of the farm."""
    say = _SAYINGS.get(type(one.noun))
    said = say(one.noun, before) if say else f"the {one.kind} was changed"
    return f"{said} (taken back since)" if one.is_taken_back else said


def _test(test: Test, before: KeptDocument) -> str:
    said = f"test of {words.plain_day(test.sampled_on)} reads {_percent(test.total_thc)}"
    expected = before.expected(test.lot, test.sampled_on)
    return said if expected is None else f"{said}, was expected {_percent(expected)}"


def _percent(share: float) -> str:
    return f"{100 * share:.2f} %"


def _cut(cut: Cut, _: KeptDocument) -> str:
    return f"{words.counted(cut.sticks, 'stick')} were cut on {words.plain_day(cut.cut_on)}"


def _hanging(hanging: Hanging, _: KeptDocument) -> str:
    sticks = words.counted(hanging.sticks, "stick")
    if hanging.down_on is not None:
        return f"{sticks} came down in {hanging.place} on {words.plain_day(hanging.down_on)}"
    return f"{sticks} went up in {hanging.place} on {words.plain_day(hanging.hung_on)}"


def _reading(reading: Reading, _: KeptDocument) -> str:
    moisture = words.percent(reading.moisture_flower)
    day = words.plain_day(reading.read_on)
    return f"flower in {reading.place} read {moisture} water on {day}"


def _sample(sample: Sample, _: KeptDocument) -> str:
    return f"the sampler was called for {words.plain_day(sample.sampled_on)}"


def _flowering(seen: Flowering, _: KeptDocument) -> str:
    day = words.plain_day(seen.seen_on)
    return f"{seen.in_flower} of {seen.looked_at} plants in flower on {day}"


def _gauge(read: GaugeReading, _: KeptDocument) -> str:
    return f"the farm's own gauge was read on {words.plain_day(read.read_on)}"


def _place(place: Place, _: KeptDocument) -> str:
    if place.free_from is None:
        return f"{place.name} is free"
    return f"{place.name} is free from {words.plain_day(place.free_from)}"


def _lot(lot: Lot, _: KeptDocument) -> str:
    return f"what is said of {lot.name} was corrected"


_SAYINGS: dict[type[Noun], Callable[[Any, KeptDocument], str]] = {
    Test: _test,
    Cut: _cut,
    Hanging: _hanging,
    Reading: _reading,
    Sample: _sample,
    Flowering: _flowering,
    GaugeReading: _gauge,
    Place: _place,
    Lot: _lot,
}
_OF_A_LOT = tuple(kind for kind in _SAYINGS if kind not in (GaugeReading, Place))
