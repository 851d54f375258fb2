"""How few nodes of a graph touch every edge: exact where a graph is two-sided or narrow, else with a bound.

A graph is *two-sided* when its nodes fall into two sides with no edge within either. The least cover is then
as large as the greatest matching (D. Koenig, "Grafok es matrixok", Matematikai es Fizikai Lapok 38, 1931). It
is *narrow* when its nodes can be taken in a row so that few of those taken still have edges to come: then all
that matters of the past is which of these few are left out. Everything else is left to a linear program with
the constraint of every clique, and to branching.
"""

from collections.abc import Iterator
from itertools import islice

import networkx as nx
import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, maximum_bipartite_matching, reverse_cuthill_mckee

from chaingen.geometry.types import Ints

Bools = npt.NDArray[np.bool_]

MOST_STATES, MOST_WORK = 3_000, 3_000_000
"""States of a narrow graph in one place, and in all places together, before it counts as too wide."""

MOST_CLIQUES = 400_000
"""Cliques looked at for the linear program."""

ROUNDING = 1e-6
"""A bound may be so much too large by the program's rounding."""


def matrix_of(count: int, edges: Ints) -> csr_array:
    """The symmetric adjacency matrix of a graph, shape (count, count)."""
    both = np.concatenate([edges, edges[:, ::-1]])
    return csr_array((np.ones(len(both), dtype=np.int8), (both[:, 0], both[:, 1])), shape=(count, count))


def sides(count: int, edges: Ints) -> tuple[Bools, Bools]:
    """Which nodes are in two-sided parts, and which of those are on the side of their part's first node."""
    # Taken twice, each edge leading to the other copy, a part falls in two just when it is two-sided.
    doubled = np.concatenate([edges + np.array([0, count]), edges + np.array([count, 0])])
    _, part = connected_components(matrix_of(2 * count, doubled), directed=False)
    own, other = part[:count], part[count:]
    # Copies come in the order of their first node, so the lower of the two numbers is the first node's own.
    return own != other, own < other


def least_two_sided(count: int, edges: Ints, left: Bools) -> Bools:
    """A least cover of a two-sided graph, by Koenig's theorem, shape (count,).

    Args:
        count: How many nodes.
        edges: Its edges, shape (k, 2).
        left: Which nodes are on one side, shape (count,).
    """
    adjacent = matrix_of(count, edges)
    rows, columns = np.flatnonzero(left), np.flatnonzero(~left)
    mate = np.full(count, -1)
    if len(rows) and len(columns):
        found = maximum_bipartite_matching(csr_array(adjacent[rows][:, columns]), perm_type="column")
        matched = found >= 0
        mate[rows[matched]] = columns[found[matched]]
        mate[columns[found[matched]]] = rows[matched]
    # What alternating paths from unmatched nodes of the left reach: left there, and right here, is not taken.
    reached = np.zeros(count, dtype=bool)
    front = rows[mate[rows] < 0]
    reached[front] = True
    while len(front):
        beyond = np.unique(adjacent[front].indices)
        beyond = beyond[~reached[beyond]]
        reached[beyond] = True
        front = mate[beyond]
        front = front[(front >= 0) & ~reached[np.maximum(front, 0)]]
        reached[front] = True
    taken = np.where(left, ~reached, reached)
    taken &= np.diff(adjacent.indptr) > 0
    return np.asarray(taken)


def least_narrow(count: int, edges: Ints) -> Bools | None:
    """A least cover of a narrow graph, by going along it; None when it is too wide, shape (count,)."""
    adjacent = matrix_of(count, edges)
    row = reverse_cuthill_mckee(adjacent, symmetric_mode=True).tolist()
    at = {node: k for k, node in enumerate(row)}
    last = [max((at[j] for j in _row(adjacent, node)), default=at[node]) for node in range(count)]
    slot: dict[int, int] = {}
    free: list[int] = []
    # A state says which of the nodes with edges to come are left out; it knows its cost.
    states: dict[int, int] = {0: 0}
    back: list[dict[int, tuple[int, bool]]] = []
    work = 0
    leaving: dict[int, list[int]] = {}
    for k, node in enumerate(row):
        before = [j for j in _row(adjacent, node) if at[j] < k]
        near = sum(1 << slot[j] for j in before)
        own = 0
        if last[node] > k:
            slot[node] = free.pop() if free else len(slot)
            own = 1 << slot[node]
            leaving.setdefault(last[node], []).append(node)
        gone = leaving.pop(k, [])
        keep = ~sum(1 << slot[j] for j in gone)
        free += [slot[j] for j in gone]
        new: dict[int, int] = {}
        come: dict[int, tuple[int, bool]] = {}
        for state, cost in states.items():
            for out in (False, True):
                if out and state & near:
                    continue
                then = ((state | own) if out else state) & keep
                total = cost + (not out)
                if then not in new or total < new[then]:
                    new[then], come[then] = total, (state, not out)
        states = new
        back.append(come)
        work += len(states)
        if len(states) > MOST_STATES or work > MOST_WORK:
            return None
    taken = np.zeros(count, dtype=bool)
    state = min(states, key=lambda one: states[one])
    for k in range(count - 1, -1, -1):
        state, inside = back[k][state]
        taken[row[k]] = inside
    return taken


