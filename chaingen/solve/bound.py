"""Proofs that a design cannot be made, whatever the poses, and the room that holes leave for threading."""

from dataclasses import dataclass
from functools import lru_cache
from math import pi

import numpy as np
import shapely

from chaingen.findings.finding import Finding, eye_normal
from chaingen.geometry.bodies import axes_across
from chaingen.geometry.centrelines import Arc
from chaingen.geometry.packing import enclosing_bound, enclosing_radius
from chaingen.geometry.shapes import MOST_EYES, Eye
from chaingen.geometry.types import Floats
from chaingen.weave.graph import LinkGraph

FLAT = 1e-6
"""An eye is a plane figure when none of its line is farther from a plane than this part of its size."""

POINTS = 256
"""Points that each curve of an eye is seen by."""

BULGE = 0.5 * (pi / POINTS) ** 2
"""Part of its radius by which an arc of a turn bulges out between these points."""

ROUND = 1.1
"""An eye is round when the circle round it is at most so much wider than the circle in it."""


@dataclass(frozen=True, slots=True)
class HoleProof:
    """A hole that cannot hold the wires that must pass it.

    Attributes:
        ring: Index of the ring.
        wires: How many wires pass through it.
        hole: Its inside diameter less the clearance due on all sides [mm].
        needed: Least diameter that holds the wires [mm]; proven.
    """

    ring: int
    wires: int
    hole: float
    needed: float


@dataclass(frozen=True, slots=True)
class Threading:
    """What is left of a hole when the last ring is led through it.

    Attributes:
        ring: Index of a ring with this hole.
        wires: How many wires pass through it once the piece is finished.
        margin: Inside diameter, less the smallest circle that holds all these wires, less the bow of the wire
            that is led through last [mm]; negative when the last wire cannot pass.
    """

    ring: int
    wires: int
    margin: float


@dataclass(frozen=True, slots=True)
class _Hole:
    """A kind of hole.

    Attributes:
        around: Inside diameter that it would have if it were the circle round it [mm]: no less than its own.
        within: Diameter of the largest circle in it [mm].
        wire: Radius of the wire round it [mm].
        wires: Radii of the wires through it [mm], largest first.
    """

    around: float
    within: float
    wire: float
    wires: tuple[float, ...]

    @property
    def is_round(self) -> bool:
        """Whether the two circles are about the same, so that wires find room in one as in the other."""
        return self.around < ROUND * self.within


def _holes(graph: LinkGraph) -> dict[_Hole, tuple[int, tuple[int, ...]]]:
    """Each kind of hole once, with the first body that has it and the bodies through that."""
    if not len(graph.links):
        return {}
    nodes = (graph.links * MOST_EYES + graph.link_eyes).ravel()
    order = np.argsort(nodes, kind="stable")
    mates = graph.links[:, ::-1].ravel()[order]
    passing = _passing_wires(graph)[:, ::-1].ravel()[order]
    which, begins = np.unique(nodes[order], return_index=True)
    holes: dict[_Hole, tuple[int, tuple[int, ...]]] = {}
    splits = np.split(mates, begins[1:]), np.split(passing, begins[1:])
    for node, through, thick in zip(which.tolist(), *splits, strict=True):
        wires = tuple(sorted(thick.round(9).tolist(), reverse=True))
        body, eye = divmod(node, MOST_EYES)
        hole = _hole(graph, body, eye, wires)
        if hole is not None:
            holes.setdefault(hole, (body, tuple(through.tolist())))
    return holes


def _hole(graph: LinkGraph, body: int, eye: int, wires: tuple[float, ...]) -> _Hole | None:
    """An eye of a body as a hole; None of one that is open, or bent out of its plane."""
    size = graph.members[body].size
    if not isinstance(size, Finding):
        inside = 2.0 * float(graph.radii[body] - graph.wire_radii[body])
        return _Hole(inside, inside, float(graph.wire_radii[body]), wires)
    own = size.shape.eyes[eye]
    radius = _circle_round(own)
    if radius is None:
        return None
    return _Hole(2.0 * (radius - own.wire_radius), own.inside, own.wire_radius, wires)


@lru_cache(maxsize=256)
def _circle_round(eye: Eye) -> float | None:
    """Radius of the smallest circle round an eye [mm]; None where it is open, or no plane figure.

    What lies in the eye clear of its wire lies as clear of that circle: from its middle, the eye's line
    comes before the circle.
    """
    if len(eye.loop) == 1:
        (whole,) = eye.loop
        return whole.radius if isinstance(whole, Arc) else None
    points = np.array([curve.point(curve.span * k / POINTS) for curve in eye.loop for k in range(POINTS)])
    normal = eye_normal(eye)
    off = (points - points.mean(axis=0)) @ normal
    if eye.opening > 0.0 or np.abs(off).max() > FLAT * np.abs(points - points.mean(axis=0)).max():
        return None
    one, two = (v[0] for v in axes_across(normal[None]))
    flat = shapely.MultiPoint(np.column_stack([points @ one, points @ two]))
    # Between the points an arc may bulge out by a little.
    return float(shapely.minimum_bounding_radius(flat)) * (1.0 + BULGE)


def _passing_wires(graph: LinkGraph) -> Floats:
    """Radius of either body's wire where it passes the other, of each link [mm], shape (m, 2)."""
    wires = graph.wire_radii[graph.links]
    if graph.eyes is not None:
        for k, (ends, eyes) in enumerate(zip(graph.links.tolist(), graph.eyes.tolist(), strict=True)):
            for side in range(2):
                size = graph.members[ends[side]].size
                if isinstance(size, Finding):
                    wires[k, side] = size.shape.eyes[eyes[side]].wire_radius
    return np.asarray(wires)


def hole_proof(graph: LinkGraph, clearance: float) -> HoleProof | None:
    """The worst hole that provably cannot hold its wires, if any.

    Wires that must stay `clearance` apart are discs thicker by half of it, in a hole wider by half of it
    less.

    Args:
        graph: The link graph of the piece (or cell).
        clearance: Gap asked between wires [mm].
    """
    worst: HoleProof | None = None
    for at, (ring, _) in _holes(graph).items():
        # Discs of r + c/2 must lie within the hole's radius less c/2.
        needed = 2.0 * enclosing_bound(np.array(at.wires) + 0.5 * clearance)
        hole = at.around - clearance
        short = needed - hole
        if short > 1e-9 and (worst is None or short > worst.needed - worst.hole):
            worst = HoleProof(ring, len(at.wires), hole, needed)
    return worst


def threading(graph: LinkGraph) -> Threading | None:
    """The hole with the least room for the last wire, or None when no ring is linked.

    While the wires already there can be pushed aside, the open ring led through last is curved: over the
    thickness w of the ring that it passes, wire bent to radius R bows by w^2 / (8 R) (sagitta of a circular
    arc), which is taken from the room.
    """
    least: Threading | None = None
    # A finding's wire is straight or bent wider where it matters least: its eye is what is led through.
    bends = np.array(
        [m.size.shape.eye_radius if isinstance(m.size, Finding) else m.size.radius for m in graph.members]
    )
    for hole, (ring, through) in _holes(graph).items():
        if not hole.is_round:
            continue
        tightest_bend = float(bends[list(through)].min())
        bow = (2.0 * hole.wire) ** 2 / (8.0 * tightest_bend)
        margin = hole.within - 2.0 * enclosing_radius(np.array(hole.wires)) - bow
        if least is None or margin < least.margin:
            least = Threading(ring, len(hole.wires), margin)
    return least
