"""Which bodies are one part once pairs of them are welded."""

import numpy as np

from chaingen.geometry.types import Ints


def clusters_of(count: int, pairs: Ints) -> Ints:
    """Which bodies are one once pairs of them are welded.

    Args:
        count: How many bodies there are.
        pairs: Indices of the two bodies of each pair, shape (m, 2).

    Returns:
        For each body the number of its cluster, numbered by their first bodies, shape (count,).
    """
    parent = list(range(count))

    def root(body: int) -> int:
        while parent[body] != body:
            parent[body] = parent[parent[body]]
            body = parent[body]
        return body

    for a, b in pairs.tolist():
        one, two = sorted((root(a), root(b)))
        parent[two] = one
    # The root is the smallest of its cluster, so that the first bodies come in order.
    _, cluster = np.unique([root(body) for body in range(count)], return_inverse=True)
    return np.asarray(cluster, dtype=np.int64).reshape(-1)
