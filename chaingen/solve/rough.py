"""Rough poses from which the solver starts.

Every group is seen as one thick ring: rings side by side are stacked along its axis, a rosette is a set of
Villarceau circles on its torus (all linked with one another, all turning the same way). Neighbouring thick
rings stand at right angles and reach into each other, as in a plain chain.
"""

from dataclasses import dataclass
from math import asin, cos, pi, sin

import numpy as np

from chaingen.findings.finding import Finding, eye_centre, eye_normal, loop_points
from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.types import Floats
from chaingen.weave.groups import Group, GroupKind, RingSize

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


def group_pose(group: Group) -> Bodies:
    """Rings of a group about the origin, its axis along z."""
    size, n = group.size, group.count
    assert isinstance(size, RingSize)
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
    return Bodies(centres, normals, np.full(n, size.radius), np.full(n, size.wire_radius))


def about_x(angle: float) -> Floats:
    """Rotation matrix about x by `angle` [rad]."""
    return np.array([[1.0, 0.0, 0.0], [0.0, cos(angle), -sin(angle)], [0.0, sin(angle), cos(angle)]])


def about_z(angle: float) -> Floats:
    """Rotation matrix about z by `angle` [rad]."""
    return np.array([[cos(angle), -sin(angle), 0.0], [sin(angle), cos(angle), 0.0], [0.0, 0.0, 1.0]])


@dataclass(frozen=True, eq=False)
class _Stance:
    """How a group stands in a row that runs along x.

    Attributes:
        body: Its rings or its finding; what links it with its neighbours lies on the x axis.
        before: x of the middle of what the group before links with [mm].
        after: x of the middle of what the group after links with [mm].
        angle: Turn about x from z to the axis of what the group after links with [rad], 0 to pi.
        grips: Of what the group before links with and of what the group after links with: radius along the
            row and wire radius [mm].
    """

    body: Bodies
    before: float
    after: float
    angle: float
    grips: tuple[tuple[float, float], tuple[float, float]]


def _stance(group: Group, angle: float) -> _Stance:
    """A group whose first axis is turned about x from z by an angle [rad]."""
    if not isinstance(group.size, Finding):
        grip = group.size.radius, group.size.wire_radius
        return _Stance(group_pose(group).turned(about_x(angle)), 0.0, 0.0, angle, (grip, grip))
    shape = group.size.shape
    before, after = (
        [shape.eyes[k] for k in eyes[len(eyes) // 2 :][:1]] for eyes in (group.before, group.after)
    )
    begin = eye_centre(before[0]) if before else np.zeros(3)
    end = eye_centre(after[0]) if after else np.zeros(3)
    ahead = end - begin
    size = float(np.linalg.norm(ahead))
    turn = _onto_x(ahead / size) if size > 1e-6 else np.eye(3)
    asked = before or after
    if asked:
        normal = turn @ eye_normal(asked[0])
        turn = about_x(angle - float(np.arctan2(-normal[1], normal[2]))) @ turn
    begin, end = turn @ begin, turn @ end
    leaving = angle
    if after:
        normal = turn @ eye_normal(after[0])
        leaving = float(np.arctan2(-normal[1], normal[2]) % pi)
    axis = begin if before else end
    body = shaped(shape).turned(turn).moved(-axis * np.array([0.0, 1.0, 1.0]))
    grips = _grip(group, False, turn), _grip(group, True, turn)
    return _Stance(body, float(begin[0]), float(end[0]), leaving, grips)


def _onto_x(direction: Floats) -> Floats:
    """A rotation that turns a unit vector onto x, the shortest way; half a turn goes about z."""
    x = np.array([1.0, 0.0, 0.0])
    cosine = float(direction @ x)
    if cosine < -1.0 + 1e-9:
        return about_z(pi)
    v = np.cross(direction, x)
    skew = np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])
    return np.asarray(np.eye(3) + skew + skew @ skew / (1.0 + cosine))


