"""From a weave's cell to the link graph of a piece: cells side by side, loose rings left off."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import networkx as nx
import numpy as np
import numpy.typing as npt

from chaingen.geometry.types import Ints
from chaingen.weave.graph import Arrangement, LinkGraph, Member
from chaingen.weave.groups import GroupKind, RingSize
from chaingen.weave.weave import Repeats, Weave

FEWEST_ROUND = 3
"""Cells of a closed chain at least: with two, the next one would also be the one before."""

LEAST_HOLD = 2
"""A ring of a sheet that hangs on fewer places dangles and is left off; rings side by side are one place."""


def weave_cell(weave: Weave, sizes: Mapping[str, RingSize] | None = None) -> LinkGraph:
    """The link graph of one cell of a weave.

    Args:
        weave: The weave.
        sizes: The ring size of each role; the usual ones by default.
    """
    chosen = dict(weave.usual) | dict(sizes or {})
    index = {ring.name: k for k, ring in enumerate(weave.rings)}
    members = tuple(Member(ring.name, ring.role, chosen[ring.role], 0) for ring in weave.rings)
    links = [(index[link.first], index[link.second]) for link in weave.links]
    offsets = [(link.along, link.across) for link in weave.links]
    return LinkGraph(
        members=members,
        links=np.array(links, dtype=np.int64).reshape(-1, 2),
        offsets=np.array(offsets, dtype=np.int64).reshape(-1, 2),
        arrangements=tuple(
            Arrangement(GroupKind.SIDE_BY_SIDE, tuple(index[name] for name in names))
            for names in weave.side_by_side
        ),
        groups=(),
        periodic=True,
    )


def tiled(
    cell: LinkGraph,
    cells: Ints,
    *,
    kept: npt.NDArray[np.bool_] | None = None,
    around: int = 0,
    sheet: bool = False,
) -> tuple[LinkGraph, Ints]:
    """The finite link graph of some cells of a repeating one.

    Args:
        cell: The graph of one cell.
        cells: Which cells, as numbers along and across, shape (k, 2), each once.
        kept: Which rings of each cell are there, shape (k, n); all by default.
        around: Cells along after which a closed loop comes back to its first; 0 for an open piece.
        sheet: Whether names tell the cell across too.

    Returns:
        The graph, and for each of its rings the place in the row of all cells' rings, shape (m,).
    """
    count, n = len(cells), len(cell)
    there = np.ones((count, n), dtype=bool) if kept is None else kept
    low = cells.min(axis=0)
    extent = cells.max(axis=0) - low + 1
    place = np.full(extent, -1)
    place[tuple((cells - low).T)] = np.arange(count)
    number = np.full(count * n, -1)
    rings = np.flatnonzero(there.ravel())
    number[rings] = np.arange(len(rings))
    parts = []
    for (a, b), offset, eyes_there in zip(
        cell.links.tolist(), cell.offsets, cell.link_eyes.tolist(), strict=True
    ):
        target = cells - low + offset
        if around:
            target[:, 0] %= around
        inside = ((target >= 0) & (target < extent)).all(axis=1)
        other = np.full(count, -1)
        other[inside] = place[tuple(target[inside].T)]
        here = np.flatnonzero(other >= 0)
        ends = np.column_stack([number[here * n + a], number[other[here] * n + b]])
        parts.append(np.column_stack([ends, np.tile(np.array(eyes_there), (len(here), 1))]))
    links = np.concatenate(parts) if parts else np.empty((0, 4), dtype=np.int64)
    links = links[(links >= 0).all(axis=1)]
    back = links[:, 0] > links[:, 1]
    links[back] = links[back][:, [1, 0, 3, 2]]
    links = np.unique(links, axis=0).astype(np.int64)
    links, eyes = links[:, :2], links[:, 2:]
    members = []
    for ring in rings.tolist():
        own = cell.members[ring % n]
        along, across = cells[ring // n].tolist()
        column, row = along - int(low[0]) + 1, across - int(low[1]) + 1
        name = f"{column}.{row}{own.name}" if sheet else f"{column}{own.name}"
        members.append(Member(name, own.role, own.size, own.group))
    arrangements = [
        Arrangement(arrangement.kind, tuple(number[k * n + np.array(arrangement.rings)].tolist()))
        for arrangement in cell.arrangements
        for k in range(count)
        if there[k, list(arrangement.rings)].all()
    ]
    graph = LinkGraph(
        members=tuple(members),
        links=np.ascontiguousarray(links),
        offsets=np.zeros((len(links), 2), dtype=np.int64),
        arrangements=tuple(arrangements),
        groups=(),
        periodic=False,
        closed=bool(around),
        eyes=None if cell.eyes is None else np.ascontiguousarray(eyes),
    )
    return graph, rings


def tiled_periodic(cell: LinkGraph, count: int) -> LinkGraph:
    """The repeating cell that so many cells of a chain make together."""
    n = len(cell)
    members = tuple(
        replace(member, name=f"{k + 1}{member.name}") for k in range(count) for member in cell.members
    )
    first = cell.links[None, :, 0] + n * np.arange(count)[:, None]
    target = np.arange(count)[:, None] + cell.offsets[None, :, 0]
    second = cell.links[None, :, 1] + n * (target % count)
    offsets = np.zeros((first.size, 2), dtype=np.int64)
    offsets[:, 0] = (target // count).ravel()
    arrangements = tuple(
        Arrangement(arrangement.kind, tuple(ring + n * k for ring in arrangement.rings))
        for k in range(count)
        for arrangement in cell.arrangements
    )
    return LinkGraph(
        members=members,
        links=np.column_stack([first.ravel(), second.ravel()]),
        offsets=offsets,
        arrangements=arrangements,
        groups=(),
        periodic=True,
    )


def chain_cells(repeat: int) -> Ints:
    """Cell numbers of a chain, shape (repeat, 2)."""
    return np.column_stack([np.arange(repeat), np.zeros(repeat, dtype=np.int64)])


def sheet_cells(columns: int, rows: int) -> Ints:
    """Cell numbers of a rectangle of cells, along first, shape (columns * rows, 2)."""
    i, j = np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij")
    return np.column_stack([i.ravel(), j.ravel()])


def held(
    weave: Weave, cell: LinkGraph, cells: Ints, kept: npt.NDArray[np.bool_], *, around: int = 0
) -> npt.NDArray[np.bool_]:
    """Which rings of some cells stay once those that nothing holds are left off.

    A ring stays when it hangs together with most of the piece; in a sheet, when it also hangs on two places
    or more (or on as many as a ring of its name ever does); a caged ring, when its whole cage is there.

    Args:
        weave: The weave.
        cell: The graph of one cell.
        cells: Which cells, shape (k, 2).
        kept: Which of their rings are there to begin with, shape (k, n).
        around: See `tiled`.

    Returns:
        Which stay, shape (k, n).
    """
    n = kept.shape[1]
    kept = kept.copy()
    caged = np.array([bool(ring.caged_by) for ring in weave.rings])
    site = _sites(cell)
    # In a chain hanging together is enough, so that a ring by itself is one.
    least = np.minimum(LEAST_HOLD if weave.repeats is Repeats.SHEET else 0, _places_held_by(cell, site))
    while True:
        graph, rings = tiled(cell, cells, kept=kept, around=around)
        if not len(rings):
            return kept
        stays = np.ones(len(rings), dtype=bool)
        own = rings % n
        held_by = _distinct(graph.links, (rings // n) * n + site[own], len(rings))
        stays &= (held_by >= least[own]) | caged[own]
        solid = np.flatnonzero(~caged[own])
        network = nx.Graph()
        network.add_nodes_from(solid.tolist())
        network.add_edges_from(graph.links.tolist())
        parts = sorted(nx.connected_components(network), key=lambda part: (-len(part), min(part)))
        apart = [ring for part in parts[1:] for ring in part]
        stays[apart] = False
        stays[caged[own]] = True
        stays &= _cages(weave, cells, kept, around)[rings // n, own]
        if stays.all():
            return kept
        kept.ravel()[rings[~stays]] = False


def _sites(cell: LinkGraph) -> Ints:
    """The place of each ring in its cell: one for all rings that lie side by side, shape (n,)."""
    site = np.arange(len(cell))
    for arrangement in cell.arrangements:
        if arrangement.kind is GroupKind.SIDE_BY_SIDE:
            site[list(arrangement.rings)] = min(arrangement.rings)
    return site


def _distinct(links: Ints, site: Ints, count: int) -> Ints:
    """How many different places each of `count` rings is linked with, shape (count,)."""
    both = np.concatenate([links, links[:, ::-1]])
    pairs = np.unique(np.column_stack([both[:, 0], site[both[:, 1]]]), axis=0)
    return np.bincount(pairs[:, 0], minlength=count)


def _places_held_by(cell: LinkGraph, site: Ints) -> Ints:
    """How many different places each ring of a repeating cell is linked with, shape (n,)."""
    far = np.concatenate(
        [
            np.column_stack([cell.links[:, 0], site[cell.links[:, 1]], cell.offsets]),
            np.column_stack([cell.links[:, 1], site[cell.links[:, 0]], -cell.offsets]),
        ]
    )
    return np.bincount(np.unique(far, axis=0)[:, 0], minlength=len(cell))


def fewest_round(weave: Weave) -> int:
    """Fewest cells of a closed chain: with fewer, links of different cells would be one and the same."""
    cell = weave_cell(weave)
    count = FEWEST_ROUND
    while True:
        graph, _ = tiled(cell, chain_cells(count), around=count)
        if len(graph.links) == count * len(cell.links) and (graph.links[:, 0] != graph.links[:, 1]).all():
            return count
        count += 1


def _cages(weave: Weave, cells: Ints, kept: npt.NDArray[np.bool_], around: int) -> npt.NDArray[np.bool_]:
    """Whether each ring's cage is whole, shape (k, n)."""
    index = {ring.name: k for k, ring in enumerate(weave.rings)}
    where = {(int(i), int(j)): k for k, (i, j) in enumerate(cells)}
    whole = np.ones_like(kept)
    for ring in weave.rings:
        for name, along, across in ring.caged_by:
            for (i, j), k in where.items():
                column = (i + along) % around if around else i + along
                other = where.get((column, j + across))
                if other is None or not kept[other, index[name]]:
                    whole[k, index[ring.name]] = False
    return whole


def with_places(graph: LinkGraph, places: Sequence[int]) -> LinkGraph:
    """The graph with each ring's place along the piece as its group."""
    members = tuple(
        replace(member, group=int(place)) for member, place in zip(graph.members, places, strict=True)
    )
    return replace(graph, members=members)