def _row(adjacent: csr_array, node: int) -> list[int]:
    own: list[int] = adjacent.indices[adjacent.indptr[node] : adjacent.indptr[node + 1]].tolist()
    return own


def _cliques(count: int, edges: Ints) -> list[list[int]]:
    """Cliques that together hold every edge; all largest ones as far as they are few."""
    network = nx.Graph()
    network.add_nodes_from(range(count))
    network.add_edges_from(edges.tolist())
    found: list[list[int]] = [
        clique for clique in islice(nx.find_cliques(network), MOST_CLIQUES) if len(clique) > 1
    ]
    if len(found) < MOST_CLIQUES:
        return found
    pairs: list[list[int]] = edges.tolist()
    return found + pairs


def _constraints(count: int, cliques: list[list[int]]) -> tuple[csr_array, npt.NDArray[np.float64]]:
    """Of each clique all nodes but one are taken: a matrix and the least of each row."""
    sizes = [len(clique) for clique in cliques]
    rows = np.repeat(np.arange(len(cliques)), sizes)
    columns = np.array([node for clique in cliques for node in clique])
    return csr_array((np.ones(len(rows)), (rows, columns)), shape=(len(cliques), count)), np.array(
        sizes
    ) - 1.0


def packed(cliques: list[list[int]]) -> int:
    """How many nodes any cover has at least: all but one of each of some cliques apart from one another."""
    used: set[int] = set()
    bound = 0
    for clique in sorted(cliques, key=len, reverse=True):
        if used.isdisjoint(clique):
            used.update(clique)
            bound += len(clique) - 1
    return bound


class Wide:
    """A part of a graph for which no quick way is exact.

    Attributes:
        nodes: Its nodes in the whole graph, shape (n,).
        at_least: No cover of it has fewer nodes, as far as is known.
    """

    def __init__(self, nodes: Ints, edges: Ints, seconds: float) -> None:
        """Bound the least cover by cliques, and by a linear program as far as that is solved in time.

        Args:
            nodes: Its nodes in the whole graph, shape (n,).
            edges: Its edges, by place among these, shape (k, 2).
            seconds: For how long the linear program may be solved [s].
        """
        self.nodes = nodes
        cliques = _cliques(len(nodes), edges)
        self.at_least = packed(cliques)
        self._matrix, self._least = _constraints(len(nodes), cliques)
        if seconds > 0.0:
            relaxed = linprog(
                np.ones(len(nodes)),
                A_ub=-self._matrix,
                b_ub=-self._least,
                bounds=(0.0, 1.0),
                options={"time_limit": seconds},
            )
            if relaxed.status == 0:
                self._raise(float(relaxed.fun))

    def _raise(self, bound: float) -> None:
        self.at_least = max(self.at_least, int(np.ceil(bound - ROUNDING * max(1.0, bound))))

    def branched(self, best: Bools, seconds: float) -> Bools:
        """The smallest cover found by branching, the bound raised with it, shape (n,).

        Args:
            best: A cover that is known already, shape (n,).
            seconds: For how long [s]; with 0 the known one is all there is.
        """
        if seconds <= 0.0 or best.sum() <= self.at_least:
            return best
        solved = milp(
            np.ones(len(self.nodes)),
            integrality=np.ones(len(self.nodes)),
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(self._matrix, lb=self._least),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        if solved.mip_dual_bound is not None and np.isfinite(solved.mip_dual_bound):
            self._raise(float(solved.mip_dual_bound))
        if solved.x is not None and (solved.x > 0.5).sum() < best.sum():
            return np.asarray(solved.x > 0.5)
        return best


def parts_of(count: int, edges: Ints, of: Bools) -> Iterator[tuple[Ints, Ints]]:
    """The parts that hang together, of some nodes: their nodes, and their edges by place among these.

    Args:
        count: How many nodes.
        edges: Edges of the graph, shape (k, 2).
        of: Which nodes: whole parts that have edges, shape (count,).
    """
    if not of.any():
        return
    _, part = connected_components(matrix_of(count, edges), directed=False)
    chosen = np.flatnonzero(of)
    chosen = chosen[np.argsort(part[chosen], kind="stable")]
    place = np.full(count, -1)
    inner = edges[of[edges[:, 0]]]
    inner = inner[np.argsort(part[inner[:, 0]], kind="stable")]
    nodes = np.split(chosen, np.flatnonzero(np.diff(part[chosen])) + 1)
    links = np.split(inner, np.flatnonzero(np.diff(part[inner[:, 0]])) + 1)
    for own, between in zip(nodes, links, strict=True):
        place[own] = np.arange(len(own))
        yield own, place[between]
