"""Tierpole: one joined season for floral hemp, from weather to money.

    import tierpole as tp

    season = tp.read_scenario(path)
    outlook = tp.make_outlook(season, draws=500, seed=1)
    plan = tp.make_plan(season, outlook)

The names below are found when first used, so that `import tierpole` stays instant.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from tierpole._version import __version__

if TYPE_CHECKING:
    from tierpole.outlook import make_outlook, summarise
    from tierpole.plan import make_plan
    from tierpole.scenario import demo_path, read_scenario

_HOMES = {
    "read_scenario": "tierpole.scenario",
    "demo_path": "tierpole.scenario",
    "make_outlook": "tierpole.outlook",
    "summarise": "tierpole.outlook",
    "make_plan": "tierpole.plan",
}

__all__ = [
    "__version__",
    "demo_path",
    "make_outlook",
    "make_plan",
    "read_scenario",
    "summarise",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'tierpole' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
