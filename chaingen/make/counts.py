"""Rings counted and weighed, by size and metal; findings are in `finding_counts`.

Weights are of closed, solid rings of round wire: nothing is taken off for the saw's cut where a ring closes,
or added for solder.
"""

from collections import Counter
from dataclasses import dataclass
from math import pi

import numpy as np

from chaingen.make.grid import cell_rings
from chaingen.make.metals import RingMetals
from chaingen.stock.metals import Metal
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import RingSize
from chaingen.weave.pieces import Sheet


@dataclass(frozen=True, slots=True)
class RingCount:
    """How many rings of one size and metal a piece takes.

    Attributes:
        size: The ring size.
        metal: The metal.
        count: How many.
        weight: What they weigh together, as closed, solid rings [g].
    """

    size: RingSize
    metal: Metal
    count: int
    weight: float


def ring_weight(size: RingSize, metal: Metal) -> float:
    """Weight of a closed, solid ring of round wire [g].

    Its volume is 2 pi^2 R r^2: by the theorem of Pappus the section, pi r^2, times the way of its middle,
    2 pi R.
    """
    volume = 2.0 * pi**2 * size.radius * size.wire_radius**2
    return volume * metal.density / 1000.0


def ring_counts(graph: LinkGraph, metals: RingMetals, pieces: int = 1) -> tuple[RingCount, ...]:
    """Rings of each size and metal, in order of first use.

    Args:
        graph: The link graph of a piece.
        metals: The metals of its rings.
        pieces: How many such pieces are made.
    """
    sizes = (member.size for member in graph.members)
    kinds = Counter(
        (size, index)
        for size, index in zip(sizes, metals.of_ring.tolist(), strict=True)
        if isinstance(size, RingSize)
    )
    counts = []
    for (size, index), each in kinds.items():
        metal, count = metals.metals[index], each * pieces
        counts.append(RingCount(size, metal, count, count * ring_weight(size, metal)))
    return tuple(counts)


def areal_weight(sheet: Sheet, graph: LinkGraph, metals: RingMetals, cell_area: float) -> float | None:
    """Weight of a sheet per area, far from its edges [g/cm2].

    It is the weight of the rings of one cell over the area of the lattice cell, as placed: a sheet that is
    pulled or hangs has its rings further apart or closer together. Where a pattern of metals makes cells
    unequal, each ring of the cell counts with what it weighs on average over the sheet.

    Args:
        sheet: The sheet.
        graph: Its link graph.
        metals: The metals of its rings.
        cell_area: Area of the lattice cell [mm2].

    Returns:
        The weight per area, or None where an outline leaves no ring of some kind of the cell's.
    """
    kind = cell_rings(sheet.weave, graph)[:, 2]
    each = {
        (size, k): ring_weight(size, metal) for size in sheet.sizes() for k, metal in enumerate(metals.metals)
    }
    of_ring = zip(graph.members, metals.of_ring.tolist(), strict=True)
    weights = np.array(
        [each[member.size, index] for member, index in of_ring if isinstance(member.size, RingSize)]
    )
    counts = np.bincount(kind, minlength=len(sheet.weave.rings))
    if not counts.all():
        return None
    cell = float((np.bincount(kind, weights=weights) / counts).sum())
    return cell / (cell_area / 100.0)
