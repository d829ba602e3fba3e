"""The locks: every package pinned by hash, no address, and in step with pyproject.toml."""

import re
import tomllib
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
KINDS = ("run", "test", "setup")
PIN = re.compile(r"^(?P<name>[a-z0-9.-]+)==(?P<version>\S+)(?P<rest>.*(?:\n {4}.*)*)", re.MULTILINE)


@cache
def project():
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def lock(kind):
    return (ROOT / f"requirements-{kind}.lock").read_text(encoding="utf-8")


def pins(kind):
    return {pin["name"]: pin["version"] for pin in PIN.finditer(lock(kind))}


def names(requirements):
    return {re.split(r"[\[<>=~! ;]", text)[0].lower() for text in requirements}


@pytest.mark.parametrize("kind", KINDS)
def test_every_package_is_pinned_by_hash(kind):
    """A line that is not a comment belongs to a pin, and a pin has a SHA-256."""
    found = list(PIN.finditer(lock(kind)))
    assert all(re.search(r"--hash=sha256:[0-9a-f]{64}\b", pin["rest"]) for pin in found)
    rest = PIN.sub("", lock(kind))
    assert [line for line in rest.splitlines() if line.strip() and not line.startswith("#")] == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_address_is_named(kind):
    """Whoever installs decides where from; a mirror must do."""
    assert "://" not in lock(kind)
    assert not re.search(r"\b[\w-]+\.(org|com|net|io|dev)\b", lock(kind))
    assert not re.search(r"--(extra-)?index-url|--find-links", lock(kind))


def test_the_run_lock_holds_what_a_farm_needs():
    """Whoever adds a dependency must remake the locks: tools/lock."""
    assert names(project()["project"]["dependencies"]) <= pins("run").keys()


def test_the_test_lock_holds_the_run_lock_unchanged():
    """The tests run on the versions that the farm runs on."""
    groups = project()["dependency-groups"]
    assert names(groups["test"]) <= pins("test").keys()
    assert pins("run").items() <= pins("test").items()
    assert names(groups["setup"]) == pins("setup").keys()


def test_the_run_lock_is_free_of_test_oracles():
    """What only checks our answers does not belong on a farm's machine."""
    oracles = {"coolprop", "hypothesis", "ortools", "playwright", "psychrolib", "pvlib", "pytest"}
    assert not oracles & pins("run").keys()
