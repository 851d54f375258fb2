"""Abreast: the fewest rings that have to open before the two ends of a piece come apart.

That is a minimum vertex cut of the link graph between its ends, found as a maximum flow through rings, each
of which lets as much through as it counts (Ford and Fulkerson, Canad. J. Math. 8 (1956) 399). A long piece is
looked at window by window: a cut is a matter of neighbouring places, and each window overlaps the next by
half.

An open run is pulled by its first and last group, sections and pieces with findings by what is at their ends.
How a bare weave will be hung is not known; it is pulled by all rings of as many places at its ends as a link
reaches over, so that the end itself is not weaker than the weave. A closed loop is cut through at one place:
one way round counts.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_flow

from chaingen.geometry.types import Ints
from chaingen.weave.graph import LinkGraph

NEVER = 2**29
"""Worth of what does not open. The flow's numbers have 32 bits, and differences of two of these still fit."""

WINDOW_RINGS, WINDOW_REACHES = 400, 16
"""A window has so many rings at least, and is at least so many times as long as a link reaches."""


def fewest_to_open(graph: LinkGraph, worth: Ints, *, bare: bool) -> int | None:
    """The least worth of rings that have to open before the ends of a piece come apart.

    Args:
        graph: The link graph of a piece, not a sheet, each body's group its place along the piece.
        worth: What each ring counts, 1 to count rings, shape (n,); `NEVER` for what does not open.
        bare: Whether it is a weave with nothing at its ends; see above.

    Returns:
        None where no set of rings parts them, as with soldered links all the way.
    """
    row = _row(graph)
    places = row.extent
    rings_in_place = len(row.body) / places
    width = max(WINDOW_REACHES * row.reach, int(np.ceil(WINDOW_RINGS / rings_in_place)))
    begin, end = (row.reach, row.reach) if bare or graph.closed else _holds(row)
    # What hangs on nothing holds nothing; a ring by itself holds all.
    count = np.where((graph.degrees > 0) | (len(graph) == 1), worth, 0)[row.body]
    best = NEVER
    for low in range(0, max(1, places - width // 2), max(1, width // 2)):
        high = min(low + width, places)
        first = begin if low == 0 else row.reach
        last = end if high == places else row.reach
        half = (high - low + 1) // 2
        best = min(best, _cut(row, count, low, high, min(first, half), min(last, half)))
    return None if best >= NEVER else best


@dataclass(frozen=True, eq=False)
class _Row:
    """A piece laid in a row; a closed one goes round as often as windows need.

    Attributes:
        body: Which body each node is, in order of place, shape (m,).
        place: Its place, shape (m,).
        links: Pairs of linked nodes, the lower place first, in order of the first one's place, shape (k, 2).
        reach: How many places a link reaches over at most, 1 or more.
        extent: How many places there are.
    """

    body: Ints
    place: Ints
    links: Ints
    reach: int
    extent: int


def _row(graph: LinkGraph) -> _Row:
    n = len(graph)
    place = graph.group_of - graph.group_of.min()
    count = int(place.max()) + 1
    links = np.unique(np.sort(graph.links, axis=1), axis=0)
    over = place[links[:, 1]] - place[links[:, 0]]
    rounds = 1
    if graph.closed:
        # A link over the seam is one between neighbours.
        over = (over + count // 2) % count - count // 2
        reach = max(1, int(np.abs(over).max(initial=0)))
        wide = max(WINDOW_REACHES * reach, int(np.ceil(WINDOW_RINGS * count / n)))
        rounds = 1 + -(-wide // count)
    reach = max(1, int(np.abs(over).max(initial=0)))
    turn = np.repeat(np.arange(rounds), len(links))
    one = np.tile(links[:, 0], rounds)
    other = np.tile(links[:, 1], rounds)
    to = place[one] + count * turn + np.tile(over, rounds)
    into = (to - place[other]) // count
    there = (into >= 0) & (into < rounds)
    nodes = np.column_stack([one + n * turn, other + n * into])[there]
    all_places = np.concatenate([place + count * k for k in range(rounds)])
    order = np.argsort(all_places, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    ranked = np.sort(rank[nodes], axis=1).reshape(-1, 2)
    ranked = ranked[np.argsort(ranked[:, 0], kind="stable")]
    return _Row(order % n, all_places[order], ranked, reach, count * rounds)


def _holds(row: _Row) -> tuple[int, int]:
    """Places by which a piece is held at its beginning and its end: as many as links there reach over."""
    found = []
    over = row.place[row.links[:, 1]] - row.place[row.links[:, 0]]
    for end in (0, row.extent - 1):
        here = (row.place[row.links] == end).any(axis=1)
        found.append(max(1, int(over[here].max(initial=1))))
    return found[0], found[1]


def _cut(row: _Row, count: Ints, low: int, high: int, first: int, last: int) -> int:
    """The least worth that parts the first places of a window from its last ones, `NEVER` at most."""
    from_node, to_node = np.searchsorted(row.place, [low, high])
    m = int(to_node - from_node)
    some = row.links[slice(*np.searchsorted(row.links[:, 0], [from_node, to_node]))]
    a, b = (some[some[:, 1] < to_node] - from_node).T
    place = row.place[from_node:to_node] - low
    ring = np.arange(m)
    # Every ring is an arc from its node 2k to its node 2k + 1; links lead from the second to the first.
    source, gate, sink = 2 * m, 2 * m + 1, 2 * m + 2
    begins, ends = ring[place < first], ring[place >= high - low - last]
    tails = np.concatenate(
        [2 * ring, 2 * a + 1, 2 * b + 1, np.full(len(begins), gate), 2 * ends + 1, [source]]
    )
    heads = np.concatenate([2 * ring + 1, 2 * b, 2 * a, 2 * begins, np.full(len(ends), sink), [gate]])
    room: npt.NDArray[np.int32] = np.full(len(tails), NEVER, dtype=np.int32)
    room[:m] = np.minimum(count[from_node:to_node], NEVER)
    network = csr_matrix((room, (tails, heads)), shape=(2 * m + 3, 2 * m + 3))
    return int(maximum_flow(network, source, sink).flow_value)
