"""Make docs/model.md from the code: `python tools/docs.py`, or `--check` to compare only.

It lists every public function whose docstring states an equation, with its source, and every
coefficient of every evidence table, with its mark. Modules stand in the order of the layers in
pyproject.toml, lowest first, so that each formula comes after those it rests on.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from inspect import cleandoc

from measure import ROOT, SOURCE, FunctionNode, Module, read_modules
from tierpole.evidence import Mark, Table, Value

PAGE = ROOT / "docs" / "model.md"
REFRESH = ".venv/bin/python tools/docs.py"
HEAD = f"""# The model: formulas and coefficients

Made from the code by `{REFRESH}`; not written by hand. A formula's text,
equation and source are its docstring; a coefficient's row is the one the code reads. Its mark says
how well the number is known. Marks in **bold** are assumed: a page that shows a result resting on
such a number says so.
"""
SECTION = re.compile(r"^(Parameters|Returns)\n-+\n", re.MULTILINE)
LABEL = re.compile(r"^(Equation|Source|Departures?|Valid range): ?", re.MULTILINE)


@dataclass(frozen=True)
class Formula:
    """A public function that states an equation."""

    name: str
    signature: str
    docstring: str

    @property
    def tests(self) -> list[str]:
        """The test files that call it by name."""
        called = re.compile(rf"\b{self.name}\b")
        return [name for name, text in _test_texts().items() if called.search(text)]

    @property
    def gaps(self) -> list[str]:
        """What a formula must have and this one has not."""
        wanted = ("Parameters\n---", "Returns\n---", "Equation:", "Source:")
        missing = [part.split("\n")[0].strip(":") for part in wanted if part not in self.docstring]
        return missing if self.tests else [*missing, "a test"]


def main() -> None:
    """Write the page, or with `--check` exit 1 when it is out of date."""
    text = page()
    if sys.argv[1:] != ["--check"]:
        PAGE.write_text(text, encoding="utf-8")
    elif not PAGE.exists() or PAGE.read_text(encoding="utf-8") != text:
        sys.exit(f"docs/model.md is out of date; refresh it: {REFRESH}")


def page() -> str:
    """The whole page."""
    modules = sorted(read_modules(SOURCE), key=_place)
    found = [(module, list(formulas(module)), list(tables(module))) for module in modules]
    rows = [row for _, _, own in found for table in own for row in table]
    number = sum(len(own) for _, own, _ in found)
    sections = (section(*entry) for entry in found if entry[1] or entry[2])
    return "\n".join([HEAD, f"{number} formulas; {_counted(rows)}.\n", *sections])


def formulas(module: Module) -> Iterator[Formula]:
    """The formulas of a module, in the order written."""
    for node in module.tree.body:
        inner = node.body if isinstance(node, ast.ClassDef) else [node]
        for function in inner:
            if isinstance(function, FunctionNode) and not function.name.startswith("_"):
                text = ast.get_docstring(function) or ""
                if "Equation:" in text:
                    yield Formula(function.name, _signature(function), text)


def tables(module: Module) -> Iterator[Table]:
    """The evidence tables that a module defines."""
    if "Table(" in module.path.read_text(encoding="utf-8"):
        values = vars(import_module(module.name)).values()
        yield from {id(value): value for value in values if isinstance(value, Table)}.values()


def section(module: Module, own_formulas: list[Formula], own_tables: list[Table]) -> str:
    """One module: what it is about, its formulas, its coefficients."""
    about = cleandoc(ast.get_docstring(module.tree) or "").partition("\n\n")[0]
    name = module.name.removeprefix("tierpole.")
    parts = [f"## {name}", f"{about} (`{module.path.relative_to(ROOT)}`)"]
    parts += [_formula(formula) for formula in own_formulas]
    parts += [_table(table) for table in own_tables]
    return "\n\n".join(parts) + "\n"


@cache
def _test_texts() -> dict[str, str]:
    return {path.name: path.read_text("utf-8") for path in sorted(ROOT.glob("tests/test_*.py"))}


def _place(module: Module) -> tuple[int, str]:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = settings["tool"]["importlinter"]["contracts"]
    layers = next(contract["layers"] for contract in contracts if contract["type"] == "layers")
    order = [name.strip(" ()") for layer in reversed(layers) for name in layer.split("|")]
    top = module.name.split(".")[1:2]
    return (order.index(top[0]) if top and top[0] in order else len(order), module.name)


def _signature(function: FunctionNode) -> str:
    arguments = function.args
    names = [argument.arg for argument in arguments.posonlyargs + arguments.args]
    if arguments.kwonlyargs:
        names += ["*", *(argument.arg for argument in arguments.kwonlyargs)]
    return f"{function.name}({', '.join(name for name in names if name not in ('self', 'cls'))})"


def _formula(formula: Formula) -> str:
    first = _marks(formula.docstring)[0].start()
    parts = [f"### `{formula.signature}`", formula.docstring[:first].strip()]
    for title, text in _blocks(formula.docstring):
        parts.append(_block(title, text.strip()))
    if formula.tests:
        parts.append(f"Checked in: {', '.join(f'`{name}`' for name in formula.tests)}")
    return "\n\n".join(parts)


def _marks(text: str) -> list[re.Match[str]]:
    return sorted([*SECTION.finditer(text), *LABEL.finditer(text)], key=lambda mark: mark.start())


def _blocks(text: str) -> Iterator[tuple[str, str]]:
    marks = _marks(text)
    ends = [mark.start() for mark in marks[1:]] + [len(text)]
    for mark, end in zip(marks, ends, strict=True):
        yield mark.group(1), text[mark.end() : end]


def _block(title: str, text: str) -> str:
    if title in ("Parameters", "Returns"):
        items = re.sub(r"^(\S.*?) : ", r"- `\1`: ", text, flags=re.MULTILINE)
        return f"{title}:\n\n{items}"
    if title == "Equation":
        return f"```text\n{text}\n```"
    return f"{title}: {' '.join(text.split())}"


def _table(table: Table) -> str:
    lines = [
        f"### {table.title}: {_counted(list(table))}",
        "",
        "| name | value | unit | 10-90 % | mark | source |",
        "|---|---|---|---|---|---|",
        *(_row(row) for row in table),
    ]
    return "\n".join(lines)


def _row(row: Value) -> str:
    ends = [_number(end) for end in (row.low, row.high)]
    spread = " to ".join(ends) if any(ends) else ""
    mark = f"**{row.mark}**" if row.mark.is_assumed else str(row.mark)
    source = f"{row.source}. {row.note}" if row.note else row.source
    cells = (f"`{row.name}`", _number(row.value), row.unit, spread, mark, source)
    return f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"


def _counted(rows: list[Value]) -> str:
    counts = Counter(row.mark for row in rows)
    kinds = ", ".join(f"{counts[mark]} {mark.name.lower()}" for mark in Mark if counts[mark])
    return f"{len(rows)} values ({kinds})"


if __name__ == "__main__":
    main()
