"""Arcs and straights as rows of numbers: their points, their place in the world, what is nearest to a point.

Conventions: curves are rows as in `shapes`; points run along them by an angle [rad] or a length [mm] from 0
to SPAN. An arc of a full turn has no ends. A straight of no length is a point.
"""

from math import atan2, cos, pi, sin, sqrt

import numba

from chaingen.geometry.centrelines import FULL_TURN
from chaingen.geometry.shapes import COLUMNS, RADIUS, SPAN
from chaingen.geometry.types import Floats

ON_AXIS = 1e-12
"""Distance from an arc's axis, relative to its radius, under which all of the arc is equally far."""

BEYOND = 1e-12
"""How far past an end of an arc a minimum may lie [rad] and still be at that end: rounding."""


@numba.njit(cache=True)
def placed(row: Floats, centre: Floats, frame: Floats, out: Floats) -> None:
    """A curve from its body's frame to the world.

    Args:
        row: The curve in the body's frame, shape (COLUMNS,).
        centre: The body's origin [mm], shape (3,).
        frame: The body's axes as rows, shape (3, 3).
        out: Receives the curve in the world, shape (COLUMNS,).
    """
    for k in range(3):
        out[k] = centre[k] + (row[0] * frame[0, k] + row[1] * frame[1, k] + row[2] * frame[2, k])
        out[3 + k] = row[3] * frame[0, k] + row[4] * frame[1, k] + row[5] * frame[2, k]
        out[6 + k] = row[6] * frame[0, k] + row[7] * frame[1, k] + row[8] * frame[2, k]
    for k in range(9, COLUMNS):
        out[k] = row[k]


@numba.njit(cache=True)
def primitive_point(a: Floats, t: float) -> tuple[float, float, float]:
    """The point of a curve at angle [rad] or length [mm] t."""
    if a[RADIUS] == 0.0:
        return a[0] + t * a[3], a[1] + t * a[4], a[2] + t * a[5]
    x = a[RADIUS] * cos(t)
    y = a[RADIUS] * sin(t)
    return a[0] + x * a[3] + y * a[6], a[1] + x * a[4] + y * a[7], a[2] + x * a[5] + y * a[8]


@numba.njit(cache=True)
def primitive_tangent(a: Floats, t: float) -> tuple[float, float, float]:
    """Unit vector along a curve at angle [rad] or length [mm] t."""
    if a[RADIUS] == 0.0:
        return a[3], a[4], a[5]
    x = -sin(t)
    y = cos(t)
    return x * a[3] + y * a[6], x * a[4] + y * a[7], x * a[5] + y * a[8]


@numba.njit(cache=True)
def has_ends(a: Floats) -> bool:
    """Whether a curve is anything but a whole circle."""
    return bool(a[RADIUS] == 0.0 or a[SPAN] < FULL_TURN)


@numba.njit(cache=True)
def primitive_sphere(a: Floats) -> tuple[float, float, float, float]:
    """Centre and radius of the least sphere round a curve [mm], or of its whole circle."""
    if a[RADIUS] == 0.0:
        x, y, z = primitive_point(a, 0.5 * a[SPAN])
        return x, y, z, 0.5 * a[SPAN]
    if a[SPAN] >= pi:
        return a[0], a[1], a[2], a[RADIUS]
    x, y, z = primitive_point(a, 0.5 * a[SPAN])
    k = cos(0.5 * a[SPAN])
    return a[0] + k * (x - a[0]), a[1] + k * (y - a[1]), a[2] + k * (z - a[2]), a[RADIUS] * sin(0.5 * a[SPAN])


@numba.njit(cache=True)
def fitted(t: float, a: Floats) -> float:
    """An angle from an arc's beginning, between -2 pi and 2 pi, as one on the arc; -1 if it is not on it."""
    if t < 0.0:
        t += 2.0 * pi
    if t <= a[SPAN]:
        return t
    if t <= a[SPAN] + BEYOND:
        return float(a[SPAN])
    return 0.0 if t >= 2.0 * pi - BEYOND else -1.0


@numba.njit(cache=True)
def inside(px: float, py: float, pz: float, a: Floats) -> float:
    """Where inside a curve its point nearest to a point lies, as t; -1 if that is at an end.

    Of an arc about whose axis the point lies, it is the middle.
    """
    wx = px - a[0]
    wy = py - a[1]
    wz = pz - a[2]
    x = wx * a[3] + wy * a[4] + wz * a[5]
    if a[RADIUS] == 0.0:
        return x if 0.0 < x < a[SPAN] else -1.0
    y = wx * a[6] + wy * a[7] + wz * a[8]
    if sqrt(x * x + y * y) < ON_AXIS * a[RADIUS]:
        return float(0.5 * a[SPAN])
    return fitted(atan2(y, x), a)


@numba.njit(cache=True)
def nearest_parameter(px: float, py: float, pz: float, a: Floats) -> float:
    """Where a bounded curve is nearest to a point: angle [rad] or length [mm] along it."""
    t = inside(px, py, pz, a)
    if t >= 0.0:
        return t
    wx = px - a[0]
    wy = py - a[1]
    wz = pz - a[2]
    x = wx * a[3] + wy * a[4] + wz * a[5]
    if a[RADIUS] == 0.0:
        return 0.0 if x <= 0.0 else float(a[SPAN])
    y = wx * a[6] + wy * a[7] + wz * a[8]
    # Of the two ends, that whose direction is nearer to the point's.
    return float(a[SPAN]) if x * cos(a[SPAN]) + y * sin(a[SPAN]) > x else 0.0


@numba.njit(cache=True)
def nearest_on_primitive(px: float, py: float, pz: float, a: Floats) -> tuple[float, float, float]:
    """The point of a bounded curve nearest to a point; of an arc about whose axis it lies, the middle."""
    return primitive_point(a, nearest_parameter(px, py, pz, a))


@numba.njit(cache=True)
def primitive_size(a: Floats) -> float:
    """About how large a curve is [mm]."""
    return float(a[SPAN]) if a[RADIUS] == 0.0 else float(a[RADIUS] * min(a[SPAN], 2.0))


@numba.njit(cache=True)
def on_axis(px: float, py: float, pz: float, a: Floats) -> bool:
    """Whether a point is on the axis of an arc, all of which is equally far from it."""
    if a[RADIUS] == 0.0:
        return False
    wx = px - a[0]
    wy = py - a[1]
    wz = pz - a[2]
    x = wx * a[3] + wy * a[4] + wz * a[5]
    y = wx * a[6] + wy * a[7] + wz * a[8]
    return bool(sqrt(x * x + y * y) < ON_AXIS * a[RADIUS])
