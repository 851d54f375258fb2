"""Which rings are opened: as few as can be, and the same in every cell."""

import re
from itertools import pairwise
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.design.load import load_design
from chaingen.errors import BadInput
from chaingen.findings.bars import end_bar
from chaingen.findings.clasps import lobster_clasp, toggle_bar, toggle_ring
from chaingen.findings.eights import figure_eight_link
from chaingen.findings.hooks import ear_wire
from chaingen.findings.links import closed_ring
from chaingen.make.order import cover
from chaingen.make.order.least import Wide, least_narrow, least_two_sided, packed, sides
from chaingen.make.order.replay import replay
from chaingen.solve.place_sections import place_sections
from chaingen.solve.place_weave import place_sheet
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, Run
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.weave import Repeats
from tests.conftest import join, rosette, side
from tests.orders import (
    RING,
    fewest,
    fewest_two_sided,
    graph_of,
    nodes_and_edges,
    ordered,
    weave_graph,
)

EXAMPLES = Path(__file__).parent.parent / "examples"


def finding(made, *, turned=False):
    return Group(GroupKind.FINDING, 1, made, turned)


def opened_names(graph, order):
    return {graph.names[k] for k in order.opened.opened}


def by_force(count, edges):
    """The size of the least cover of a small graph, by trying all sets."""
    best = count
    for chosen in range(1 << count):
        size = chosen.bit_count()
        if size < best and all(chosen >> a & 1 or chosen >> b & 1 for a, b in edges):
            best = size
    return best


def random_edges(rng, count, share):
    pairs = np.array([(a, b) for a in range(count) for b in range(a + 1, count)])
    return pairs[rng.random(len(pairs)) < share].reshape(-1, 2)


@settings(deadline=None)
@given(st.integers(2, 12), st.floats(0.1, 0.9), st.integers(0, 10_000))
def test_every_way_finds_the_least_cover_of_small_graphs(count, share, seed):
    edges = random_edges(np.random.default_rng(seed), count, share)
    if not len(edges):
        return
    least = by_force(count, edges.tolist())
    taken = least_narrow(count, edges)
    assert taken[edges].any(axis=1).all()
    assert taken.sum() == least
    wide = Wide(np.arange(count), edges, 10.0)
    assert packed([*edges.tolist()]) <= wide.at_least <= least
    branched = wide.branched(np.ones(count, dtype=bool), 10.0)
    assert branched[edges].any(axis=1).all()
    assert branched.sum() == wide.at_least == least
    order = ordered(graph_of(count, edges))
    assert (order.opened.count, order.opened.proven) == (least, True)


@settings(deadline=None)
@given(st.integers(1, 30), st.integers(1, 30), st.floats(0.02, 0.5), st.integers(0, 10_000))
def test_two_sided_graphs_against_hopcroft_and_karp(left, right, share, seed):
    rng = np.random.default_rng(seed)
    count = left + right
    names = rng.permutation(count)
    pairs = np.argwhere(rng.random((left, right)) < share) + np.array([0, left])
    edges = np.sort(names[pairs], axis=1).reshape(-1, 2)
    if not len(edges):
        return
    two_sided, own = sides(count, edges)
    assert two_sided.all()
    assert (own[edges[:, 0]] != own[edges[:, 1]]).all()
    taken = least_two_sided(count, edges, own)
    assert taken[edges].any(axis=1).all()
    network = nx.Graph(edges.tolist())
    top = {int(node) for node in np.flatnonzero(own) if int(node) in network}
    assert taken.sum() == len(nx.bipartite.hopcroft_karp_matching(network, top)) // 2
    assert ordered(graph_of(count, edges)).opened.count == taken.sum()


