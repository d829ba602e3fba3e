"""The errors: their tree, their exit statuses, and each text in full."""

import inspect
import re
from datetime import date, datetime

import pytest

from tierpole import errors
from tierpole.errors import Fault, InputError, RuleError, SolveError, Stopped, StoreError
from tierpole.scenario.toml import Unread

STATUSES = {
    errors.TierpoleError: 1,
    InputError: 2,
    StoreError: 2,
    RuleError: 3,
    Stopped: 4,
    SolveError: 1,
}


def test_the_tree_is_the_one_drawn():
    """Every error of the module stands in the drawing at its top, under what it inherits from."""
    drawn = re.findall(r"(?:├──|└──) (\w+)", errors.__doc__ or "")
    found = {
        name: kind
        for name, kind in inspect.getmembers(errors, inspect.isclass)
        if issubclass(kind, errors.TierpoleError) and kind is not errors.TierpoleError
    }
    assert sorted(drawn) == sorted(found)
    assert all(kind.__bases__ == (errors.TierpoleError,) for kind in found.values())


@pytest.mark.parametrize("kind", STATUSES, ids=lambda kind: kind.__name__)
def test_exit_statuses_are_the_ones_promised(kind):
    assert kind.exit_status == STATUSES[kind]


FAULTS = {
    "a text": (
        Fault('lots[3] "Lane"', "area", "2.5", "an area"),
        "lots[3] \"Lane\": area must be an area, got '2.5'.",
    ),
    "missing": (
        Fault("crew", "hours", None, "hours a day"),
        "crew: hours must be hours a day, it is missing.",
    ),
    "with a cure": (
        Fault("crew", "wage", 18, "a wage", "Write its unit."),
        "crew: wage must be a wage, got 18. Write its unit.",
    ),
    "of a whole row": (
        Fault("line 14", "", Unread("[farm"), "valid TOML"),
        "line 14 must be valid TOML, got [farm.",
    ),
    "a date": (
        Fault("cuts[1]", "cut_on", date(2026, 9, 14), "a date in 2025"),
        "cuts[1]: cut_on must be a date in 2025, got 2026-09-14.",
    ),
    "a date with an hour": (
        Fault("cuts[1]", "cut_on", datetime.fromisoformat("2026-09-14T06:00"), "a date"),
        "cuts[1]: cut_on must be a date, got 2026-09-14T06:00:00.",
    ),
    "a truth": (
        Fault("farm", "name", True, "a text"),
        "farm: name must be a text, got true.",
    ),
    "a list": (
        Fault("crew", "cut", [1, 2], "a labour rate"),
        "crew: cut must be a labour rate, got a list of 2 entries.",
    ),
    "a list of one": (
        Fault("crew", "cut", (1,), "a labour rate"),
        "crew: cut must be a labour rate, got a list of 1 entry.",
    ),
    "a table": (
        Fault("scenario", "crw", {"wage": 1}, "left out"),
        "scenario: crw must be left out, got a table of 1 key.",
    ),
    "not a number": (
        Fault("crew", "cut", float("nan"), "a labour rate"),
        "crew: cut must be a labour rate, got nan.",
    ),
    "a long text": (
        Fault("farm", "note", "x" * 501, "shorter"),
        f"farm: note must be shorter, got '{'x' * 56}....",
    ),
    "what TOML cannot read": (
        Fault("lots[1]", "set_on", Unread("2026-02-30"), "a date"),
        "lots[1]: set_on must be a date, got 2026-02-30.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_faults_in_full(name):
    """Where, which field, what it must be, what it is, what to do."""
    fault, wanted = FAULTS[name]
    assert str(fault) == wanted


def test_an_input_error_lists_all_its_faults():
    """The file, how many problems, each on its own line; the faults stay readable for a program."""
    faults = [Fault("crew", "wage", 18, "a wage"), Fault("farm", "name", None, "a text")]
    error = InputError("farm.toml", faults)
    assert str(error) == (
        "farm.toml: 2 problems\n"
        "  crew: wage must be a wage, got 18.\n"
        "  farm: name must be a text, it is missing."
    )
    assert str(InputError("farm.toml", faults[:1])).startswith("farm.toml: 1 problem\n")
    assert error.faults == tuple(faults)
    assert error.file == "farm.toml"


def test_other_errors_say_what_they_were_told():
    assert str(StoreError("farm.toml: cannot be read (denied).")) == (
        "farm.toml: cannot be read (denied)."
    )
    assert str(RuleError("No rulebook of ohio covers 2010-12-31.")) == (
        "No rulebook of ohio covers 2010-12-31."
    )
    assert str(SolveError("No schedule was found.")) == "No schedule was found."


def test_a_stop_carries_the_best_so_far():
    best = object()
    assert Stopped("The work was stopped.", best).best is best
    assert str(Stopped("The work was stopped.")) == "The work was stopped."
    assert str(Stopped()) == "stopped"
    assert Stopped().best is None
