"""The check: what a set of placed rings and findings is, measured without any knowledge of how it was placed.

Exact gap of every near pair, exact linking of every near pair's eyes against the graph, and the shapes that
links alone do not fix.
"""

from dataclasses import dataclass

import numpy as np

from chaingen.geometry.arrangement import hand, plane_between
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import smallest_gaps, wires_at
from chaingen.geometry.eye_linking import eye_links
from chaingen.geometry.linking import linked
from chaingen.geometry.near import near_pairs
from chaingen.geometry.shapes import MOST_EYES, OPEN_AS_WORN
from chaingen.geometry.types import Floats, Ints
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import GroupKind

ALIKE = 1e-9
"""Gaps that differ by less than this [mm] are alike: the accuracy of the distance kernel."""

ROUND_OFF = 1e-6
"""A gap may be short of the clearance asked by this much [mm] before it counts as a collision: far under any
tolerance of wire."""


@dataclass(frozen=True, slots=True)
class Collision:
    """Two rings that are nearer than the clearance asked.

    Attributes:
        rings: Their indices.
        gap: Gap of their wires [mm]; negative when they overlap.
        place: The middle of the overlap, or of what is left of the gap [mm].
    """

    rings: tuple[int, int]
    gap: float
    place: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Fault:
    """A group that has its links but not its shape.

    Attributes:
        rings: The rings that show it.
        reason: What is wrong, in words.
    """

    rings: tuple[int, ...]
    reason: str


@dataclass(frozen=True, eq=False)
class CheckReport:
    """What the check found.

    Attributes:
        clearance: The gap asked for [mm].
        smallest_gap: Smallest gap of any two rings [mm]; infinite when no two rings are near each other.
        binding_pair: The pair that has it, or None.
        binding_place: The middle of that gap [mm], or None.
        collisions: Every pair nearer than the clearance, worst first.
        missing_links: Pairs that should be linked and are not.
        unwanted_links: Pairs that are linked and should not be.
        faults: Groups whose shape is not the one intended.
        pairs_checked: How many near pairs were measured.
    """

    clearance: float
    smallest_gap: float
    binding_pair: tuple[int, int] | None
    binding_place: tuple[float, float, float] | None
    collisions: tuple[Collision, ...]
    missing_links: tuple[tuple[int, int], ...]
    unwanted_links: tuple[tuple[int, int], ...]
    faults: tuple[Fault, ...]
    pairs_checked: int

    @property
    def links_as_designed(self) -> bool:
        """Whether exactly the links of the graph are there."""
        return not self.missing_links and not self.unwanted_links

    @property
    def sound(self) -> bool:
        """Whether the piece is what was designed: links, shapes and clearance."""
        return self.links_as_designed and not self.faults and not self.collisions


def _keys(links: Ints, eyes: Ints | None, count: int) -> Ints:
    """Links of bodies by eyes as numbers, the lower body first, shape (m,), each once and sorted."""
    if eyes is None:
        low, high = np.minimum(links[:, 0], links[:, 1]), np.maximum(links[:, 0], links[:, 1])
        return np.unique((low * count + high) * MOST_EYES**2)
    back = links[:, 0] > links[:, 1]
    low, high = np.sort(links, axis=1).T
    one, two = np.where(back, eyes[:, 1], eyes[:, 0]), np.where(back, eyes[:, 0], eyes[:, 1])
    return np.unique(((low * count + high) * MOST_EYES + one) * MOST_EYES + two)


def _of_keys(keys: Ints, count: int) -> Ints:
    """Links as body, body, eye and eye, shape (m, 4)."""
    rest, two = np.divmod(keys, MOST_EYES)
    pair, one = np.divmod(rest, MOST_EYES)
    return np.column_stack([*np.divmod(pair, count), one, two])


def _caught(bodies: Bodies, links: Ints) -> Ints:
    """Those of some links in which neither eye is open as it is worn: a wire that lies in a hook is free."""
    if bodies.all_rings:
        return links

    def is_open(body: int, eye: int) -> bool:
        shape = bodies.shape(body)
        return shape is not None and shape.eyes[eye].closure in OPEN_AS_WORN

    rows = [row for row in links.tolist() if not (is_open(row[0], row[2]) or is_open(row[1], row[3]))]
    return np.array(rows, dtype=np.int64).reshape(-1, 4)


