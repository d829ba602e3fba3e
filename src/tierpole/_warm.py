"""Compile ahead of time what would otherwise be compiled in the first plan.

`./run` calls this once, at set-up, with the compiler's cache inside its own environment.
"""

from importlib import import_module
from importlib.util import find_spec


def main() -> None:
    """Import the barn kernel, which compiles it for its declared argument types."""
    if find_spec("tierpole.barn"):
        import_module("tierpole.barn")


if __name__ == "__main__":
    main()
