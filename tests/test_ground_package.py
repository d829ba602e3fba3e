"""The package as a whole: one version, one error tree, its licences beside what they cover."""

import inspect
import re
import tomllib
from pathlib import Path

import pytest

import tierpole
from tierpole import _version, errors

ROOT = Path(__file__).parent.parent
ERRORS = [
    kind
    for _, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, errors.TierpoleError)
]


def test_the_version_stands_in_one_place():
    """The build reads it where the code does, and nobody repeats it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert "version" not in project["project"]
    assert ROOT / project["tool"]["hatch"]["version"]["path"] == Path(_version.__file__)
    assert tierpole.__version__ == _version.__version__
    assert re.fullmatch(r"\d+\.\d+\.\d+", _version.__version__)


@pytest.mark.parametrize("kind", ERRORS, ids=lambda kind: kind.__name__)
def test_each_error_is_in_the_tree_at_the_top(kind):
    """Whoever opens the file sees every error and how they hang together."""
    assert re.search(rf"\b{kind.__name__}\b", errors.__doc__)
    assert kind.exit_status in (1, 2, 3, 4)


def test_exit_statuses_tell_the_cases_apart():
    """A script can tell bad input, a broken rule and an early stop from each other."""
    statuses = {kind: kind.exit_status for kind in (errors.InputError, errors.RuleError)}
    assert statuses == {errors.InputError: 2, errors.RuleError: 3}
    assert errors.Stopped.exit_status == 4
    assert errors.StoreError.exit_status == errors.InputError.exit_status
    assert errors.SolveError.exit_status == 1


def test_faults_are_told_together():
    """Two faults give two lines, each with place, field, rule, value and cure."""
    faults = [
        errors.Fault('lots[3] "Lane"', "area", -2.0, "more than 0 acre", "Measure it."),
        errors.Fault("crew", "hours", None, "hours a day"),
    ]
    assert str(errors.InputError("farm.toml", faults)) == (
        "farm.toml: 2 problems\n"
        '  lots[3] "Lane": area must be more than 0 acre, got -2.0. Measure it.\n'
        "  crew: hours must be hours a day, it is missing."
    )


def test_each_font_has_its_licence_and_both_weights():
    """A font travels with its licence, and charts need a regular and a bold of one family."""
    folder = Path(tierpole.__file__).parent / "data" / "fonts"
    families = {path.stem.rpartition("-")[0] for path in folder.glob("*.ttf")}
    assert families
    for family in families:
        assert "OPEN FONT LICENSE" in (folder / f"LICENSE-{family}.txt").read_text(encoding="utf-8")
        assert {path.stem for path in folder.glob(f"{family}-*.ttf")} == {
            f"{family}-Regular",
            f"{family}-Bold",
        }
