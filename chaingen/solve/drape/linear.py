"""The sparse symmetric linear systems of the drape's Newton steps."""

import numba
import numpy as np
from scipy.linalg import LinAlgError, cho_solve_banded, cholesky_banded
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.csgraph import reverse_cuthill_mckee
from scipy.sparse.linalg import splu

from chaingen.geometry.types import Floats, Ints

WIDEST_BAND = 240
"""Systems of a wider band than this many unknowns are solved by sparse factors instead of band factors."""

NARROW_BAND, THIN = 60, 0.3
"""So are those wider than the first whose band is filled to less than the second, as a sheet's is: they take
as long by either, but on a band of some width the library puts several threads to work, which wait for one
another without end where the machine has other work as well."""


@numba.njit(cache=True)
def _fill(band: Floats, rank: Ints, own: Floats, pairs: Ints, blocks: Floats) -> None:
    width = own.shape[1]
    for a in range(len(own)):
        for i in range(width):
            for j in range(i + 1):
                band[i - j, width * rank[a] + j] += own[a, i, j]
    for m in range(len(pairs)):
        for i in range(2 * width):
            row = width * rank[pairs[m, i // width]] + i % width
            for j in range(2 * width):
                column = width * rank[pairs[m, j // width]] + j % width
                if row >= column:
                    band[row - column, column] += blocks[m, i, j]


class Ordering:
    """An order of the bodies in which those that touch stand close together.

    Attributes:
        rank: Place of each body in the order, shape (n,).
        band: Unknowns below the diagonal that the matrix reaches.
        thin: Whether most of a wide band is empty.

    Args:
        bodies: How many bodies there are.
        pairs: Those that touch, shape (m, 2).
        width: Unknowns of each body.
    """

    def __init__(self, bodies: int, pairs: Ints, width: int = 5) -> None:
        ones = np.ones(len(pairs))
        graph = coo_matrix((ones, (pairs[:, 0], pairs[:, 1])), shape=(bodies, bodies)).tocsr()
        order = reverse_cuthill_mckee(graph + graph.T, symmetric_mode=True)
        self.rank: Ints = np.empty(bodies, dtype=np.int64)
        self.rank[order] = np.arange(bodies)
        apart = np.abs(self.rank[pairs[:, 0]] - self.rank[pairs[:, 1]]).max(initial=0)
        self.band = int(width * apart + width - 1)
        self.thin = self.band > NARROW_BAND and width * len(pairs) < THIN * self.band * bodies


def solve(ordering: Ordering, own: Floats, pairs: Ints, blocks: Floats, right: Floats) -> Floats | None:
    """Solve the system of a Newton step.

    Args:
        ordering: The order of the bodies.
        own: Blocks of the bodies themselves, shape (n, w, w) for w unknowns each.
        pairs: Pairs that touch, shape (m, 2).
        blocks: Their blocks, shape (m, 2 w, 2 w).
        right: Right side, shape (n, w).

    Returns:
        The solution, shape (n, w), or None when the matrix is not positive definite.
    """
    n, width = right.shape
    if ordering.band <= WIDEST_BAND and not ordering.thin:
        band = np.zeros((ordering.band + 1, width * n))
        _fill(band, ordering.rank, own, pairs, blocks)
        order = np.argsort(ordering.rank)
        try:
            factor = cholesky_banded(band, lower=True, overwrite_ab=True, check_finite=False)
        except LinAlgError:
            return None
        found = cho_solve_banded((factor, True), right[order].ravel(), check_finite=False).reshape(-1, width)
        return np.asarray(found[ordering.rank])
    matrix = _sparse(own, pairs, blocks)
    try:
        factors = splu(
            matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
    except RuntimeError:
        return None
    # Pivots stay on the diagonal: their signs are those of the eigenvalues (Sylvester's law of inertia).
    if (factors.U.diagonal() <= 0.0).any():
        return None
    return np.asarray(factors.solve(right.ravel()).reshape(-1, width))


def _sparse(own: Floats, pairs: Ints, blocks: Floats) -> csc_matrix:
    n, width = own.shape[:2]
    one, two = np.arange(width), np.arange(2 * width)
    base = width * np.arange(n)[:, None] + one
    place = width * pairs[:, two // width] + two % width
    rows = np.concatenate(
        [np.repeat(base, width, axis=1).ravel(), np.repeat(place, 2 * width, axis=1).ravel()]
    )
    columns = np.concatenate([np.tile(base, (1, width)).ravel(), np.tile(place, (1, 2 * width)).ravel()])
    values = np.concatenate([own.ravel(), blocks.ravel()])
    return coo_matrix((values, (rows, columns)), shape=(width * n, width * n)).tocsc()
