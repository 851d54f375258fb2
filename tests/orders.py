"""Pieces as link graphs for tests of the order of work, and slow answers to compare with."""

import networkx as nx
import numpy as np

from chaingen.findings.finding import OPEN, Finding
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import Closure
from chaingen.make.metals import RingMetals
from chaingen.make.order.order import order_of
from chaingen.stock.metals import find_metal
from chaingen.weave.graph import LinkGraph, Member
from chaingen.weave.groups import RingSize
from chaingen.weave.tiling import chain_cells, sheet_cells, tiled, weave_cell, with_places
from chaingen.weave.weave import Repeats

RING = RingSize("link", 4.0, 1.0)


def graph_of(count, links, *, sizes=None, eyes=None, names=None):
    """A finite graph of bodies, all rings of one size unless told."""
    sizes = sizes or [RING] * count
    names = names or [f"body {k}" for k in range(count)]
    rows = np.array(links, dtype=np.int64).reshape(-1, 2)
    return LinkGraph(
        tuple(Member(name, "link", own, k) for k, (name, own) in enumerate(zip(names, sizes, strict=True))),
        rows,
        np.zeros_like(rows),
        (),
        (),
        False,
        eyes=None if eyes is None else np.array(eyes, dtype=np.int64).reshape(-1, 2),
    )


def weave_graph(weave, *extent, closed=False):
    """The graph of a chain of so many cells, or of a sheet of so many columns and rows."""
    cell = weave_cell(weave)
    sheet = weave.repeats is Repeats.SHEET
    cells = sheet_cells(*extent) if sheet else chain_cells(*extent)
    kept = None
    if weave.finish and not closed:
        cells = chain_cells(extent[0] + 1)
        kept = np.ones((len(cells), len(cell)), dtype=bool)
        kept[-1] = [ring.name in weave.finish for ring in weave.rings]
    graph, order = tiled(cell, cells, kept=kept, around=extent[0] if closed else 0, sheet=sheet)
    return graph if sheet else with_places(graph, (order // len(cell)).tolist())


def somewhere(graph):
    """Poses for bodies whose places do not matter."""
    n = len(graph)
    return Bodies(np.zeros((n, 3)), np.tile([0.0, 0.0, 1.0], (n, 1)), graph.radii, graph.wire_radii)


def all_of(name, graph):
    """All bodies of one metal."""
    return RingMetals((find_metal(name),), np.zeros(len(graph), dtype=np.int64))


def ordered(graph, bodies=None, *, metals=None, **options):
    """The order of work of a graph."""
    return order_of(graph, metals or all_of("copper", graph), bodies or somewhere(graph), **options)


def nodes_and_edges(graph):
    """Rings and eyes with the links that need an opened end, for networkx; and which eyes are soldered."""
    network, shut = nx.Graph(), set()
    for (a, b), (one, two) in zip(graph.links.tolist(), graph.link_eyes.tolist(), strict=True):
        ends = [(a, one), (b, two)]
        closures = [
            graph.members[body].size.shape.eyes[eye].closure
            if isinstance(graph.members[body].size, Finding)
            else Closure.PLIERS
            for body, eye in ends
        ]
        if any(closure in OPEN for closure in closures):
            continue
        network.add_edge(*ends)
        shut |= {end for end, closure in zip(ends, closures, strict=True) if closure is Closure.SOLDERED}
    return network, shut


def fewest(graph):
    """The fewest rings and eyes opened, by the largest set that stays closed: a clique of the complement."""
    network, shut = nodes_and_edges(graph)
    forced = {other for node in shut for other in network[node]}
    rest = network.subgraph(set(network) - shut - forced)
    count = len(forced)
    for part in nx.connected_components(rest):
        own = rest.subgraph(part)
        closed, _ = nx.max_weight_clique(nx.complement(own), weight=None)
        count += len(own) - len(closed)
    return count


def fewest_two_sided(graph):
    """The same for two-sided graphs, by Koenig's theorem with the matching of Hopcroft and Karp."""
    network, shut = nodes_and_edges(graph)
    assert not shut
    count = 0
    for part in nx.connected_components(network):
        own = network.subgraph(part)
        count += len(nx.bipartite.hopcroft_karp_matching(own)) // 2
    return count


def done_by_hand(instructions):
    """The pictures of all steps, done with a finger on the line as a person would."""
    pictures = []

    def do(first, last, tell):
        for number in range(first, last + 1):
            line = instructions[number - 1]
            assert line.number == number
            if line.step is not None:
                pictures.append(line.picture)
            else:
                assert first <= line.first <= line.last == number - 1
                for _ in range(line.times):
                    do(line.first, line.last, tell + 1)
                assert tell < 2, "repeats are nested at most two deep"

    do(1, len(instructions), 0)
    return pictures
