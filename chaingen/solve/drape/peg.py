"""Where a peg goes through the end of a piece, so that it can hang there."""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import minimize

from chaingen.findings.finding import eye_normal
from chaingen.geometry.bodies import Bodies, axes_across, wire_points
from chaingen.geometry.shapes import Closure, Eye
from chaingen.geometry.types import Floats, Ints
from chaingen.weave.graph import LinkGraph

NODES = 96
"""Points of each ring that the peg's room is measured at while it is looked for."""

LEAST_ROOM = 0.1
"""A peg through all rings of a group needs this part of the thinnest wire's radius as room; with less it goes
through one ring."""

LEAST_SLOPE = 1e-6
"""A line in the plane of a ring counts as this steep against it: it meets that plane far away."""

FILLED = 0.7
"""Part of the room that the peg fills at the start."""


@dataclass(frozen=True, eq=False)
class Peg:
    """A round peg through rings.

    Attributes:
        point: A point of its axis [mm], shape (3,).
        direction: Unit direction.
        radius: Its radius [mm].
        rings: Indices of the rings it passes through.
    """

    point: Floats
    direction: Floats
    radius: float
    rings: tuple[int, ...]


def _common_axis(normals: Floats) -> Floats:
    """The direction nearest to all normals, whatever their signs."""
    _, vectors = np.linalg.eigh(normals.T @ normals)
    return np.asarray(vectors[:, -1])


def holes_of(bodies: Bodies, group: Ints, graph: LinkGraph | None) -> Bodies:
    """The holes of some bodies as rings: of a ring the ring itself, of a finding an eye that nothing links.

    Args:
        bodies: The piece.
        group: Indices of the bodies.
        graph: The link graph of the piece; None will do where all are rings.
    """
    if bodies.all_rings:
        return bodies[group]
    assert graph is not None
    holes = []
    frames = bodies.frames()
    for k in group.tolist():
        shape = bodies.shape(k)
        if shape is None:
            holes.append((bodies.centres[k], bodies.normals[k], bodies.radii[k], bodies.wire_radii[k]))
            continue
        linked = graph.link_eyes[graph.links == k]
        # A bar has no hole where its mouth is.
        holes_there = [k for k, eye in enumerate(shape.eyes) if eye.closure is not Closure.BAR]
        free = [number for number in holes_there if number not in linked]
        eye = shape.eyes[(free or holes_there)[0]]
        centre, normal = _middle_of(eye)
        at = bodies.centres[k] + centre @ frames[k]
        holes.append((at, normal @ frames[k], 0.5 * eye.inside + eye.wire_radius, eye.wire_radius))
    centres, normals, radii, wires = (np.array(column) for column in zip(*holes, strict=True))
    return Bodies(centres, normals, radii, wires)


def _middle_of(eye: Eye) -> tuple[Floats, Floats]:
    """The middle of the largest circle in an eye and the normal of its plane, in its shape's frame."""
    points = np.array([curve.point(curve.span * part / 64.0) for curve in eye.loop for part in range(64)])
    normal = eye_normal(eye)
    one, two = (v[0] for v in axes_across(normal[None]))
    middle = points.mean(axis=0)
    flat = np.column_stack([(points - middle) @ one, (points - middle) @ two])
    radius = shapely.maximum_inscribed_circle(shapely.make_valid(shapely.Polygon(flat)))
    x, y = shapely.get_coordinates(radius)[0]
    return np.asarray(middle + x * one + y * two), normal


