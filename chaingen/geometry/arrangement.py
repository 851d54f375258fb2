"""Shapes of sets of rings that their links alone do not fix, decided exactly.

Two flat discs are disjoint if and only if a plane passes between them. Rings that are not linked and whose
discs meet do cross: one pokes through the other, so that their order is another at either end.

When each circle of a set runs one way round, two linked circles have linking number +1 or -1. The circles
*turn the same way* if senses can be chosen for which every pair has the same sign, as the fibres of a Hopf
link do; the sign is the set's hand and does not depend on the choice when there are three circles or more.
"""

import networkx as nx
import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.linking import crossings
from chaingen.geometry.types import Ints


def plane_between(rings: Bodies, pairs: Ints) -> npt.NDArray[np.bool_]:
    """Whether a plane passes between the two circles of each pair.

    Args:
        rings: The rings.
        pairs: Indices, shape (m, 2).

    Returns:
        Booleans, shape (m,): true where neither circle crosses the flat disc of the other.
    """
    there, _ = crossings(rings, pairs)
    back, _ = crossings(rings, np.ascontiguousarray(pairs[:, ::-1]))
    return np.asarray((there == 0) & (back == 0))


def hand(rings: Bodies) -> int:
    """The hand of a set of mutually linked rings.

    Args:
        rings: Three or more rings.

    Returns:
        +1 or -1 if all turn the same way, with that sign; 0 if they do not, or are not all linked.
    """
    n = len(rings)
    pairs = np.column_stack(np.triu_indices(n, 1)).astype(np.int64)
    _, sign = crossings(rings, pairs)
    if np.any(sign == 0) or n < 3:
        return 0
    for side in (1, -1):
        # Pairs of the wrong sign need opposite senses, the others the same: possible if that is a two-
        # colouring.
        same = nx.Graph()
        same.add_nodes_from(range(n))
        same.add_edges_from(pairs[sign == side].tolist())
        clusters = list(nx.connected_components(same))
        cluster_of = {ring: k for k, cluster in enumerate(clusters) for ring in cluster}
        opposite = nx.Graph()
        opposite.add_nodes_from(range(len(clusters)))
        opposite.add_edges_from((cluster_of[a], cluster_of[b]) for a, b in pairs[sign != side].tolist())
        if nx.number_of_selfloops(opposite) == 0 and nx.is_bipartite(opposite):
            return side
    return 0
