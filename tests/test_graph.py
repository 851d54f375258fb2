import networkx as nx
import numpy as np

from chaingen.weave.graph import cell_graph, piece_graph
from chaingen.weave.groups import Run
from tests.conftest import join, rosette, side, size

RING = size(4.0)


def test_two_in_one_counts():
    graph = piece_graph(Run((side(2, RING), join(1, RING)), repeat=5))
    # Five pairs and four joins: the last join has nothing to join.
    assert len(graph) == 14
    assert len(graph.links) == 16
    # Four rings at the ends carry one join, six in the middle two, and each join four.
    assert sorted(graph.degrees.tolist()) == [1] * 4 + [2] * 6 + [4] * 4
    assert nx.is_connected(graph.network())
    assert len(graph.components()) == 1


def test_rosette_chain_with_pairs_of_joins_counts():
    """Nine rosettes of three and eight pairs: 43 rings and 9 * 3 + 8 * 2 * 6 = 123 links."""
    graph = piece_graph(Run((rosette(3, RING), join(2, RING)), repeat=9))
    assert (len(graph), len(graph.links)) == (43, 123)


def test_closed_loop_links_last_with_first():
    graph = piece_graph(Run((side(1, RING),), repeat=6, closed=True))
    assert nx.is_isomorphic(graph.network(), nx.cycle_graph(6))


def test_cell_degrees_equal_those_inside_a_long_piece():
    for cell in (
        (side(1, RING),),
        (side(2, RING), join(1, RING)),
        (rosette(3, RING), join(2, RING)),
        (side(3, RING),),
    ):
        inner = cell_graph(cell)
        piece = piece_graph(Run(cell, repeat=12))
        # An odd row is taken twice: the second repeat of the cell, or of the doubled one.
        middle = len(inner)
        assert inner.degrees.tolist() == piece.degrees[middle : middle + len(inner)].tolist()
        assert inner.periodic
        assert inner.offsets.max() == 1


def test_repeating_cell_is_found():
    piece = piece_graph(Run((rosette(3, RING), join(2, RING)), repeat=9))
    assert piece.repeating_cell() == (2, 5)
    unlike = piece_graph(Run((side(1, RING), side(2, RING), side(3, RING))))
    assert unlike.repeating_cell() is None


def test_joins_at_open_ends_are_left_off():
    run = Run((join(1, RING), side(2, RING)), repeat=3)
    assert [group.count for group in run.groups()] == [2, 1, 2, 1, 2]
    assert len(Run((side(2, RING), join(1, RING)), 3, closed=True).groups()) == 6


def test_names_are_unique_and_tell_the_group():
    graph = piece_graph(Run((side(30, RING),), repeat=3))
    assert len(set(graph.names)) == 90
    assert graph.names[29] == "1ad"
    assert graph.neighbours(0).tolist() == list(range(30, 60))
    assert np.bincount(graph.group_of).tolist() == [30, 30, 30]
