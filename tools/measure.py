"""How large the code is and how well it is described: `python tools/measure.py`.

Files under 4 lines are left out. A function's length is that of its text from `def` to its end,
less the docstring. A cycle is a ring of modules that import one another while loading; re-exports
by a package's `__init__` are left out. The limits below are ours; whatever passes them is named,
and the exit status is 1.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from statistics import quantiles

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "tierpole"
LONGEST_FILE, LONGEST_FUNCTION = 600, 60
FunctionNode = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Function:
    """A function or method, as the text has it."""

    place: str
    lines: int
    is_public: bool
    is_described: bool
    is_typed: bool
    cites: bool


@dataclass(frozen=True)
class Module:
    """A file of the package."""

    path: Path
    name: str
    tree: ast.Module
    lines: int


def main() -> None:
    """Print the report; exit 1 if a limit is passed."""
    modules = list(read_modules(SOURCE))
    functions = [function for module in modules for function in functions_of(module)]
    for line in report(modules, functions):
        print(line)
    found = list(faults(modules, functions))
    for fault in found:
        print(fault, file=sys.stderr)
    sys.exit(1 if found else 0)


def read_modules(folder: Path) -> Iterator[Module]:
    """The modules below a folder that hold anything."""
    for path in sorted(folder.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        parts = path.relative_to(folder.parent).with_suffix("").parts
        name = ".".join(parts).removesuffix(".__init__")
        if text.count("\n") > 3:
            yield Module(path, name, ast.parse(text), text.count("\n"))


def functions_of(module: Module) -> Iterator[Function]:
    """Every function of a module; methods of private classes and inner functions are private."""
    inner = {
        child
        for node in ast.walk(module.tree)
        if isinstance(node, FunctionNode)
        or (isinstance(node, ast.ClassDef) and node.name.startswith("_"))
        for child in ast.walk(node)
        if child is not node
    }
    for node in ast.walk(module.tree):
        if isinstance(node, FunctionNode):
            yield _function(node, module, node not in inner)


def faults(modules: list[Module], functions: list[Function]) -> Iterator[str]:
    """What passes our limits, one line each."""
    for module in modules:
        if module.lines > LONGEST_FILE:
            yield f"{module.path.relative_to(ROOT)}: {module.lines} lines, over {LONGEST_FILE}"
    for function in functions:
        if function.lines > LONGEST_FUNCTION:
            yield f"{function.place}: {function.lines} lines, over {LONGEST_FUNCTION}"
        if function.is_public and not function.is_described:
            yield f"{function.place}: a public function without a docstring"
        if not function.is_typed:
            yield f"{function.place}: no return type"
    if cycle := import_cycle(modules):
        yield f"modules import one another: {' -> '.join(cycle)}"


def import_cycle(modules: list[Module]) -> list[str]:
    """One cycle among the imports made while loading; empty if there is none."""
    names = {module.name for module in modules}
    graph = {
        module.name: set(_loads(module, names)) - {module.name}
        for module in modules
        if module.path.name != "__init__.py"
    }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return error.args[1]
    return []


def report(modules: list[Module], functions: list[Function]) -> Iterator[str]:
    """The measures, one line each."""
    public = [function for function in functions if function.is_public]
    lines, tests = sum(module.lines for module in modules), _test_lines()
    yield f"files      {len(modules)}, {lines} lines; {_spread(m.lines for m in modules)}"
    yield f"functions  {len(functions)}; {_spread(f.lines for f in functions)}"
    yield f"public     {len(public)}; {_share(f.is_described for f in public)} described"
    yield f"sourced    {sum(f.cites for f in public)} public functions name a source"
    yield f"typed      {_share(f.is_typed for f in functions)} say what they return"
    yield f"tests      {tests} lines, {tests / lines:.2f} per line of code"


def _function(node: FunctionNode, module: Module, is_in_public: bool) -> Function:
    text = ast.get_docstring(node) or ""
    last = node.body[0].end_lineno or 0
    docstring = last - node.body[0].lineno + 1 if text else 0
    return Function(
        place=f"{module.path.relative_to(ROOT)}:{node.lineno} {node.name}",
        lines=(node.end_lineno or node.lineno) - node.lineno + 1 - docstring,
        is_public=is_in_public and not node.name.startswith("_"),
        is_described=bool(text),
        is_typed=node.returns is not None or node.name == "__init__",
        cites="Source:" in text,
    )


def _loads(module: Module, names: set[str]) -> Iterator[str]:
    for node in _load_time(module.tree.body):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{alias.name}" for alias in node.names} & names
            yield from inner or {node.module} & names


def _load_time(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    for node in body:
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        yield node
        if isinstance(node, ast.If | ast.Try):
            yield from _load_time(node.body)


def _test_lines() -> int:
    return sum(path.read_text(encoding="utf-8").count("\n") for path in ROOT.glob("tests/**/*.py"))


def _spread(numbers: Iterable[int]) -> str:
    values = list(numbers)
    tenths = quantiles(values, n=10, method="inclusive")
    return f"median {tenths[4]:.0f}, nine tenths up to {tenths[8]:.0f}, longest {max(values)}"


def _share(flags: Iterable[bool]) -> str:
    values = list(flags)
    return f"{sum(values) / len(values):.0%}"


if __name__ == "__main__":
    main()
