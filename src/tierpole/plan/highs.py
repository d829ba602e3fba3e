"""The one place that speaks to the HiGHS solver: a program in, an answer out, on one thread."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import highspy
import numpy as np

from tierpole.errors import SolveError
from tierpole.plan.problem import Floats
from tierpole.plan.program import Program

Status = highspy.HighsModelStatus
FINISHED = (Status.kOptimal, Status.kObjectiveTarget)
LARGE = 20_000  # columns from which on an interior point beats the simplex
CUT_SHORT = (Status.kTimeLimit, Status.kInterrupt, Status.kSolutionLimit)


@dataclass(frozen=True)
class Answer:
    """A solution of a program; costs are minimised, so `bound` is never above `cost`."""

    found: Floats | None  # [column]; None when time ran out before anything was found
    cost: float
    bound: float
    column_dual: Floats
    row_dual: Floats

    @property
    def values(self) -> Floats:
        """The solution found [column]."""
        if self.found is None:
            raise SolveError("the solver found no schedule in its time")
        return self.found


class Solver:
    """HiGHS holding one program; rows may be added and the next run starts from the last basis."""

    def __init__(self, program: Program, whole: bool, watch: Callable[[], bool] | None = None):
        self._whole = whole
        self._highs = highspy.Highs()
        method = "ipm" if len(program.cost) > LARGE and not whole else "choose"
        settings = {"output_flag": False, "threads": 1, "random_seed": 0, "solver": method}
        for option, setting in settings.items():
            self._highs.setOptionValue(option, setting)
        self._pass(program)
        if watch is not None:
            self._listen(watch)

    def add_row(self, entries: Floats, upper: float) -> None:
        """Add the row `entries @ v <= upper`."""
        used = np.flatnonzero(entries)
        self._highs.addRow(-np.inf, upper, len(used), used.astype(np.int32), entries[used])

    def start_from(self, values: Floats) -> None:
        """Offer a known solution to start from."""
        every = np.arange(len(values), dtype=np.int32)
        self._highs.setSolution(len(values), every, values)

    def run(self, seconds: float = np.inf, gap: float = 1e-6, target: float = -np.inf) -> Answer:
        """Solve for at most `seconds`, to a relative `gap` or until the cost is under `target`."""
        highs = self._highs
        highs.setOptionValue("mip_rel_gap", gap)
        highs.setOptionValue("objective_target", target)
        highs.setOptionValue("time_limit", highs.getRunTime() + max(seconds, 0.0))
        highs.run()
        if highs.getModelStatus() == Status.kNotset:
            # another user of the library in this process asked for another number of threads
            highspy.Highs.resetGlobalScheduler(True)
            highs.run()
        return self._answer()

    def _pass(self, program: Program) -> None:
        matrix = program.matrix
        integrality = program.whole if self._whole else np.zeros_like(program.whole)
        self._highs.passModel(
            len(program.cost),
            len(program.row_lower),
            matrix.nnz,
            int(highspy.MatrixFormat.kRowwise),
            int(highspy.ObjSense.kMinimize),
            0.0,
            program.cost,
            program.lower,
            program.upper,
            program.row_lower,
            program.row_upper,
            matrix.indptr.astype(np.int32),
            matrix.indices.astype(np.int32),
            np.asarray(matrix.data, np.float64),
            integrality.astype(np.int32),
        )

    def _answer(self) -> Answer:
        status = self._highs.getModelStatus()
        if status not in FINISHED + CUT_SHORT:
            said = self._highs.modelStatusToString(status)
            raise SolveError(f"the schedule was not solved: the solver says {said}")
        solution, info = self._highs.getSolution(), self._highs.getInfo()
        found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        finished = status in FINISHED
        bound = info.mip_dual_bound if self._whole else info.objective_function_value
        return Answer(
            found=np.array(solution.col_value) if found else None,
            cost=info.objective_function_value,
            bound=bound if self._whole or finished else -np.inf,
            column_dual=np.array(solution.col_dual),
            row_dual=np.array(solution.row_dual),
        )

    def _listen(self, watch: Callable[[], bool]) -> None:
        """Stop the run as soon as `watch` says so."""

        def ask(event: highspy.highs.HighsCallbackEvent) -> None:
            if watch():
                event.interrupt()

        self._highs.cbSimplexInterrupt.subscribe(ask)
        self._highs.cbIpmInterrupt.subscribe(ask)
        self._highs.cbMipInterrupt.subscribe(ask)
