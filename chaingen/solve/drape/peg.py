"""Where a peg goes through the end of a piece, so that it can hang there."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from chaingen.geometry.bodies import Bodies, axes_across, centreline_points
from chaingen.geometry.types import Floats, Ints

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


def _through(rings: Bodies, own: Ints, nodes: Floats, along: Floats | None) -> tuple[Floats, Floats, float]:
    """The straight line through the discs of `own` with the most room: point, direction, room [mm]."""
    start = rings.centres[own].mean(axis=0)
    axis = _common_axis(rings.normals[own]) if along is None else along
    one, two = (v[0] for v in axes_across(axis[None]))
    size = float(rings.radii[own].min())

    def line(x: Floats) -> tuple[Floats, Floats]:
        direction = axis + (x[2] * one + x[3] * two if along is None else 0.0)
        return start + size * (x[0] * one + x[1] * two), direction / np.linalg.norm(direction)

    def room(x: Floats) -> float:
        point, direction = line(x)
        away = nodes - point
        away = away - (away @ direction)[..., None] * direction
        least = float((np.linalg.norm(away, axis=2) - rings.wire_radii[:, None]).min())
        # A line that misses a disc is worth less the farther it misses.
        slope = rings.normals[own] @ direction
        slope = np.where(np.abs(slope) < LEAST_SLOPE, LEAST_SLOPE, slope)
        along = ((rings.centres[own] - point) * rings.normals[own]).sum(axis=1) / slope
        out = (
            np.linalg.norm(point + along[:, None] * direction - rings.centres[own], axis=1) - rings.radii[own]
        )
        return least - 10.0 * float(np.maximum(out + rings.wire_radii[own], 0.0).max())

    best = None
    for side in ((0.0, 0.0), (0.3, 0.0), (0.0, 0.3), (-0.3, 0.0), (0.0, -0.3)):
        guess = np.array([0.0, 0.0, *side] if along is None else side)
        found = minimize(
            lambda x: -room(x), guess, method="Nelder-Mead",
            options={"maxiter": 400, "xatol": 1e-4, "fatol": 1e-5},
        )  # fmt: skip
        if best is None or found.fun < best.fun - 1e-6:
            best = found
        if FILLED * -best.fun >= float(rings.wire_radii.min()):
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
    local = rings[np.flatnonzero(near)]
    away = centreline_points(local, NODES) - point
    away = away - (away @ direction)[..., None] * direction
    return float((np.linalg.norm(away, axis=2) - local.wire_radii[:, None]).min())


def peg_through(rings: Bodies, group: Ints, along: Floats | None = None) -> Peg | None:
    """A peg through all rings of a group, or through the one with the most room.

    Args:
        rings: The piece.
        group: Indices of the group's rings.
        along: Unit direction that the peg must have; None for any.

    Returns:
        None when no peg goes through any of the rings.
    """
    thinnest = float(rings.wire_radii.min())
    middle = rings.centres[group].mean(axis=0)
    reach = 4.0 * float((rings.radii + rings.wire_radii).max())
    near = np.flatnonzero(np.linalg.norm(rings.centres - middle, axis=1) < reach)
    local, own = rings[near], np.searchsorted(near, np.sort(group))
    nodes = centreline_points(local, NODES)
    tries = [own] if len(own) == 1 else [own, *(own[k : k + 1] for k in range(len(own)))]
    best: tuple[float, Peg] | None = None
    for chosen in tries:
        point, direction, room = _through(local, chosen, nodes, along)
        # Which side the direction points to means nothing; the same piece shall give the same sign.
        direction = direction * np.sign(direction[np.argmax(np.abs(direction))])
        found = Peg(point, direction, min(thinnest, FILLED * room), tuple(int(k) for k in near[chosen]))
        if len(chosen) == len(own) and room > LEAST_ROOM * thinnest:
            return found
        if best is None or room > best[0] + 1e-6:
            best = room, found
    return best[1] if best is not None and best[0] > LEAST_ROOM**2 * thinnest else None
