"""Functions that run as Python when Python calls them, and compiled when compiled code does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba.extending import register_jitable

Function = TypeVar("Function", bound=Callable[..., Any])


def jitable(function: Function) -> Function:
    """A function for compiled code to call."""
    return register_jitable(function)


def inlined(function: Function) -> Function:
    """As `jitable`, set into its caller: handing its arguments over would cost as much as it."""
    return register_jitable(forceinline=True)(function)