@settings(deadline=None)
@given(st.integers(3, 25), st.floats(0.05, 0.4), st.integers(0, 10_000))
def test_two_sided_parts_are_told_from_others(count, share, seed):
    edges = random_edges(np.random.default_rng(seed), count, share)
    two_sided, _ = sides(count, edges)
    network = nx.Graph()
    network.add_nodes_from(range(count))
    network.add_edges_from(edges.tolist())
    for part in nx.connected_components(network):
        assert two_sided[list(part)].all() == nx.is_bipartite(network.subgraph(part))
        assert two_sided[list(part)].any() == two_sided[list(part)].all()


@pytest.mark.parametrize("name", weave_names())
def test_every_weave_of_the_catalogue_is_proven(name):
    weave = find_weave(name)
    if weave.repeats is Repeats.SHEET:
        pieces = [weave_graph(weave, 5, 4), weave_graph(weave, 13, 9)]
    else:
        pieces = [weave_graph(weave, 7), weave_graph(weave, 8, closed=True), weave_graph(weave, 40)]
    for graph in pieces:
        order = ordered(graph)
        assert order.opened.proven
        network, _ = nodes_and_edges(graph)
        if nx.is_bipartite(network):
            assert order.opened.count == fewest_two_sided(graph)
        if len(graph) < 45:
            assert order.opened.count == fewest(graph)
        if len(graph) > 100:
            assert any(comes_again(graph, order, period) for period in (1, 2, 3))


def comes_again(graph, order, period):
    """Whether the same rings are opened in every so many cells, but for the first and the last cells."""
    cells = {}
    for k, name in enumerate(graph.names):
        cells[split(name)] = k in order.opened.opened
    last = tuple(max(where[axis] for where, _ in cells) for axis in range(len(next(iter(cells))[0])))
    for (where, ring), own in cells.items():
        then = tuple(place + period for place in where)
        inside = all(place > 1 and after < end for place, after, end in zip(where, then, last, strict=True))
        if inside and cells.get((then, ring), own) != own:
            return False
    return True


def split(name):
    """Numbers of a ring's cell, and its name there."""
    found = re.fullmatch(r"(?:(\d+)\.)?(\d+)(\D.*)", name)
    return tuple(int(number) for number in found.groups()[:2] if number), found[3]


def piece_graph_of(piece):
    if isinstance(piece, Run):
        return piece_graph(piece)
    if isinstance(piece, Chain):
        return weave_graph(piece.weave, max(piece.repeat, 6), closed=piece.closed)
    if isinstance(piece, Sheet):
        return place_sheet(piece, enough=0.0)[0]
    return place_sections(piece, starts=1, enough=0.0)[0]


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_example_is_proven(path):
    graph = piece_graph_of(load_design(path).piece)
    order = ordered(graph)
    assert order.opened.proven
    network, shut = nodes_and_edges(graph)
    if not shut and nx.is_bipartite(network):
        assert order.opened.count == fewest_two_sided(graph)
    elif len(graph) < 60:
        assert order.opened.count == fewest(graph)
    replay(graph, order)


def test_of_alternating_two_and_one_the_singles_are_opened():
    for closed in (False, True):
        graph = piece_graph(Run((side(2, RING), join(1, RING)), repeat=25, closed=closed))
        order = ordered(graph)
        singles = {member.name for member in graph.members if member.role == "join"}
        assert opened_names(graph, order) == singles
        assert order.opened.proven


def test_of_a_rosette_of_three_one_is_closed_and_two_opened():
    graph = piece_graph(Run((rosette(3, RING), join(1, RING)), repeat=9))
    order = ordered(graph)
    # One of four of each rosette with its join stays closed; the first of each rosette does.
    assert order.opened.count == 9 * 2 + 8
    assert {graph.names[k] for k in order.opened.closed} == {f"{1 + 2 * k}a" for k in range(9)}
    alone = ordered(piece_graph(Run((rosette(3, RING),))))
    assert (len(alone.opened.closed), alone.opened.count) == (1, 2)
    assert ordered(piece_graph(Run((rosette(8, RING),)))).opened.count == 7


