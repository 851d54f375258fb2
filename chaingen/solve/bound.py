"""Proofs that a design cannot be made, whatever the poses, and the room that holes leave for threading."""

from dataclasses import dataclass

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.packing import enclosing_bound, enclosing_radius
from chaingen.geometry.types import Floats
from chaingen.weave.graph import LinkGraph


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


def _holes(graph: LinkGraph) -> dict[tuple[float, float, tuple[float, ...]], tuple[int, tuple[int, ...]]]:
    """Each kind of hole once, with the first ring that has it and the rings through that.

    A kind is a ring's radius and wire radius and the radii of the wires through it.
    """
    order = np.argsort(graph.links.ravel(), kind="stable")
    mates = graph.links[:, ::-1].ravel()[order]
    passing = _passing_wires(graph)[:, ::-1].ravel()[order]
    ends = np.cumsum(graph.degrees)[:-1]
    holes: dict[tuple[float, float, tuple[float, ...]], tuple[int, tuple[int, ...]]] = {}
    for ring, (through, thick) in enumerate(zip(np.split(mates, ends), np.split(passing, ends), strict=True)):
        wires = tuple(sorted(thick.round(9).tolist(), reverse=True))
        # The eyes of a finding are no round holes, mostly: nothing is proved of them.
        if wires and not isinstance(graph.members[ring].size, Finding):
            key = (float(graph.radii[ring]), float(graph.wire_radii[ring]), wires)
            holes.setdefault(key, (ring, tuple(through.tolist())))
    return holes


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
    for (radius, wire, wires), (ring, _) in _holes(graph).items():
        # Discs of r + c/2 must lie within the hole's radius less c/2.
        needed = 2.0 * enclosing_bound(np.array(wires) + 0.5 * clearance)
        hole = 2.0 * (radius - wire) - clearance
        short = needed - hole
        if short > 1e-9 and (worst is None or short > worst.needed - worst.hole):
            worst = HoleProof(ring, len(wires), hole, needed)
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
    for (radius, wire, wires), (ring, through) in _holes(graph).items():
        tightest_bend = float(bends[list(through)].min())
        bow = (2.0 * wire) ** 2 / (8.0 * tightest_bend)
        margin = 2.0 * (radius - wire) - 2.0 * enclosing_radius(np.array(wires)) - bow
        if least is None or margin < least.margin:
            least = Threading(ring, len(wires), margin)
    return least
