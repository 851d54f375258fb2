"""Which ring of a piece is of which metal: by its place, by its size, or all alike."""

from dataclasses import dataclass

import numpy as np

from chaingen.design.design import Design
from chaingen.findings.finding import Finding
from chaingen.geometry.types import Ints
from chaingen.make.grid import Grid, chain_grid, grid_of, run_grid
from chaingen.solve.placement import Placement
from chaingen.stock.metals import Metal
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import GroupKind, Run
from chaingen.weave.pieces import Chain
from chaingen.weave.tiling import chain_cells, tiled, weave_cell


@dataclass(frozen=True, eq=False)
class RingMetals:
    """The metals of rings.

    Attributes:
        metals: The metals used, in order of first use.
        of_ring: Index among them of each ring's, shape (n,).
    """

    metals: tuple[Metal, ...]
    of_ring: Ints


def ring_metals(design: Design, placement: Placement) -> RingMetals:
    """The metal of every ring of a piece.

    Args:
        design: The design: its pattern of metals goes before metals of ring sizes, these before its metal.
        placement: The placed piece.
    """
    return _metals(design, placement.graph, _grid(design, placement))


def worn_metals(design: Design, placement: Placement, graph: LinkGraph) -> RingMetals:
    """The metal of every ring of a piece as it is worn or lies in a scene.

    Args:
        design: The design.
        placement: The piece as placed.
        graph: The link graph there; that of the closed loop for an open piece that is worn, which may have
            joins that hung on its ends, or lack what finished it.
    """
    if graph.names == placement.graph.names:
        return ring_metals(design, placement)
    if isinstance(design.piece, Run):
        return _metals(design, graph, run_grid(graph, closed=design.piece.closed))
    return _metals(design, graph, chain_grid(placement.graph, _grid(design, placement), graph.names))


def cell_metals(design: Design, placement: Placement, count: int) -> RingMetals:
    """The metals of `count` rings of repeated cells in a row, as a piece has them from its first cell on."""
    piece = design.piece
    if isinstance(piece, Run):
        each = sum(group.count for group in piece.cell)
        # Closed, so that joins stay; three repeats at least make it a loop.
        graph = piece_graph(Run(piece.cell, repeat=max(3, -(-count // each)), closed=True))
        row = piece.first + piece.cell
        joins = 0
        while not piece.closed and joins < len(row) and row[joins].kind is GroupKind.JOIN:
            joins += 1
        grid = run_grid(graph, closed=True, begin=len(piece.first) - joins)
    else:
        assert isinstance(piece, Chain), "only runs and chains repeat a cell along a line"
        cells = chain_cells(-(-count // len(piece.weave.rings)))
        graph, _ = tiled(weave_cell(piece.weave, dict(piece.chosen)), cells)
        grid = chain_grid(placement.graph, _grid(design, placement), graph.names)
    whole = _metals(design, graph, grid)
    return RingMetals(whole.metals, whole.of_ring[:count])


def _grid(design: Design, placement: Placement) -> Grid:
    return grid_of(design.piece, placement.graph, placement.rings)


def _metals(design: Design, graph: LinkGraph, grid: Grid) -> RingMetals:
    pattern = design.metal_pattern
    of_size = dict(design.size_metals)
    each = [of_size.get(member.size.name, design.metal) for member in graph.members]
    if pattern is not None:
        # A pattern is one of rings: findings among them keep their own metal, or the design's.
        patterned = zip(graph.members, pattern.index(*grid).tolist(), each, strict=True)
        each = [
            own if isinstance(member.size, Finding) else pattern.metals[index]
            for member, index, own in patterned
        ]
    used = tuple(dict.fromkeys(each))
    number = {metal: k for k, metal in enumerate(used)}
    return RingMetals(used, np.array([number[metal] for metal in each], dtype=np.int64))
