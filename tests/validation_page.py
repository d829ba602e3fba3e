"""docs/validation.md: each check against the outside, what it claims, and how it came out."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import published_values

TESTS = Path(__file__).parent
PAGE = TESTS.parent / "docs" / "validation.md"
KINDS = re.compile(r"^test_(?:.+_against_.+|.+_limits|.+_simulated)$")
WRITE = "./run test --write-validation"
HEAD = f"""# Validation

Made by `{WRITE}`; not written by hand. Each line is a test that holds the code to
something outside it: a published number, another program, a law of physics or of order (names
ending in `_limits`), or data simulated from a known truth (`_simulated`). A number of cases stands
where one test runs over many. All other tests guard behaviour and are not listed.

How good the potency forecast is on simulated farms, at full size and with pictures, stands in
[validation/forecast.md](validation/forecast.md).
"""


@dataclass(frozen=True)
class Check:
    """One test held to something outside the project."""

    file: str
    name: str
    claim: str

    @property
    def against(self) -> str:
        """What it is held to, as its name says."""
        if "_against_" in self.name:
            return self.name.partition("_against_")[2].replace("_", " ")
        return "limits and order" if self.name.endswith("_limits") else "simulated truth"


def checks() -> list[Check]:
    """Every check in the test folder, by file and in the order written."""
    return [check for path in sorted(TESTS.glob("test_*.py")) for check in _checks_in(path)]


def page(outcomes: Mapping[str, Iterable[str]]) -> str:
    """The page, from the outcomes of each test by `file::name`."""
    by_file: dict[str, list[Check]] = defaultdict(list)
    for check in checks():
        by_file[check.file].append(check)
    return "\n".join([HEAD, *(_section(*entry, outcomes) for entry in by_file.items())])


def key(nodeid: str) -> str:
    """`file::name` of a test, whatever its class or its case."""
    file, _, rest = nodeid.partition("::")
    return f"{Path(file).name}::{rest.partition('[')[0].rpartition('::')[2]}"


def _checks_in(path: Path) -> list[Check]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    return [
        Check(path.name, node.name, _first_line(node))
        for node in sorted(functions, key=lambda node: node.lineno)
        if KINDS.match(node.name)
    ]


def _section(file: str, found: list[Check], outcomes: Mapping[str, Iterable[str]]) -> str:
    text = (TESTS / file).read_text(encoding="utf-8")
    lines = [
        f"## {file.removeprefix('test_').removesuffix('.py').replace('_', ' ').capitalize()}",
        "",
        f"{_first_line(ast.parse(text))} (`tests/{file}`)",
        "",
        *_published(text),
        "| check | claim | against | outcome |",
        "|---|---|---|---|",
    ]
    for check in found:
        outcome = _outcome(list(outcomes.get(f"{file}::{check.name}", [])))
        lines.append(f"| `{check.name}` | {check.claim} | {check.against} | {outcome} |")
    return "\n".join([*lines, ""])


def _published(text: str) -> list[str]:
    used = [
        topic
        for topic in published_values.topics()
        if re.search(rf"[\"']{topic}(\.toml)?[\"']", text)
    ]
    lines = [
        f"- [{topic}](../tests/published/{topic}.toml): "
        + "; ".join(published_values.sources(topic))
        for topic in used
    ]
    return ["Published numbers:", "", *lines, ""] if lines else []


def _outcome(found: list[str]) -> str:
    if not found:
        return "not run"
    bad = [outcome for outcome in found if outcome != "passed"]
    if bad:
        return f"{bad[0]} {len(bad)} of {len(found)}"
    return "passed" if len(found) == 1 else f"passed, {len(found)} cases"


def _first_line(node: ast.FunctionDef | ast.Module) -> str:
    paragraph = (ast.get_docstring(node) or "").partition("\n\n")[0]
    return " ".join(paragraph.split()).replace("|", "\\|")