def test_with_two_joins_the_joins_stay_closed():
    """No two closed rings are linked: both of a pair of joins are more than one of a rosette."""
    graph = piece_graph(Run((rosette(3, RING), join(2, RING)), repeat=9))
    order = ordered(graph)
    assert {graph.members[k].role for k in order.opened.closed} == {"join"}
    assert order.opened.count == 27


@pytest.mark.parametrize("count", [2, 3, 4, 7, 30])
def test_of_a_single_chain_every_second_ring_is_opened(count):
    """A path of n nodes has a least cover of half as many, rounded down; a cycle, rounded up."""
    graph = piece_graph(Run((side(1, RING),), repeat=count))
    order = ordered(graph)
    assert order.opened.opened == tuple(range(1, count, 2))
    loop = ordered(piece_graph(Run((side(1, RING),), repeat=count + 2, closed=True)))
    assert loop.opened.count == -(-(count + 2) // 2)


@pytest.mark.parametrize(("name", "period"), [("jens-pind", 3), ("spiral-4-in-1", 3)])
def test_two_of_three_in_a_chain_of_triangles(name, period):
    """Each ring is linked with the next two: of three in a row two are opened, and always the same two."""
    for cells in (30, 31, 32):
        graph = weave_graph(find_weave(name), cells)
        order = ordered(graph)
        assert order.opened.count == 2 * cells // period
        closed = np.diff(order.opened.closed)
        assert (closed[1:-1] == period).all()


def lattice(columns, rows, steps):
    """A sheet of rings, each linked with those so many columns and rows on."""
    number = {(i, j): i * rows + j for i in range(columns) for j in range(rows)}
    links = {
        tuple(sorted((k, number[i + a, j + b])))
        for (i, j), k in number.items()
        for a, b in steps
        if (i + a, j + b) in number
    }
    names = [f"{i + 1}.{j + 1}a" for i, j in number]
    return graph_of(len(number), sorted(links), names=names)


TRIANGLES = ((1, 0), (0, 1), (1, 1))


def test_without_time_the_bound_is_told():
    graph = lattice(20, 20, TRIANGLES)
    short, long = ordered(graph, seconds=0.0), ordered(graph, seconds=600.0)
    assert long.opened.proven
    assert not short.opened.proven
    assert short.opened.at_least < long.opened.at_least <= short.opened.count
    # Every third ring of each row stays closed, but for the edges.
    assert short.opened.count == pytest.approx(2 / 3 * 400, abs=10)
    for order in (short, long):
        replay(graph, order)


def test_when_time_is_up_the_bound_is_told(monkeypatch):
    """A bound that branching does not reach: the choice is the regular one, and not called the least."""
    graph = lattice(20, 20, TRIANGLES)
    monkeypatch.setattr(cover.Wide, "branched", lambda part, best, seconds: best)
    monkeypatch.setattr(cover.Wide, "_raise", lambda part, bound: None)
    order = ordered(graph, seconds=2.0)
    assert not order.opened.proven
    assert order.opened.at_least == 250 < order.opened.count
    replay(graph, order)


def test_wide_parts_beside_others_are_both_counted():
    one, two = lattice(16, 16, TRIANGLES), piece_graph(Run((rosette(3, RING), join(1, RING)), repeat=4))
    n = len(one)
    both = graph_of(
        n + len(two),
        np.concatenate([one.links, two.links + n]),
        names=[*one.names, *(f"of the second {name}" for name in two.names)],
    )
    first, second = (ordered(graph, seconds=600.0).opened.count for graph in (one, two))
    order = ordered(both, seconds=600.0)
    assert (order.opened.count, order.opened.proven) == (first + second, True)


def test_soldered_rings_stay_closed_and_their_neighbours_open():
    soldered = finding(closed_ring())
    graph = piece_graph(Run((soldered, side(2, RING)), repeat=6))
    order = ordered(graph)
    assert order.opened.count == 12
    assert not any(graph.members[k].role == "finding" for k in order.opened.opened)


def test_two_soldered_eyes_cannot_be_linked():
    run = Run((side(1, RING), finding(closed_ring("anchor ring")), finding(toggle_bar("boom"), turned=False)))
    with pytest.raises(BadInput) as raised:
        ordered(piece_graph(run))
    (problem,) = raised.value.problems
    assert problem.where == "findings.anchor ring"
    assert "'boom'" in problem.got
    assert "joining ring" in problem.advice


def test_of_a_ring_and_an_eye_the_ring_is_opened():
    # An ear wire's loop could be opened just as well as the only ring in it.
    graph = piece_graph(Run((finding(ear_wire("drop"), turned=True), side(1, RING))))
    order = ordered(graph)
    assert (opened_names(graph, order), order.opened.eyes) == ({"2a"}, ())
    # With four rings in it, the loop is opened once for all.
    graph = piece_graph(Run((finding(ear_wire("drop"), turned=True), side(4, RING))))
    order = ordered(graph)
    assert (order.opened.eyes, order.opened.count) == (((0, 0),), 1)
    # Between the two ends of an even chain an eye could be opened; a ring is.
    eight = finding(figure_eight_link())
    graph = piece_graph(Run((side(1, RING),), repeat=4, first=(eight,), last=(eight,)))
    order = ordered(graph)
    assert (order.opened.eyes, order.opened.count) == ((), 3)


def test_what_hangs_in_a_clasp_needs_no_opening():
    graph = graph_of(3, [(0, 1), (1, 2)], sizes=[lobster_clasp(), RING, RING], eyes=[(1, 0), (0, 0)])
    order = ordered(graph)
    assert order.opened.worn_open == ((0, 1),)
    assert order.opened.count == 1
    bar, ring = toggle_bar(), toggle_ring()
    # The bar goes through the toggle's soldered ring: both closed, and yet they can be brought together.
    hung = ordered(graph_of(2, [(0, 1)], sizes=[bar, ring], eyes=[(1, 1)]))
    assert (hung.opened.count, hung.opened.worn_open) == (0, ((0, 1),))
    assert [(step.body, step.eye, step.added) for step in hung.steps] == [(0, 1, (1,))]


def test_strands_between_end_bars_are_opened_alike():
    bar = end_bar(strands=3)
    rows = [[1 + 5 * s + k for k in range(5)] for s in range(3)]
    links, eyes = [], []
    for s, row in enumerate(rows):
        links += [(0, row[0]), *pairwise(row), (row[-1], 16)]
        eyes += [(s, 0), *[(0, 0)] * 4, (0, s)]
    names = ["1-1a", *(f"2-{s + 1}.{k + 1}a" for s in range(3) for k in range(5)), "3-1a"]
    graph = graph_of(17, links, sizes=[bar, *[RING] * 15, bar], eyes=eyes, names=names)
    order = ordered(graph)
    # Both end rings of each strand, and the middle one.
    assert opened_names(graph, order) == {f"2-{s}.{k}a" for s in (1, 2, 3) for k in (1, 3, 5)}
    assert order.opened.count == fewest(graph) == 9


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_random_pieces_of_rings_and_findings(seed):
    """Soldered, opened and worn eyes anyhow: as few opened as the slow way says."""
    rng = np.random.default_rng(seed)
    kinds = [RING, RING, RING, closed_ring(), figure_eight_link(), lobster_clasp()]
    sizes = [kinds[k] for k in rng.integers(0, len(kinds), 9)]
    links, eyes = [], []
    for a, b in random_edges(rng, 9, 0.35).tolist():
        ends = [0 if sizes[k] == RING else int(rng.integers(len(sizes[k].shape.eyes))) for k in (a, b)]
        shut = [
            sizes[k] == closed_ring() or (sizes[k] == lobster_clasp() and e == 0)
            for k, e in zip((a, b), ends, strict=True)
        ]
        if not all(shut):
            links.append((a, b))
            eyes.append(ends)
    graph = graph_of(9, links, sizes=sizes, eyes=eyes)
    order = ordered(graph)
    assert (order.opened.count, order.opened.proven) == (fewest(graph), True)
    replay(graph, order)