def _faults(graph: LinkGraph, rings: Bodies) -> tuple[Fault, ...]:
    apart: list[tuple[int, int]] = []
    faults: list[Fault] = []
    for arrangement in graph.arrangements:
        members = arrangement.rings
        if arrangement.kind is GroupKind.ROSETTE:
            if len(members) > 2 and hand(rings[np.array(members)]) == 0:
                faults.append(Fault(members, "the rings of this rosette do not all turn the same way"))
        else:
            apart += [(a, b) for k, a in enumerate(members) for b in members[k + 1 :]]
    if apart:
        pairs = np.array(apart, dtype=np.int64)
        for a, b in pairs[~plane_between(rings, pairs)].tolist():
            faults.append(Fault((a, b), "these rings cross: no plane passes between them"))
    return tuple(faults)


def _middle(points: Floats, wire_radius: float, gap: float) -> tuple[float, float, float]:
    """The middle of the gap, or of the overlap, of two wires with these nearest centreline points."""
    away = points[1] - points[0]
    distance = float(np.linalg.norm(away))
    x, y, z = (points[0] + away * ((wire_radius + 0.5 * gap) / distance if distance > 0.0 else 0.0)).tolist()
    return x, y, z


def check(graph: LinkGraph, rings: Bodies, *, clearance: float = 0.0) -> CheckReport:
    """Measure placed rings against their link graph.

    Args:
        graph: What should link with what; a finite piece.
        rings: The placed rings, in the graph's order.
        clearance: Gap asked for between any two wires [mm].

    Returns:
        The report; its lists are in order of severity or of index, so that equal input gives equal output.

    Example:
        >>> import numpy as np
        >>> from chaingen import Bodies, check
        >>> from chaingen.weave.graph import row_graph
        >>> from chaingen.weave.groups import Group, GroupKind, RingSize
        >>> ring = Group(GroupKind.SIDE_BY_SIDE, 1, RingSize("link", 4.0, 1.0))
        >>> two = Bodies(
        ...     np.array([[0.0, 0.0, 0.0], [2.5, 0.0, 0.0]]),
        ...     np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]),
        ...     np.full(2, 2.5),
        ...     np.full(2, 0.5),
        ... )
        >>> report = check(row_graph((ring, ring)), two)
        >>> report.links_as_designed, report.smallest_gap
        (True, 1.5)
    """
    assert len(graph) == len(rings)
    assert not graph.periodic
    n = len(rings)
    pairs = near_pairs(rings, margin=max(clearance, 0.0) + float(rings.wire_radii.max()))
    gaps, points = smallest_gaps(rings, pairs)
    if n > 1 and gaps.min(initial=np.inf) > max(clearance, 0.0) + float(rings.wire_radii.max()):
        # No pair is closer than the search reached: reach as far as the closest one found, or everywhere.
        far = float(gaps.min()) if len(gaps) else float(np.linalg.norm(np.ptp(rings.centres, axis=0)))
        pairs = near_pairs(rings, margin=far)
        gaps, points = smallest_gaps(rings, pairs)
    wanted = _keys(graph.links, graph.eyes, n)
    if rings.all_rings:
        joined = _keys(pairs[linked(rings, pairs)], None, n)
    else:
        found = eye_links(rings, pairs)
        joined = _keys(found[:, :2], found[:, 2:], n)
    missing = _of_keys(np.setdiff1d(wanted, joined), n)
    unwanted = _caught(rings, _of_keys(np.setdiff1d(joined, wanted), n))
    collisions: tuple[Collision, ...] = ()
    pair: tuple[int, int] | None = None
    place: tuple[float, float, float] | None = None
    smallest = np.inf
    if len(gaps):
        smallest = float(gaps.min())
        # Of pairs that are alike but for round-off, the first is named.
        worst = int(np.flatnonzero(gaps <= smallest + ALIKE)[0])
        pair = (int(pairs[worst, 0]), int(pairs[worst, 1]))
        bad = np.flatnonzero(gaps < clearance - ROUND_OFF)
        bad = bad[np.argsort(gaps[bad], kind="stable")]
        told = np.concatenate([[worst], bad])
        wires = wires_at(rings, pairs[told, 0], points[told, 0]).tolist()
        place, *places = [
            _middle(points[k], wire, float(gaps[k])) for k, wire in zip(told, wires, strict=True)
        ]
        collisions = tuple(
            Collision((int(pairs[k, 0]), int(pairs[k, 1])), float(gaps[k]), at)
            for k, at in zip(bad, places, strict=True)
        )
    return CheckReport(
        clearance,
        smallest,
        pair,
        place,
        collisions,
        tuple(dict.fromkeys((a, b) for a, b, _, _ in missing.tolist())),
        tuple(dict.fromkeys((a, b) for a, b, _, _ in unwanted.tolist())),
        _faults(graph, rings),
        len(pairs),
    )
