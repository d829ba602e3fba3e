"""More room or faster drying, weighed, as plain text."""

from __future__ import annotations

from collections.abc import Sequence

from tierpole.charts import words
from tierpole.cli.layout import USUAL, columns, wrap
from tierpole.plan.options import Weighed

GUESS = (
    "The price of new shed is a guess of ours from 2008; ask a builder, and give his price with "
    "--shed-price."
)
ALIKE = (
    "What each earns is the season planned again with it, on the same draws. It holds for this "
    "season's prices and lots; a building stands for many."
)


def room_text(name: str, weighed: Sequence[Weighed], width: int = USUAL) -> str:
    """Each way to more room: what it costs a season and a lot, what it earns, what is left."""
    best = weighed[0]
    if best.net > 0:
        left = words.dollars(best.net)
        first = f"Best by these figures: {best.option.name}, which leaves about {left} a season."
    else:
        first = f"None of these ways to more room in {name} earns what it costs this season."
    rows = [
        (one.option.name, words.dollars(one.option.cost), words.dollars(one.cost_per_lot),
         _band(one), words.signed_dollars(one.net))
        for one in weighed
    ]  # fmt: skip
    heads = ("way", ">cost", ">a lot", ">earns", ">left a season")
    notes = [GUESS] if any(one.option.assumed for one in weighed) else []
    lines = [wrap(first, width), "", *columns(heads, rows, width), ""]
    return "\n".join([*lines, *(wrap(note, width) for note in (*notes, ALIKE))])


def _band(one: Weighed) -> str:
    """What it earns, with what the search leaves open when that is much."""
    if one.high - one.low < 1:
        return words.dollars(one.earns)
    return f"{words.dollars(one.low)} to {words.dollars(one.high)}"
