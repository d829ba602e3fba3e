"""The tutorial is run as it is printed."""

from __future__ import annotations

import re
from pathlib import Path

PAGE = Path(__file__).parents[1] / "docs" / "tutorial.md"


def test_the_tutorial_runs(capsys):
    """Every block of docs/tutorial.md runs, in order, in one namespace, and says something."""
    blocks = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    names: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, str(PAGE), "exec"), names)  # our own page
        assert capsys.readouterr().out.strip()
    assert len(blocks) == 5
