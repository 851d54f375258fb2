"""Rough poses from which the solver starts.

Every group is seen as one thick ring: rings side by side are stacked along its axis, a rosette is a set of
Villarceau circles on its torus (all linked with one another, all turning the same way). Neighbouring thick
rings stand at right angles and reach into each other, as in a plain chain.
"""

from itertools import pairwise
from math import asin, cos, pi, sin

import numpy as np

from chaingen.geometry.rings import Floats, Rings, concatenate
from chaingen.weave.groups import Group, GroupKind

ROOM = 1.15
"""Wires of a group start this many times their diameter apart."""

THICKEST = 0.8
"""A rosette's tube radius is at most this part of its ring radius."""


def tube_radius(group: Group) -> float:
    """Radius [mm] of the circle on which the wires of a group cross its thick ring; 0 for a single ring."""
    size = group.size
    if group.count == 1:
        return 0.0
    if group.kind is GroupKind.ROSETTE:
        return min(ROOM * size.wire_radius / sin(pi / group.count), THICKEST * size.radius)
    return ROOM * size.wire_radius * (group.count - 1)


def group_pose(group: Group) -> Rings:
    """Rings of a group about the origin, its axis along z."""
    size, n = group.size, group.count
    if group.kind is GroupKind.ROSETTE and n > 1:
        tube = tube_radius(group)
        tilt = asin(tube / size.radius)
        angles = 2.0 * pi * (np.arange(n) + 0.25) / n
        radial = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(n)])
        around = np.column_stack([-np.sin(angles), np.cos(angles), np.zeros(n)])
        centres = tube * radial
        normals = cos(tilt) * np.array([0.0, 0.0, 1.0]) + sin(tilt) * around
    else:
        centres = np.zeros((n, 3))
        centres[:, 2] = ROOM * size.wire_diameter * (np.arange(n) - 0.5 * (n - 1))
        normals = np.tile([0.0, 0.0, 1.0], (n, 1))
    return Rings(centres, normals, np.full(n, size.radius), np.full(n, size.wire_radius))


def turned(rings: Rings, rotation: Floats) -> Rings:
    """The rings turned about the origin by a rotation matrix, shape (3, 3)."""
    return Rings(rings.centres @ rotation.T, rings.normals @ rotation.T, rings.radii, rings.wire_radii)


def moved(rings: Rings, translation: Floats) -> Rings:
    """The rings moved by a vector [mm], shape (3,)."""
    return Rings(rings.centres + translation, rings.normals, rings.radii, rings.wire_radii)


def about_x(angle: float) -> Floats:
    """Rotation matrix about x by `angle` [rad]."""
    return np.array([[1.0, 0.0, 0.0], [0.0, cos(angle), -sin(angle)], [0.0, sin(angle), cos(angle)]])


def about_z(angle: float) -> Floats:
    """Rotation matrix about z by `angle` [rad]."""
    return np.array([[cos(angle), -sin(angle), 0.0], [sin(angle), cos(angle), 0.0], [0.0, 0.0, 1.0]])


def pitch(here: Group, there: Group) -> float:
    """A middling distance of the centres of neighbouring groups [mm], between touching and pulled straight.

    Seen in section, the tube of either reaches into the hole of the other; half-way between the two limits
    both have room.
    """
    far = here.size.radius + there.size.radius - tube_radius(here) - tube_radius(there)
    far -= here.size.wire_radius + there.size.wire_radius
    # Groups next but one lie in one plane: they must not touch.
    near = 1.05 * max(here.size.radius + here.size.wire_radius, there.size.radius + there.size.wire_radius)
    return max(near, far - 0.35 * (here.size.wire_radius + there.size.wire_radius))


def row_positions(groups: tuple[Group, ...]) -> Floats:
    """Rough x of the centre of each group [mm], shape (n,), starting at 0."""
    steps = [pitch(a, b) for a, b in pairwise(groups)]
    return np.concatenate([[0.0], np.cumsum(steps)])


def row_pose(groups: tuple[Group, ...], *, quarter: int = 0) -> Rings:
    """Rough pose of a row of groups along x.

    Args:
        groups: The groups.
        quarter: 0 or 1: whether the first group lies flat (axis z) or stands (axis y).
    """
    parts = []
    for number, (group, x) in enumerate(zip(groups, row_positions(groups), strict=True)):
        rotation = about_x(0.5 * pi * ((number + quarter) % 2))
        parts.append(moved(turned(group_pose(group), rotation), np.array([x, 0.0, 0.0])))
    return concatenate(parts)


def cell_period(groups: tuple[Group, ...]) -> float:
    """Rough period of a repeating row of groups [mm]."""
    return float(row_positions((*groups, groups[0]))[-1])


def bent(rings: Rings, group_x: Floats, length: float, *, tilt: float = 0.0) -> Rings:
    """A straight row of rings bent rigidly, group by group, into a closed loop round z.

    Args:
        rings: The straight row along x.
        group_x: x of the middle of each ring's group [mm], shape (n,).
        length: Length of the row that becomes the circumference [mm].
        tilt: Turn of the row about its own axis before it is bent [rad].
    """
    radius = length / (2.0 * pi)
    turn = about_x(tilt)
    angles = group_x / radius
    local = rings.centres.copy()
    local[:, 0] -= group_x
    local = local @ turn.T + np.array([0.0, -radius, 0.0])
    normals = rings.normals @ turn.T
    c, s = np.cos(angles), np.sin(angles)

    def bend(v: Floats) -> Floats:
        return np.column_stack([c * v[:, 0] - s * v[:, 1], s * v[:, 0] + c * v[:, 1], v[:, 2]])

    return Rings(bend(local), bend(normals), rings.radii, rings.wire_radii)


def shaken(rings: Rings, rng: np.random.Generator, amount: float) -> Rings:
    """The rings moved and tilted at random.

    Args:
        rings: The rings.
        rng: Source of randomness.
        amount: Standard deviation as part of each ring's radius (moves) and in radians (tilts).
    """
    n = len(rings)
    centres = rings.centres + amount * rings.radii[:, None] * rng.normal(size=(n, 3))
    normals = rings.normals + amount * rng.normal(size=(n, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return Rings(centres, normals, rings.radii, rings.wire_radii)
