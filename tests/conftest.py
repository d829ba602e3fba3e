"""What every test shares, and the option that writes docs/validation.md from a full run."""

from __future__ import annotations

from collections import defaultdict

import pytest
from hypothesis import settings

import validation_page

# The same cases on every machine, and no deadline: machines differ, and nothing here is timed.
settings.register_profile("tierpole", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("tierpole")

OUTCOMES = pytest.StashKey[dict[str, list[str]]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    help_text = "write docs/validation.md from the outcomes of this run"
    parser.addoption("--write-validation", action="store_true", help=help_text)


def pytest_configure(config: pytest.Config) -> None:
    config.stash[OUTCOMES] = defaultdict(list)
    config.pluginmanager.register(_Recorder(config), "validation-recorder")


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    config = session.config
    if not config.getoption("--write-validation") or hasattr(config, "workerinput"):
        return
    outcomes = config.stash[OUTCOMES]
    wanted = {f"{check.file}::{check.name}" for check in validation_page.checks()}
    if missing := sorted(wanted - set(outcomes)):
        session.exitstatus = exitstatus or pytest.ExitCode.USAGE_ERROR
        said = f"{len(missing)} checks were not run, the first {missing[0]}"
        print(f"\ndocs/validation.md not written: {said}")
    else:
        validation_page.PAGE.write_text(validation_page.page(outcomes), encoding="utf-8")


class _Recorder:
    """Keeps the outcome of each test, from whichever process ran it."""

    def __init__(self, config: pytest.Config) -> None:
        self.outcomes = config.stash[OUTCOMES]

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call" or report.outcome != "passed":
            self.outcomes[validation_page.key(report.nodeid)].append(report.outcome)
