"""The documents that are made from the code are those the code would make now."""

import re
from pathlib import Path

import pytest

import docs
import measure
import published_values
import validation_page

ROOT = Path(__file__).parent.parent
TEXTS = [path.read_text(encoding="utf-8") for path in ROOT.glob("tests/test_*.py")]
MODULES = list(measure.read_modules(measure.SOURCE))


def test_the_formula_list_is_current():
    """docs/model.md shows the equations and coefficients that the code has."""
    assert docs.PAGE.read_text(encoding="utf-8") == docs.page(), f"refresh it: {docs.REFRESH}"


def test_every_formula_has_units_equation_source_and_test():
    """Whoever reads a formula finds what goes in, what comes out, whose it is, and its check."""
    formulas = [(module.name, formula) for module in MODULES for formula in docs.formulas(module)]
    gaps = {f"{name}.{formula.name}": formula.gaps for name, formula in formulas if formula.gaps}
    assert len(formulas) > 100
    assert gaps == {}


def test_sizes_are_within_our_limits():
    """No file over 600 lines, no function over 60, every public one described, no import ring."""
    functions = [function for module in MODULES for function in measure.functions_of(module)]
    assert list(measure.faults(MODULES, functions)) == []


def test_the_validation_page_lists_every_check(request):
    """A check that was added, renamed or dropped since the page was written shows here."""
    if request.config.getoption("--write-validation"):
        pytest.skip("the page is written anew by this run")
    page = validation_page.PAGE.read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `(test_\w+)`", page, re.MULTILINE))
    wanted = {check.name for check in validation_page.checks()}
    assert listed == wanted, f"refresh it: {validation_page.WRITE}"
    assert "| failed" not in page
    assert "| not run" not in page


def test_every_check_says_what_it_claims():
    """The claim on the validation page is the test's docstring."""
    assert [check.name for check in validation_page.checks() if not check.claim] == []


@pytest.mark.parametrize("topic", published_values.topics())
def test_published_numbers_are_cited_and_used(topic):
    """A file of published numbers names its works, and some test reads it."""
    assert published_values.sources(topic)
    assert any(re.search(rf"[\"']{topic}(\.toml)?[\"']", text) for text in TEXTS)
