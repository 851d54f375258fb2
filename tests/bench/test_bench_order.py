"""The order of work of long pieces, against HiGHS's own branching on the whole cover in the same run."""

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from chaingen.make.order.order import order_of
from chaingen.weave.catalogue import find_weave
from tests.orders import all_of, somewhere, weave_graph

GRAPHS = {
    "byzantine, 10,000 rings": ("byzantine", 1250),
    "byzantine, 100,000 rings": ("byzantine", 12_500),
    "Jens Pind, 10,000 rings": ("jens-pind", 10_000),
    "European 4-in-1, 10,000 rings": ("european-4-in-1", 71, 71),
}


LIMIT = 120.0
"""So long the reference may take [s]; on Jens Pind it does."""


def graph_for(name, benchmark):
    """The graph; a small one where nothing is timed."""
    weave, *extent = GRAPHS[name]
    return weave_graph(find_weave(weave), *(extent if benchmark.enabled else [min(n, 9) for n in extent]))


@pytest.mark.benchmark(group="order of work")
@pytest.mark.parametrize("name", GRAPHS)
def test_order(benchmark, name):
    graph = graph_for(name, benchmark)
    order = benchmark.pedantic(
        lambda: order_of(graph, all_of("copper", graph), somewhere(graph)), rounds=1, warmup_rounds=0
    )
    assert order.opened.proven


@pytest.mark.benchmark(group="order of work")
@pytest.mark.parametrize("name", ["byzantine, 10,000 rings", "Jens Pind, 10,000 rings"])
def test_cover_alone_by_branching(benchmark, name):
    graph = graph_for(name, benchmark)
    n, m = len(graph), len(graph.links)
    rows = np.repeat(np.arange(m), 2)
    matrix = csr_array((np.ones(2 * m), (rows, graph.links.ravel())), shape=(m, n))

    def solve():
        return milp(
            np.ones(n),
            integrality=np.ones(n),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix, lb=1.0),
            options={"time_limit": LIMIT},
        )

    found = benchmark.pedantic(solve, rounds=1, warmup_rounds=0)
    assert round(found.fun) >= order_of(graph, all_of("copper", graph), somewhere(graph)).opened.count