def _grip(group: Group, after: bool, turn: Floats) -> tuple[float, float]:
    """Radius along the row of what a group links its neighbour with, and its wire radius [mm]."""
    if not isinstance(group.size, Finding):
        return group.size.radius, group.size.wire_radius
    eyes = group.after if after else group.before
    if not eyes:
        return 0.0, group.size.wire_radius
    eye = group.size.shape.eyes[eyes[len(eyes) // 2]]
    along = (loop_points(eye) - eye_centre(eye)) @ turn[0] * (1.0 if after else -1.0)
    return float(along.max()), eye.wire_radius


def _pitch(here: Group, grip: tuple[float, float], there: Group, other_grip: tuple[float, float]) -> float:
    """A middling distance of what neighbouring groups link with [mm], between touching and pulled straight.

    Seen in section, the tube of either reaches into the hole of the other; half-way between the two limits
    both have room.
    """
    (radius, wire), (other, other_wire) = grip, other_grip
    far = radius + other - tube_radius(here) - tube_radius(there) - (wire + other_wire)
    middle = far - 0.35 * (wire + other_wire)
    if isinstance(here.size, Finding) or isinstance(there.size, Finding):
        # An eye is no wider than the finding goes on behind it: nothing stands in the way there.
        return max(middle, 0.5 * far)
    # Groups next but one lie in one plane: they must not touch.
    return max(1.05 * max(radius + wire, other + other_wire), middle)


def _row(groups: tuple[Group, ...], angle: float) -> list[tuple[_Stance, float]]:
    """How each group of a row stands, and the x of its middle [mm]; the first has the axis given [rad]."""
    row: list[tuple[_Stance, float]] = []
    for number, group in enumerate(groups):
        stance = _stance(group, angle)
        x = 0.0
        if number:
            last, at = row[-1]
            apart = _pitch(groups[number - 1], last.grips[1], group, stance.grips[0])
            x = at + last.after + apart - stance.before
        row.append((stance, x))
        angle = (stance.angle + 0.5 * pi) % pi
    return row


def row_positions(groups: tuple[Group, ...]) -> Floats:
    """Rough x of the middle of each group [mm], shape (n,), starting at 0."""
    return np.array([x for _, x in _row(groups, 0.0)])


def row_pose(groups: tuple[Group, ...], *, angle: float = 0.0) -> Bodies:
    """Rough pose of a row of groups along x.

    Args:
        groups: The groups.
        angle: Turn of the first group's axis about x: flat (axis z) at 0, standing at a quarter turn [rad].
    """
    return concatenate([stance.body.moved(np.array([x, 0.0, 0.0])) for stance, x in _row(groups, angle)])


def leaving_angle(groups: tuple[Group, ...], *, angle: float = 0.0) -> float:
    """The turn of the axis that the group after a row would have [rad]; see `row_pose`."""
    return (_row(groups, angle)[-1][0].angle + 0.5 * pi) % pi if groups else angle


def angle_from_behind(groups: tuple[Group, ...]) -> float:
    """The turn of the axis of a row's last group when the row is turned round about z [rad]."""
    return -_row(groups, 0.0)[-1][0].angle % pi


def cell_period(groups: tuple[Group, ...]) -> float:
    """Rough period of a repeating row of groups [mm]."""
    return float(row_positions((*groups, groups[0]))[-1])


def bent(rings: Bodies, group_x: Floats, length: float, *, tilt: float = 0.0) -> Bodies:
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
    c, s = np.cos(angles), np.sin(angles)

    def bend(v: Floats) -> Floats:
        return np.column_stack([c * v[:, 0] - s * v[:, 1], s * v[:, 0] + c * v[:, 1], v[:, 2]])

    axes = None if rings.axes is None else bend(rings.axes @ turn.T)
    return rings.posed(bend(local), bend(rings.normals @ turn.T), axes)


def shaken(rings: Bodies, rng: np.random.Generator, amount: float) -> Bodies:
    """The rings moved and tilted at random.

    Args:
        rings: The rings.
        rng: Source of randomness.
        amount: Standard deviation as part of each ring's radius (moves) and in radians (tilts).
    """
    n = len(rings)
    centres = rings.centres + amount * rings.eye_radii[:, None] * rng.normal(size=(n, 3))
    normals = rings.normals + amount * rng.normal(size=(n, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return rings.posed(centres, normals)
