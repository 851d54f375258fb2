"""Open rings: a round wire bent to one turn that is not closed, as rings are cast to be closed by hand.

The middle of the wire is a circular helix about z: a circle when the ends are not opened. The cut is in the
direction of -y and the middle of the wire's length in that of +y, halfway up at z = 0; seen from +z the wire
rises as it runs anticlockwise. A half turn about y maps the ring onto itself, one end onto the other. Every
section is square to the wire, the ends with them, so that a closed ring meets butt to butt.

Bending keeps the length of the middle of the wire (common practice for wire this thick), and a closed ring of
inside diameter d and wire w takes pi (d + w) of it. That is the length here, and the open radius follows.
"""

from dataclasses import dataclass
from math import ceil, cos, pi, sin, sqrt

import numpy as np
from scipy.optimize import brentq

from chaingen.geometry.types import Floats
from chaingen.model.mesh import TOLERANCE, Mesh, grid_faces, mesh_of, segment_counts, torus_mesh
from chaingen.weave.groups import RingSize

MOST_CUT, MOST_OPENED = 1.0 / 2.0, 1.0 / 3.0
"""Cut and opening may take up to these parts of the wire's length: what is opened wider is no ring, and turns
of so steep a coil are no nearer to one another than its ends."""

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Coil:
    """The middle of the wire of an open ring: (radius cos a, radius sin a, rise t), a = pi/2 + t.

    Attributes:
        radius: Distance of the middle of the wire from the axis [mm].
        half: Half of the angle that the wire goes round [rad]; t runs from its negative to it.
        rise: How far it rises for each radian [mm].
        wire_radius: Wire radius [mm].
    """

    radius: float
    half: float
    rise: float
    wire_radius: float

    @property
    def slope(self) -> tuple[float, float]:
        """Cosine and sine of the wire's angle with the plane of the ring."""
        length = sqrt(self.radius**2 + self.rise**2)
        return self.radius / length, self.rise / length

    def sections(self, t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Sections at angles `t` from the middle of the wire [rad], shape (s,).

        Returns:
            Their middles [mm], directions of the wire, first axes, outwards, and second axes, towards +z as
            far as they can, shape (s, 3) each.
        """
        level, up = self.slope
        c, s, one = -np.sin(t), np.cos(t), np.ones_like(t)
        return (
            np.column_stack([self.radius * c, self.radius * s, self.rise * t]),
            np.column_stack([-level * s, level * c, up * one]),
            np.column_stack([c, s, 0.0 * one]),
            np.column_stack([up * s, -up * c, level * one]),
        )


def wire_length(size: RingSize) -> float:
    """Length of a ring's wire along its middle [mm], open or closed."""
    return pi * (size.inside_diameter + size.wire_diameter)


def can_open(size: RingSize, cut: float, opened: float) -> bool:
    """Whether a ring can be opened so: its ends stand clear of one another, and it still is a ring.

    Args:
        size: The ring size, closed.
        cut: Width of the cut [mm]; see `coil_of`.
        opened: How far the ends stand apart along the axis [mm].
    """
    length = wire_length(size)
    if not (0.0 <= cut <= MOST_CUT * length and 0.0 <= opened <= MOST_OPENED * length):
        return False
    return cut == opened == 0.0 or narrowest_cut(size, cut, opened) > 0.0


def coil_of(size: RingSize, cut: float, opened: float) -> Coil:
    """The middle of the wire of an open ring.

    Args:
        size: The ring size, closed.
        cut: Length missing along the middle of the wire [mm], as seen along the axis.
        opened: How far the middles of the ends stand apart along the axis [mm].
    """
    length = wire_length(size)
    assert 0.0 <= cut <= MOST_CUT * length, "a cut as wide as half of the ring"
    assert 0.0 <= opened <= MOST_OPENED * length, "a ring pulled out to a coil"
    # Unrolled, wire and axis span a right triangle: its base is what is seen along the axis.
    base = sqrt(length**2 - opened**2)
    radius = (base + cut) / (2.0 * pi)
    half = 0.5 * base / radius
    return Coil(radius, half, 0.5 * opened / half, size.wire_radius)


def open_radius(size: RingSize, cut: float, opened: float) -> float:
    """Radius of the middle of the wire of an open ring about its axis [mm]; see `coil_of`."""
    return coil_of(size, cut, opened).radius


def open_ring_extent(size: RingSize, cut: float, opened: float) -> tuple[Point, Point]:
    """The box round an open ring in its own frame: lowest and highest x, y and z [mm]; see `coil_of`."""
    coil = coil_of(size, cut, opened)
    level, up = coil.slope
    outside = coil.radius + coil.wire_radius
    high = 0.5 * opened + coil.wire_radius * level
    low_y = -outside
    if cut > 0.0:
        # The lowest point is on the rim of an end, which a section of the torus below it would pass.
        beside = pi - coil.half
        reach = sqrt(cos(beside) ** 2 + (up * sin(beside)) ** 2)
        low_y = -(coil.radius * cos(beside) + coil.wire_radius * reach)
    return (-outside, low_y, -high), (outside, outside, high)


def narrowest_cut(size: RingSize, cut: float, opened: float) -> float:
    """How near the two ends of an open ring come to one another [mm]; 0 where they run into one another.

    Without an opening it is at the inside, 2 (radius - wire radius) sin(cut / (2 radius)). Ends that are so
    far opened, and cut so little, that they pass one another are measured side by side too.

    Args:
        size: The ring size, closed.
        cut: Width of the cut [mm]; see `coil_of`.
        opened: How far the ends stand apart along the axis [mm].
    """
    coil = coil_of(size, cut, opened)
    # Flat ends are convex, and the half turn about y maps one onto the other: so the nearest two points may
    # be taken as images of one another, and their distance is twice that of an end from the y axis.
    middles, _, outs, ups = coil.sections(np.array([coil.half]))
    across = [0, 2]
    frame = np.column_stack([outs[0], ups[0]])[across]
    between = 2.0 * _nearest_in_disc(frame, middles[0][across], coil.wire_radius)
    return max(0.0, min(between, _beside(coil)))


def _nearest_in_disc(frame: Floats, start: Floats, radius: float) -> float:
    """The least length of `start + frame @ a` over all a of length up to `radius`."""
    values, axes = np.linalg.eigh(frame.T @ frame)
    pull = -axes.T @ (frame.T @ start)

    def longer(hold: float) -> float:
        return float(np.sqrt(((pull / (values + hold)) ** 2).sum())) - radius

    # Ends whose planes hold the y axis have one direction in which nothing changes: a little hold settles it.
    least = 1e-12 * float(values.max())
    hold = least
    if longer(least) > 0.0:
        most = 2.0 * float(np.linalg.norm(pull)) / radius
        hold = float(brentq(longer, least, most, xtol=1e-15, rtol=1e-14))
    return float(np.linalg.norm(start + frame @ (axes @ (pull / (values + hold)))))


def _beside(coil: Coil) -> float:
    """Gap between the wire near one end and the wire near the other [mm] where they pass; else infinite."""
    squared_rise, squared_radius = coil.rise**2, coil.radius**2

    def slope(turn: float) -> float:
        return squared_radius * sin(turn) + squared_rise * turn

    # Two points of a helix a turn apart are nearest a little before a full turn: where the ends do not pass,
    # beyond them. Of coils that are not too steep the search starts where points still come nearer.
    if slope(2.0 * coil.half) < 0.0:
        return float("inf")
    turn = float(brentq(slope, 1.4 * pi, 2.0 * coil.half, xtol=1e-14))
    apart = sqrt(2.0 * squared_radius * (1.0 - cos(turn)) + squared_rise * turn**2)
    return apart - 2.0 * coil.wire_radius


def open_ring_mesh(size: RingSize, *, cut: float, opened: float, tolerance: float = TOLERANCE) -> Mesh:
    """The mesh of an open ring in its own frame; the closed ring for no cut and no opening.

    Vertices round an end are shared by wire and end, and carry the normal of the wire.

    Args:
        size: The ring size, closed.
        cut: Width of the cut [mm]; see `coil_of`.
        opened: How far the ends stand apart along the axis [mm].
        tolerance: Farthest any point of the mesh may lie from the true surface [mm].
    """
    if cut == opened == 0.0:
        return torus_mesh(size.radius, size.wire_radius, tolerance)
    coil = coil_of(size, cut, opened)
    around, across = segment_counts(coil.radius, coil.wire_radius, tolerance)
    # Points of a section run on helices about the axis, of which the widest bends as the ring's outside does.
    steps = ceil(coil.half / pi * around - 1e-9)
    middles, along, outs, ups = coil.sections(coil.half * np.linspace(-1.0, 1.0, steps + 1))
    p = 2.0 * pi * np.arange(across) / across
    normals = np.cos(p)[:, None] * outs[:, None] + np.sin(p)[:, None] * ups[:, None]
    tube = (middles[:, None] + coil.wire_radius * normals).reshape(-1, 3)
    column = np.arange(across)
    beside, last = (column + 1) % across, steps * across
    begin, end = np.full(across, len(tube)), np.full(across, len(tube) + 1)
    faces = np.concatenate(
        [
            grid_faces(steps + 1, across, closed=False),
            np.column_stack([begin, column, beside]),
            np.column_stack([last + column, end, last + beside]),
        ]
    )
    return mesh_of(
        np.concatenate([tube, middles[[0, -1]]]),
        np.concatenate([normals.reshape(-1, 3), -along[:1], along[-1:]]),
        faces,
    )
