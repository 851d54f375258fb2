"""Outlines that a sheet is cut to: whole rings within them are kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import pi

import numpy as np
import numpy.typing as npt
import shapely
import shapely.affinity

from chaingen.geometry.bodies import Bodies, centreline_points
from chaingen.geometry.types import Floats

ARC_POINTS = 256
"""Corners of the polygon that stands for a curved outline."""

ALIKE = 0.01
"""Halves of an outline are alike when they differ by less than this part of its area."""

NODES = 48
"""Points of a ring that are tried against an outline."""


class OutlineKind(StrEnum):
    """The shape of an outline."""

    CIRCLE = "circle"
    DROP = "drop"
    POLYGON = "polygon"


@dataclass(frozen=True, slots=True)
class Outline:
    """A closed line without crossings.

    Attributes:
        kind: Its shape.
        points: Corners [mm], in order, without the first again; y points up.
    """

    kind: OutlineKind
    points: tuple[tuple[float, float], ...]

    def polygon(self) -> shapely.Polygon:
        """The outline for shapely."""
        return shapely.Polygon(self.points)


def circle(diameter: float) -> Outline:
    """A circle about the origin, from its diameter [mm]."""
    return _outline(OutlineKind.CIRCLE, 0.5 * diameter * _round(ARC_POINTS))


def drop(width: float, height: float) -> Outline:
    """A drop with its tip up: a round below, two straight sides that touch it.

    Args:
        width: Width of the round [mm].
        height: From the foot of the round to the tip [mm]; more than the width.
    """
    radius = 0.5 * width
    # From the tip a distance h above the round's centre the sides touch it at an angle asin(r/h) off.
    tip = height - radius
    touch = np.arcsin(radius / tip)
    angles = np.linspace(touch, -pi - touch, ARC_POINTS + 1)
    arc = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    points = np.concatenate([[[0.0, tip]], arc])
    points[:, 1] -= 0.5 * (tip - radius)
    return _outline(OutlineKind.DROP, points)


def polygon(points: Floats) -> Outline:
    """A polygon from its corners [mm], shape (n, 2)."""
    return _outline(OutlineKind.POLYGON, np.asarray(points))


def _round(count: int) -> Floats:
    angles = 2.0 * pi * np.arange(count) / count
    return np.column_stack([np.cos(angles), np.sin(angles)])


def _outline(kind: OutlineKind, points: Floats) -> Outline:
    return Outline(kind, tuple((float(x), float(y)) for x, y in points))


def meeting_sides(points: Sequence[tuple[float, float]]) -> str:
    """In words, two sides of a polygon that cross or touch other than at a corner they share.

    Args:
        points: Corners [mm] in order.

    Returns:
        The sides by their corners, counted from 1, and the place; empty when none do.
    """
    corners = len(points)
    # A side without a length, between a corner and its repetition, meets only what its neighbours meet.
    sides = [(k, (k + 1) % corners) for k in range(corners) if points[k] != points[(k + 1) % corners]]
    lines = [shapely.LineString([points[k] for k in side]) for side in sides]
    one, other = shapely.STRtree(lines).query(lines, predicate="intersects")
    for a, b in sorted(zip(one.tolist(), other.tolist(), strict=True)):
        if a >= b:
            continue
        meeting = lines[a].intersection(lines[b])
        neighbours = b - a == 1 or (a == 0 and b == len(sides) - 1)
        if neighbours and meeting.geom_type == "Point":
            continue
        (i, j), (k, m) = sides[a], sides[b]
        place = meeting.interpolate(0.5, normalized=True) if meeting.geom_type == "LineString" else meeting
        return (
            f"the side from corner {i + 1} to {j + 1} meets that from {k + 1} to {m + 1} "
            f"at ({place.x:.4g}, {place.y:.4g}) mm"
        )
    return ""


def is_even(outline: Outline) -> bool:
    """Whether the left half of an outline is the mirror image of the right one."""
    shape = outline.polygon()
    flipped = shapely.affinity.scale(shape, -1.0, 1.0, origin="centroid")
    return bool(shape.symmetric_difference(flipped).area < ALIKE * shape.area)


def near(outline: Outline, rings: Bodies, shifts: Floats, origin: Floats) -> npt.NDArray[np.bool_]:
    """Which copies of some rings may have any within an outline.

    Args:
        outline: The outline.
        rings: The rings of one copy.
        shifts: Where the copies lie [mm], shape (k, 2).
        origin: Where the outline's origin lies [mm], shape (2,).

    Returns:
        Booleans, shape (k,).
    """
    room = outline.polygon().buffer(float(rings.radii.max()))
    shapely.prepare(room)
    points = rings.centres[None, :, :2] + shifts[:, None] - origin
    hit = shapely.contains_xy(room, points[..., 0].ravel(), points[..., 1].ravel())
    return np.asarray(hit.reshape(len(shifts), -1).any(axis=1))


def within(outline: Outline, rings: Bodies, shift: Floats) -> npt.NDArray[np.bool_]:
    """Which rings lie wholly within an outline when seen along z.

    Args:
        outline: The outline.
        rings: The rings.
        shift: Where the outline's origin lies [mm], shape (2,).

    Returns:
        Booleans, shape (n,).
    """
    inside = np.ones(len(rings), dtype=bool)
    points = centreline_points(rings, NODES)[:, :, :2] - shift
    for wire in np.unique(rings.wire_radii):
        room = outline.polygon().buffer(-float(wire))
        own = np.flatnonzero(rings.wire_radii == wire)
        flat = points[own].reshape(-1, 2)
        hit = shapely.contains_xy(room, flat[:, 0], flat[:, 1])
        inside[own] = hit.reshape(len(own), NODES).all(axis=1)
    return inside
