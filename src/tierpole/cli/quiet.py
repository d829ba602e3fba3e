"""Keep standard output for the answer: a solver in C may print there what nobody asked for."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Generator

STDOUT = 1


@contextlib.contextmanager
def only_the_answer() -> Generator[None]:
    """Within it, what libraries write past Python to standard output goes nowhere."""
    sys.stdout.flush()
    try:
        kept = os.dup(STDOUT)
    except OSError:  # nothing is open there to be kept clean
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, STDOUT)
    try:
        yield
    finally:
        os.dup2(kept, STDOUT)
        os.close(kept)
        os.close(nowhere)
