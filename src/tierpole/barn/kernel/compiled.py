"""The two entries that are compiled, and kept on disk for the next process."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from numba import njit

from tierpole.barn.kernel.data import PARTS, RECORDS, Array, Batches, Case, Hours, State, Trace
from tierpole.barn.kernel.hours import run_place, start_place


def _source() -> int:
    """A number that changes with any line of the kernel.

    The compiler's cache looks only at the file of the compiled function and at the values it holds
    from around it. This one is such a value, so what was compiled is never out of date.
    """
    digest = hashlib.sha256()
    for file in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(file.read_bytes())
    return int.from_bytes(digest.digest()[:6], "big")


def _compile(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile without the interpreter lock, kept on disk where a cache folder can be written.

    Without reference counts too (`_nrt`): the kernel makes no arrays, and counting who holds the
    tables would cost it half its time and all of what a second core gains.
    """
    options: dict[str, Any] = {"nogil": True, "error_model": "numpy", "_nrt": False}
    try:
        return njit(function, cache=True, **options)
    except RuntimeError:  # no folder for the cache
        return njit(function, **options)


def _entries(source: int) -> tuple[Callable[..., Any], Callable[..., Any]]:
    """The entries, compiled when first called; `source` is what they are compiled of."""

    @_compile
    def run_hours(
        case: Case, batches: Batches, state: State, trace: Trace, first: int, last: int
    ) -> int:
        """As `hours.run_place`."""
        run_place(case, batches, state, trace, first, last)
        return source

    @_compile
    def dry_fillings(
        case: Case,
        batch: Batches,
        hang_hours: Hours,
        loads: Array,
        state: State,
        trace: Trace,
        records: Array,
    ) -> int:
        """A place filled to each load on each hang day, all of it drying in step, for one draw.

        `batch` is the one batch that fills the place; its hour and mass are overwritten. Fills
        `records` [hang day, load, column].
        """
        load_before, hours = 1.0, case.outside.temperature.size
        for day in range(hang_hours.size):
            batch.hang_hour[0] = hang_hours[day]
            for load in range(loads.size):
                for tier in range(state.air.shape[0]):
                    for part in range(PARTS):
                        batch.mass[0, tier, part] *= loads[load] / load_before
                load_before = loads[load]
                start_place(hang_hours[day], state, case.outside)
                run_place(case, batch, state, trace, hang_hours[day], hours)
                for column in range(RECORDS):
                    records[day, load, column] = state.record[0, column]
        return source

    return run_hours, dry_fillings


run_hours, dry_fillings = _entries(_source())
