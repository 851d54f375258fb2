"""The linear program of one step, solved by the dual simplex method of HiGHS.

HiGHS is called as it is, for a search solves thousands of small programs and most of the time of
`scipy.optimize.linprog` goes into checking what it is given.

References:
    Q. Huangfu, J. A. J. Hall: Parallelizing the dual revised simplex method. Mathematical Programming
    Computation 10 (2018).
"""

import highspy
import numpy as np
from scipy.sparse import csc_matrix

from chaingen.geometry.types import Floats

IDLE = 1e-4
"""Cost of moving a ring by 1 mm in the linear program, far below any gain: rings that nothing asks to move
stay where they are, while a bare vertex of the program would throw them to the border of the trust region."""

_OPTIONS: dict[str, bool | int | str] = {
    "output_flag": False,
    "presolve": "off",
    "solver": "simplex",
    "simplex_strategy": 1,
    "threads": 1,
}
"""Silent; the dual simplex method without presolving, which such small programs do not repay."""


class _Solver(highspy.Highs):
    """HiGHS without callbacks, for they print a banner when they are set up."""

    def __init__(self) -> None:
        super(highspy.Highs, self).__init__()
        for name, value in _OPTIONS.items():
            self.setOptionValue(name, value)


def best_step(
    slopes: csc_matrix,
    weight: Floats,
    value: Floats,
    trust: float,
    *,
    aim: Floats | None = None,
    worth: float = 1.0,
    ceiling: float = np.inf,
) -> tuple[Floats, float, Floats] | None:
    """Maximise aim x + worth t with value + slopes x >= weight t, every |x| <= trust and t <= ceiling.

    Args:
        slopes: How the rows change with the unknowns, shape (m, n).
        weight: Weights of t in the rows, shape (m,).
        value: The rows where x is nothing, shape (m,).
        trust: Largest change of an unknown.
        aim: What each unknown is worth, shape (n,); nothing by default.
        worth: What t is worth.
        ceiling: Largest t.

    Returns:
        The step x, t, and the multipliers of the rows; None when HiGHS finds no answer.
    """
    rows, n = slopes.shape
    matrix = _both_ways(csc_matrix(slopes), weight)
    pull = np.zeros(n) if aim is None else aim
    # One unknown each for the ways forward and back, so that moving costs either way; the last one is t.
    cost = np.concatenate([IDLE - pull, IDLE + pull, [-worth]])
    least, most = np.zeros(2 * n + 1), np.full(2 * n + 1, trust)
    least[-1], most[-1] = -np.inf, ceiling
    solver = _Solver()
    solver.passModel(
        2 * n + 1,
        rows,
        matrix.nnz,
        int(highspy.MatrixFormat.kColwise),
        int(highspy.ObjSense.kMinimize),
        0.0,
        cost,
        least,
        most,
        np.full(rows, -np.inf),
        value,
        matrix.indptr.astype(np.int32),
        matrix.indices.astype(np.int32),
        matrix.data,
        # None of the unknowns is a whole number.
        np.zeros(2 * n + 1, dtype=np.int32),
    )
    solver.run()
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    solution = solver.getSolution()
    x = np.array(solution.col_value)
    return x[:n] - x[n:-1], float(x[-1]), -np.array(solution.row_dual)


def _both_ways(slopes: csc_matrix, column: Floats) -> csc_matrix:
    """The matrix [-slopes, slopes, column], put together faster than scipy's `hstack` does."""
    rows, n = slopes.shape
    slopes.sum_duplicates()
    entries = len(slopes.data)
    own = np.flatnonzero(column)
    ends = slopes.indptr[1:]
    return csc_matrix(
        (
            np.concatenate([-slopes.data, slopes.data, column[own]]),
            np.concatenate([slopes.indices, slopes.indices, own]),
            np.concatenate([slopes.indptr, ends + entries, [2 * entries + len(own)]]),
        ),
        shape=(rows, 2 * n + 1),
    )
