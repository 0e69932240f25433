"""HiGHS for linear models in whole numbers, one call, quiet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from saltreach.errors import SaltreachError

if TYPE_CHECKING:
    import highspy

Row = tuple[list[tuple[int, int]], float, float]
"""Terms (variable, coefficient), low, high; infinite where there is no limit."""


class SolverError(SaltreachError):
    """A model that a solver refuses."""


@dataclass(frozen=True)
class Answer:
    """What was found: values (None where none), bound on the cost, whether it is the optimum,
    and the nodes of the tree that it took."""

    values: np.ndarray | None
    bound: float | None
    proven: bool
    nodes: int


def quiet_solver() -> highspy.Highs:
    """HiGHS that prints nothing."""
    import highspy

    class Quiet(highspy.Highs):
        """HiGHS prints its name when callbacks are enabled; none are used here."""

        def enableCallbacks(self) -> None:
            self.silent()

    return Quiet()


def solved(solver: highspy.Highs) -> bool:
    """Whether a solver found the optimum."""
    import highspy

    return solver.getModelStatus() == highspy.HighsModelStatus.kOptimal


def minimise(
    cost: Mapping[int, int],
    upper: Sequence[int],
    rows: Sequence[Row],
    *,
    start: Mapping[int, int] | None = None,
    seconds: float = 600.0,
    nodes: int | None = None,
    seed: int = 0,
) -> Answer:
    """Least cost of whole variables from 0 to `upper` that keep the rows.

    Parameters
    ----------
    cost : mapping of int to int
        Coefficient of each variable; whole, so that a gap below one half is none.
    upper : sequence of int
        Upper bound of each variable.
    rows : sequence of (terms, low, high)
        Linear rows.
    start : mapping of int to int, optional
        Values of some variables to begin from.
    seconds : float
        Time after which the best answer so far is given.
    nodes : int, optional
        Nodes of the tree after which it is given, whatever the time: the same on every machine.
    seed : int
        Of the search.

    Raises
    ------
    SolverError
        When HiGHS refuses the model, or its values are not those of its objective.
    """
    import highspy

    solver = quiet_solver()
    limit = ("time_limit", float(seconds)) if nodes is None else ("mip_max_nodes", nodes)
    for name, value in (
        limit, ("random_seed", seed % (1 << 30)), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.5),
    ):  # fmt: skip
        solver.setOptionValue(name, value)
    if start:  # what jumps to a first answer is not needed where there is one
        solver.setOptionValue("mip_heuristic_run_feasibility_jump", False)
    count = len(upper)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = count, len(rows)
    lp.col_cost_ = np.array([cost.get(i, 0) for i in range(count)], float)
    lp.col_lower_, lp.col_upper_ = np.zeros(count), np.array(upper, float)
    lp.row_lower_ = np.array([low for _, low, _ in rows], float)
    lp.row_upper_ = np.array([high for _, _, high in rows], float)
    lp.integrality_ = [highspy.HighsVarType.kInteger] * count
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    sizes = np.array([len(terms) for terms, _, _ in rows], np.int64)
    lp.a_matrix_.start_ = np.concatenate([[0], np.cumsum(sizes)])
    lp.a_matrix_.index_ = np.array([x for terms, _, _ in rows for x, _ in terms], np.int64)
    lp.a_matrix_.value_ = np.array([c for terms, _, _ in rows for _, c in terms], float)
    if solver.passModel(lp) == highspy.HighsStatus.kError:
        raise SolverError("HiGHS refused the model; please report it with the input")
    if start:
        index = np.array(list(start), np.int32)
        solver.setSolution(len(index), index, np.array(list(start.values()), float))
    solver.run()
    info = solver.getInfo()
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    values = np.array(solver.getSolution().col_value) if found else None
    if values is not None and abs(lp.col_cost_ @ values - info.objective_function_value) > 0.5:
        # HiGHS 1.16 may hand back the start in place of the optimum that its presolve found
        if not start:
            raise SolverError("HiGHS gave values that miss its objective; please report it")
        return minimise(cost, upper, rows, seconds=seconds, nodes=nodes, seed=seed)
    bound = float(info.mip_dual_bound)
    return Answer(
        values,
        bound if np.isfinite(bound) else None,
        solved(solver),
        max(1, int(info.mip_node_count)),
    )
