"""Published numbers, read from tests/published; each file names the works it was taken from."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).with_name("published")


@cache
def load(topic: str) -> dict[str, Any]:
    """The values of tests/published/<topic>.toml."""
    return tomllib.loads((FOLDER / f"{topic}.toml").read_text(encoding="utf-8"))


def topics() -> list[str]:
    """Every topic that has published numbers."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


def sources(topic: str) -> list[str]:
    """The works a topic's numbers come from, each once, in the order of the file."""
    return list(dict.fromkeys(_cited(load(topic))))


def _cited(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        for key, value in node.items():
            if isinstance(value, str) and key.partition("_")[0] in ("source", "citation"):
                yield value
            yield from _cited(value)
    elif isinstance(node, list):
        for value in node:
            yield from _cited(value)