def _through(
    holes: Bodies, points: Floats, wires: Floats, along: Floats | None
) -> tuple[Floats, Floats, float]:
    """The straight line through some holes with the most room: point, direction, room [mm].

    Args:
        holes: The holes, as rings.
        points: Points of all wires near them [mm], shape (m, 3).
        wires: Wire radius at each [mm], shape (m,).
        along: Unit direction that the line must have; None for any.
    """
    start = holes.centres.mean(axis=0)
    axis = _common_axis(holes.normals) if along is None else along
    one, two = (v[0] for v in axes_across(axis[None]))
    size = float(holes.radii.min())

    def line(x: Floats) -> tuple[Floats, Floats]:
        direction = axis + (x[2] * one + x[3] * two if along is None else 0.0)
        return start + size * (x[0] * one + x[1] * two), direction / np.linalg.norm(direction)

    def room(x: Floats) -> float:
        point, direction = line(x)
        away = points - point
        away = away - (away @ direction)[:, None] * direction
        least = float((np.linalg.norm(away, axis=1) - wires).min())
        # A line that misses a disc is worth less the farther it misses.
        slope = holes.normals @ direction
        slope = np.where(np.abs(slope) < LEAST_SLOPE, LEAST_SLOPE, slope)
        along = ((holes.centres - point) * holes.normals).sum(axis=1) / slope
        out = np.linalg.norm(point + along[:, None] * direction - holes.centres, axis=1) - holes.radii
        return least - 10.0 * float(np.maximum(out + holes.wire_radii, 0.0).max())

    best = None
    for side in ((0.0, 0.0), (0.3, 0.0), (0.0, 0.3), (-0.3, 0.0), (0.0, -0.3)):
        guess = np.array([0.0, 0.0, *side] if along is None else side)
        found = minimize(
            lambda x: -room(x), guess, method="Nelder-Mead",
            options={"maxiter": 400, "xatol": 1e-4, "fatol": 1e-5},
        )  # fmt: skip
        if best is None or found.fun < best.fun - 1e-6:
            best = found
        if FILLED * -best.fun >= float(holes.wire_radii.min()):
            # The peg is no thicker than the wire: more room is of no use.
            break
    assert best is not None
    point, direction = line(best.x)
    return point, direction, -float(best.fun)


def room_along(rings: Bodies, point: Floats, direction: Floats) -> float:
    """Least distance of a straight line from all wires [mm].

    Args:
        rings: The rings.
        point: A point of the line [mm], shape (3,).
        direction: Its unit direction.
    """
    near = np.linalg.norm(rings.centres - point, axis=1) < 6.0 * float((rings.radii + rings.wire_radii).max())
    points, wires, _ = wire_points(rings[np.flatnonzero(near)], NODES)
    away = points - point
    away = away - (away @ direction)[:, None] * direction
    return float((np.linalg.norm(away, axis=1) - wires).min())


def peg_through(
    rings: Bodies, group: Ints, along: Floats | None = None, *, graph: LinkGraph | None = None
) -> Peg | None:
    """A peg through all rings of a group, or through the one with the most room; or through a finding's eye.

    Args:
        rings: The piece.
        group: Indices of the group's bodies.
        along: Unit direction that the peg must have; None for any.
        graph: The link graph of the piece; None will do where all are rings.

    Returns:
        None when no peg goes through any of them.
    """
    thinnest = float(rings.thinnest.min())
    middle = rings.centres[group].mean(axis=0)
    reach = 4.0 * float((rings.radii + rings.wire_radii).max())
    near = np.flatnonzero(np.linalg.norm(rings.centres - middle, axis=1) < reach)
    points, wires, _ = wire_points(rings[near], NODES)
    own = np.sort(group)
    tries = [own] if len(own) == 1 else [own, *(own[k : k + 1] for k in range(len(own)))]
    best: tuple[float, Peg] | None = None
    for chosen in tries:
        point, direction, room = _through(holes_of(rings, chosen, graph), points, wires, along)
        # Which side the direction points to means nothing; the same piece shall give the same sign.
        direction = direction * np.sign(direction[np.argmax(np.abs(direction))])
        found = Peg(point, direction, min(thinnest, FILLED * room), tuple(int(k) for k in chosen))
        if len(chosen) == len(own) and room > LEAST_ROOM * thinnest:
            return found
        if best is None or room > best[0] + 1e-6:
            best = room, found
    return best[1] if best is not None and best[0] > LEAST_ROOM**2 * thinnest else None
