"""Which rings are near enough to touch or link: a search whose cost grows with rings, not with pairs."""

import numpy as np
from scipy.spatial import cKDTree

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Ints


def near_pairs(rings: Bodies, *, margin: float = 0.0) -> Ints:
    """All pairs whose wires could be within `margin` of each other, judged by their bounding spheres.

    Linked rings are always among them. Rings are searched by size, so one large ring among small ones costs
    little.

    Args:
        rings: The rings.
        margin: Extra distance between the wires [mm].

    Returns:
        Index pairs with the smaller index first, sorted, shape (m, 2).
    """
    reach = rings.radii + rings.wire_radii
    sizes, of_size = np.unique(reach, return_inverse=True)
    members = [np.flatnonzero(of_size == k) for k in range(len(sizes))]
    trees = [cKDTree(rings.centres[m]) for m in members]
    found: list[Ints] = []
    for a in range(len(sizes)):
        inner = trees[a].query_pairs(2.0 * sizes[a] + margin, output_type="ndarray")
        found.append(members[a][inner])
        for b in range(a + 1, len(sizes)):
            close = trees[a].sparse_distance_matrix(
                trees[b], float(sizes[a] + sizes[b] + margin), output_type="ndarray"
            )
            found.append(np.column_stack([members[a][close["i"]], members[b][close["j"]]]))
    pairs = np.sort(np.concatenate(found).astype(np.int64).reshape(-1, 2), axis=1)
    return np.ascontiguousarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))])
