"""Soldered contacts: rods of metal that make two bodies one where they come nearest.

A weld runs from centreline to centreline, so that it is a fillet where wires touch and a bridge where there
is a gap between them. Its ends lie inside the wires.
"""

from dataclasses import dataclass

import manifold3d
import numpy as np

from chaingen.design.service import Service
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.types import Floats, Ints
from chaingen.model.mesh import segment_counts
from chaingen.model.solids import Solid, placed
from chaingen.prepare.clusters import clusters_of
from chaingen.prepare.loose import CannotPrepare
from chaingen.prepare.reach import Curves, gap_of_curves, straight_row, wire_at
from chaingen.units import format_mm
from chaingen.weave.graph import LinkGraph

THICK = 0.85
"""Radius of a weld over that of the thinner wire: its rim stays inside both wires, and its section of 0.72 is
enough to feed one through the other."""

NO_LENGTH = 1e-6
"""Length under which a weld is no rod [mm]: the centrelines meet, and a ball there joins them."""


class TooFar(CannotPrepare):
    """Two bodies are too far apart to be soldered.

    Attributes:
        pair: Indices of the two.
    """

    def __init__(self, text: str, pair: tuple[int, int]) -> None:
        super().__init__(text)
        self.pair = pair


@dataclass(frozen=True, eq=False)
class Weld:
    """A rod that joins two bodies.

    Attributes:
        pair: Indices of the two bodies, the smaller first.
        begin: Point of the first body's centreline [mm], shape (3,).
        end: Point of the second's [mm], shape (3,).
        radius: Radius of the rod [mm].
        gap: Gap of the two wires there [mm].
        touched: Indices of other bodies that it touches, each of which is one with the pair then.
    """

    pair: tuple[int, int]
    begin: Floats
    end: Floats
    radius: float
    gap: float
    touched: tuple[int, ...] = ()

    @property
    def length(self) -> float:
        """Length of the rod from centreline to centreline [mm]."""
        return float(np.linalg.norm(self.end - self.begin))

    def row(self) -> Floats:
        """The rod as a straight wire with round ends; columns as in `shapes`."""
        return straight_row(self.begin, self.end, self.radius)


@dataclass(frozen=True, eq=False)
class Welds:
    """All welds of a piece.

    Attributes:
        rods: One for each pair.
    """

    rods: tuple[Weld, ...] = ()

    @property
    def pairs(self) -> Ints:
        """Indices of the two bodies of each, shape (m, 2)."""
        return np.array([rod.pair for rod in self.rods], dtype=np.int64).reshape(-1, 2)

    def cluster_of(self, count: int) -> Ints:
        """For each of `count` bodies the number of its cluster; see `clusters_of`, shape (count,)."""
        return clusters_of(count, self.pairs)

    def clusters(self, count: int) -> tuple[tuple[int, ...], ...]:
        """Which of `count` bodies are one: indices of each cluster, in the order of their first."""
        found: dict[int, list[int]] = {}
        for body, cluster in enumerate(self.cluster_of(count).tolist()):
            found.setdefault(cluster, []).append(body)
        return tuple(tuple(found[cluster]) for cluster in sorted(found))


def welds_of(bodies: Bodies, graph: LinkGraph, service: Service) -> Welds:
    """The welds that a service is asked for, of bodies as cast; raises as `weld_pairs` and `welds` do."""
    return Welds(welds(bodies, weld_pairs(graph, service), graph.names))


def weld_pairs(graph: LinkGraph, service: Service) -> Ints:
    """Which bodies of a piece are soldered to one another.

    Args:
        graph: The bodies by name.
        service: The service, with the pairs by name.

    Returns:
        Index pairs with the smaller index first, each once, sorted, shape (m, 2).

    Raises:
        CannotPrepare: If the piece has no body of such a name.
    """
    place = {name: index for index, name in enumerate(graph.names)}
    pairs = set()
    for names in service.soldered:
        for name in names:
            if name not in place:
                raise CannotPrepare(f"{names[0]} and {names[1]} cannot be soldered: there is no {name}")
        first, second = sorted(place[name] for name in names)
        if first == second:
            raise CannotPrepare(f"{names[0]} cannot be soldered to itself")
        pairs.add((first, second))
    return np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2)


def welds(bodies: Bodies, pairs: Ints, names: tuple[str, ...]) -> tuple[Weld, ...]:
    """The weld of each pair, at the place where the two come nearest; of several as near the first found.

    Args:
        bodies: The bodies as cast.
        pairs: Indices of the two bodies of each pair, shape (m, 2).
        names: The names of all bodies.

    Raises:
        TooFar: If the gap of a pair is wider than the thinner of the two wires.
    """
    if not len(pairs):
        return ()
    curves = Curves.of(bodies)
    gaps, points = smallest_gaps(bodies, pairs)
    found = []
    for (a, b), gap, (begin, end) in zip(pairs.tolist(), gaps.tolist(), points, strict=True):
        thinner = min(wire_at(curves, a, begin), wire_at(curves, b, end))
        if gap > 2.0 * thinner:
            raise TooFar(
                f"{names[a]} and {names[b]} are {format_mm(gap)} apart: too far to solder,"
                f" for their wire is {format_mm(2.0 * thinner)}",
                (a, b),
            )
        weld = Weld((a, b), begin.copy(), end.copy(), THICK * thinner, gap)
        touched = _touched(bodies, curves, weld)
        found.append(Weld(weld.pair, weld.begin, weld.end, weld.radius, weld.gap, touched))
    return tuple(found)


def _touched(bodies: Bodies, curves: Curves, weld: Weld) -> tuple[int, ...]:
    """Bodies beside its own pair that a weld touches."""
    row = weld.row()[None]
    middle = 0.5 * (weld.begin + weld.end)
    reach = bodies.radii + bodies.wire_radii + 0.5 * weld.length + weld.radius
    near = np.flatnonzero(np.linalg.norm(bodies.centres - middle, axis=1) < reach)
    return tuple(
        body
        for body in near.tolist()
        if body not in weld.pair and gap_of_curves(row, curves.rows[curves.slice_of(body)]) <= 0.0
    )


def weld_solid(weld: Weld, tolerance: float) -> Solid:
    """The rod of a weld.

    Args:
        weld: The weld.
        tolerance: Farthest that its facets may lie from the true rod [mm].
    """
    _, across = segment_counts(weld.radius, weld.radius, tolerance)
    length = weld.length
    if length < NO_LENGTH:
        ball = manifold3d.Manifold.sphere(weld.radius, across)
        return ball.translate(weld.begin)
    axis = (weld.end - weld.begin) / length
    stand = manifold3d.Manifold.cylinder(length, weld.radius, weld.radius, across)
    first = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    first /= np.linalg.norm(first)
    return placed(stand, np.column_stack([first, np.cross(axis, first), axis]), weld.begin)
