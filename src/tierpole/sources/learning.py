"""What a closed season taught, as a small TOML file that a person can read and hand on."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

from tierpole.errors import Fault, InputError
from tierpole.potency.learn import Learnt, as_table, from_table
from tierpole.sources.files import read_text

HEAD = """\
# What is known of one variety after the seasons named: the prior of its next season.
# It holds no test and no date of a farm, so it may be handed on.
"""


def read_learnt(path: Path) -> Learnt:
    """What a learning file says; `InputError` lists every fault."""
    try:
        table = tomllib.loads(read_text(path))
    except tomllib.TOMLDecodeError as error:
        raise InputError(path.name, [Fault("the file", "", str(error), "TOML")]) from None
    return from_table(table, path.name)


def learnt_text(learnt: Learnt) -> str:
    """A learning file as text."""
    table = as_table(learnt)
    prior = table.pop("prior")
    rows = [*_lines(table), "", "[prior]", *_lines(prior)]
    return HEAD + "\n".join(rows) + "\n"


def _lines(table: dict[str, object]) -> list[str]:
    return [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in table.items()]
