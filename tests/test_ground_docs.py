"""The documents that are made from the code are those the code would make now."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import published_values
import validation_page

ROOT = Path(__file__).parent.parent
TEXTS = {path.name: path.read_text(encoding="utf-8") for path in ROOT.glob("tests/test_*.py")}


def tool(name, *arguments):
    return subprocess.run(
        [sys.executable, ROOT / "tools" / name, *arguments], capture_output=True, text=True
    )


def test_the_formula_list_is_current():
    """docs/model.md shows the equations and coefficients that the code has; the text says how."""
    ended = tool("docs.py", "--check")
    assert ended.returncode == 0, ended.stderr


def test_sizes_are_within_our_limits():
    """No file over 600 lines, no function over 60, every public one described, no import ring."""
    ended = tool("measure.py")
    assert ended.returncode == 0, ended.stderr


def test_the_validation_page_lists_every_check():
    """A check that was added, renamed or dropped since the page was written shows here."""
    page = validation_page.PAGE.read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `(test_\w+)`", page, re.MULTILINE))
    assert listed == {check.name for check in validation_page.checks()}, validation_page.WRITE
    assert "| failed" not in page
    assert "| not run" not in page


def test_every_check_says_what_it_claims():
    """The claim on the validation page is the test's docstring."""
    assert [check.name for check in validation_page.checks() if not check.claim] == []


@pytest.mark.parametrize("topic", published_values.topics())
def test_published_numbers_are_cited_and_used(topic):
    """A file of published numbers names its works, and some test reads it."""
    assert published_values.sources(topic)
    assert any(re.search(rf"[\"']{topic}(\.toml)?[\"']", text) for text in TEXTS.values())
