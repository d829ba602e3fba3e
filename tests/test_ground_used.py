"""Every public function is used by the package itself, or says of which other it is the form."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import tierpole

ROOT = Path(tierpole.__file__).parent
TOOLS = ROOT.parents[1] / "tools"
MARK = "# reference form: tests hold `"  # a formula the compiled kernel says its own way
REGISTERED = ("routes", "pages", "click", "app")  # decorators that put a function to use


def names_used(path: Path) -> set[str]:
    """Names a module reads: not those it defines, imports as they are, or lists in `__all__`."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.ImportFrom):
            found |= {alias.name for alias in node.names if alias.asname not in (None, alias.name)}
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found |= set(re.findall(r"^[\w.]+:(\w+)$", node.value))  # `module:function` of a page
    return found


def test_no_function_is_there_for_tests_alone():
    """What only tests call is not part of the work: it is wired, marked, or gone."""
    modules = sorted(ROOT.rglob("*.py"))
    used = set[str]().union(*map(names_used, [*modules, *TOOLS.glob("*.py")]))
    idle = []
    for path in modules:
        lines = path.read_text(encoding="utf-8").splitlines()
        for node in ast.parse("\n".join(lines)).body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name in used:
                continue
            by = [ast.unparse(one).split(".")[0] for one in node.decorator_list]
            marked = lines[node.lineno - 2].startswith(MARK)
            if not (marked or node.name.startswith("_") or set(by) & set(REGISTERED)):
                idle.append(f"{path.relative_to(ROOT)}: {node.name}")
    assert idle == []


def test_reference_forms_name_what_is_held_to_them():
    """A mark names a module of the kernel that is there."""
    for path in ROOT.rglob("*.py"):
        for module in re.findall(rf"{MARK}kernel\.(\w+)", path.read_text(encoding="utf-8")):
            assert (ROOT / "barn" / "kernel" / f"{module}.py").exists()
