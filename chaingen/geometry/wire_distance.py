"""Nearest points of arcs and straights, exact, with every local minimum.

The distance of two bounded curves has its local minima at four kinds of places: inside both, where whole
circles and endless lines would have theirs too; at an end of either, against the inside of the other; and at
two ends. All of these are tried, and those stay from which the distance grows whichever way one moves on:
inside, for a point has but one nearest place on a circle or a line; at an end, by the sign of the slope.

Two circles are the work of `circle_distance`, a circle and a line of `line_distance`; straights are closed
form.

Conventions: curves are rows as in `shapes`, here in the frame of the world; points run along them by an angle
[rad] or a length [mm] from 0 to SPAN. An arc of a full turn has no ends. A straight of no length is a point.
"""

from math import pi, sqrt

import numba
import numpy as np

from chaingen.geometry.circle_distance import MOST_MINIMA, circle_minima, nearest_points, point_at
from chaingen.geometry.line_distance import MOST_LINE_MINIMA, line_minima
from chaingen.geometry.primitives import (
    fitted,
    has_ends,
    inside,
    nearest_on_primitive,
    on_axis,
    placed,
    primitive_point,
    primitive_size,
    primitive_tangent,
)
from chaingen.geometry.shapes import RADIUS, SPAN
from chaingen.geometry.types import Floats

__all__ = [
    "MERGE",
    "MOST_NEAREST",
    "apart",
    "keep_place",
    "nearest_on_primitive",
    "placed",
    "primitive_minima",
    "primitive_point",
]

MOST_NEAREST = 16
"""Room for the nearest places of two curves: those of whole circles, two ends of either against the inside of
the other, and four pairs of ends."""

SLACK = 1e-11
"""Slope, relative to size, up to which an end counts as one where the distance does not fall: that of ends of
curves that are equally far apart all along is not quite zero."""

PARALLEL = 1e-12
"""Sine of the angle of two straights under which they are parallel: over 100 mm it makes 1e-10 mm."""

STEP = 1e-2
"""Share of a curve, of an arc no more than of 2 rad, after which a top is told from a level stretch."""

MERGE = 1e-7
"""Distance, relative to size, under which two nearest places are one."""


@numba.njit(cache=True)
def _falls(a: Floats, t: float, b: Floats, dx: float, dy: float, dz: float, d: float, slack: float) -> bool:
    """Whether from an end of curve a the distance to b falls along a; (dx, dy, dz) leads there from b."""
    if a[SPAN] == 0.0 or not has_ends(a) or 0.0 < t < a[SPAN]:
        return False
    tx, ty, tz = primitive_tangent(a, t)
    onwards = 1.0 if t <= 0.0 else -1.0
    slope = onwards * (dx * tx + dy * ty + dz * tz)
    if abs(slope) > slack:
        return bool(slope < 0.0)
    # Level there: a step along tells whether it is the top of a rise.
    step = STEP * (a[SPAN] if a[RADIUS] == 0.0 else min(a[SPAN], 2.0))
    px, py, pz = primitive_point(a, t + onwards * step)
    qx, qy, qz = nearest_on_primitive(px, py, pz, b)
    return bool(sqrt((px - qx) ** 2 + (py - qy) ** 2 + (pz - qz) ** 2) < d - slack)


@numba.njit(cache=True)
def _offer(a: Floats, ta: float, b: Floats, tb: float, points: Floats, count: int, best: Floats) -> int:
    """Add a place to the nearest places unless the distance falls from it or it is there already.

    Args:
        a: The first curve, shape (COLUMNS,).
        ta: Where on it, t.
        b: The second, shape (COLUMNS,).
        tb: Where on it, t.
        points: The places so far [mm], shape (MOST_NEAREST, 2, 3).
        count: How many they are.
        best: The nearest place offered so far [mm], and below it its distance [0], shape (3, 3).

    Returns:
        How many they are now.
    """
    px, py, pz = primitive_point(a, ta)
    qx, qy, qz = primitive_point(b, tb)
    dx = px - qx
    dy = py - qy
    dz = pz - qz
    d = sqrt(dx * dx + dy * dy + dz * dz)
    # The nearest of all is kept even where rounding makes the distance seem to fall from it.
    if d < best[2, 0]:
        _write(px, py, pz, qx, qy, qz, best)
        best[2, 0] = d
    size = max(primitive_size(a), primitive_size(b))
    slack = SLACK * (d + size)
    if _falls(a, ta, b, dx, dy, dz, d, slack) or _falls(b, tb, a, -dx, -dy, -dz, d, slack):
        return count
    return keep_place(px, py, pz, qx, qy, qz, MERGE * size, points, count)


@numba.njit(cache=True)
def _write(px: float, py: float, pz: float, qx: float, qy: float, qz: float, out: Floats) -> None:
    out[0, 0] = px
    out[0, 1] = py
    out[0, 2] = pz
    out[1, 0] = qx
    out[1, 1] = qy
    out[1, 2] = qz


@numba.njit(cache=True)
def apart(points: Floats) -> float:
    """Distance of the two points of a place, shape (2, 3)."""
    return sqrt(
        (points[0, 0] - points[1, 0]) ** 2
        + (points[0, 1] - points[1, 1]) ** 2
        + (points[0, 2] - points[1, 2]) ** 2
    )


@numba.njit(cache=True)
def keep_place(
    px: float, py: float, pz: float, qx: float, qy: float, qz: float, near: float, points: Floats, count: int
) -> int:
    """Write a place after `count` others; if it is within `near` [mm] of one, the nearer of both stays.

    Returns:
        How many there are now, not more than there is room for.
    """
    d = sqrt((px - qx) ** 2 + (py - qy) ** 2 + (pz - qz) ** 2)
    for k in range(count):
        off = max(
            abs(points[k, 0, 0] - px), abs(points[k, 0, 1] - py), abs(points[k, 0, 2] - pz),
            abs(points[k, 1, 0] - qx), abs(points[k, 1, 1] - qy), abs(points[k, 1, 2] - qz),
        )  # fmt: skip
        if off <= near:
            if d < apart(points[k]):
                _write(px, py, pz, qx, qy, qz, points[k])
            return count
    if count == len(points):
        return count
    _write(px, py, pz, qx, qy, qz, points[count])
    return count + 1


@numba.njit(cache=True)
def _normal(a: Floats, out: Floats) -> None:
    """Unit normal of an arc's plane, shape (3,)."""
    out[0] = a[4] * a[8] - a[5] * a[7]
    out[1] = a[5] * a[6] - a[3] * a[8]
    out[2] = a[3] * a[7] - a[4] * a[6]


@numba.njit(cache=True)
def _arcs(a: Floats, b: Floats, swapped: bool, points: Floats, count: int, best: Floats) -> int:
    """Offer the nearest places inside two arcs; a, the smaller, is walked along, and is second if swapped."""
    na = np.empty(3)
    nb = np.empty(3)
    _normal(a, na)
    _normal(b, nb)
    angles = np.empty(MOST_MINIMA)
    found, even = circle_minima(a[0:3], na, a[RADIUS], b[0:3], nb, b[RADIUS], angles)
    if even:
        middles, count = _even_middles(a, b, swapped, points, count, best)
        if middles > 0:
            return count
    for m in range(found):
        x, y, z = point_at(a[0:3], na, a[RADIUS], angles[m])
        ta = inside(x, y, z, a)
        if ta < 0.0:
            continue
        tb = inside(x, y, z, b)
        if tb < 0.0:
            continue
        count = (
            _offer(b, tb, a, ta, points, count, best)
            if swapped
            else _offer(a, ta, b, tb, points, count, best)
        )
    return count


@numba.njit(cache=True)
def _even_middles(
    a: Floats, b: Floats, swapped: bool, points: Floats, count: int, best: Floats
) -> tuple[int, int]:
    """Offer the middles of the stretches where two arcs, equally far all along, face each other.

    Returns:
        How many middles there are, and how many places there are now.
    """
    cuts = np.empty(5)
    n = 0
    if has_ends(a):
        cuts[0] = 0.0
        cuts[1] = a[SPAN]
        n = 2
    if has_ends(b):
        for t in (0.0, b[SPAN]):
            x, y, z = primitive_point(b, t)
            ta = inside(x, y, z, a)
            if ta >= 0.0:
                cuts[n] = ta
                n += 1
    for k in range(1, n):
        for m in range(k, 0, -1):
            if cuts[m] < cuts[m - 1]:
                cuts[m], cuts[m - 1] = cuts[m - 1], cuts[m]
    if n > 0 and not has_ends(a):
        cuts[n] = cuts[0] + 2.0 * pi
        n += 1
    middles = 0
    for k in range(n - 1):
        ta = 0.5 * (cuts[k] + cuts[k + 1])
        x, y, z = primitive_point(a, ta)
        tb = inside(x, y, z, b)
        if tb >= 0.0 and cuts[k + 1] > cuts[k]:
            count = (
                _offer(b, tb, a, ta, points, count, best)
                if swapped
                else _offer(a, ta, b, tb, points, count, best)
            )
            middles += 1
    return middles, count


@numba.njit(cache=True)
def _arc_straight(a: Floats, b: Floats, swapped: bool, points: Floats, count: int, best: Floats) -> int:
    """Offer the nearest places inside an arc and a straight; the arc is second if swapped."""
    angles = np.empty(MOST_LINE_MINIMA)
    found, even = line_minima(a, b, angles)
    if even:
        # Round the line: the middle stands for the arc between its ends, four places for a whole circle.
        found = 1 if has_ends(a) else 4
        for m in range(found):
            angles[m] = (0.5 + m) / found * a[SPAN]
    for m in range(found):
        ta = fitted(angles[m], a)
        if ta < 0.0:
            continue
        x, y, z = primitive_point(a, ta)
        tb = inside(x, y, z, b)
        if tb < 0.0:
            continue
        count = (
            _offer(b, tb, a, ta, points, count, best)
            if swapped
            else _offer(a, ta, b, tb, points, count, best)
        )
    return count


@numba.njit(cache=True)
def _straights(a: Floats, b: Floats, points: Floats, count: int, best: Floats) -> int:
    """Offer the nearest place inside two straights, or the middle of where parallel ones face each other."""
    wx = b[0] - a[0]
    wy = b[1] - a[1]
    wz = b[2] - a[2]
    nx = a[4] * b[5] - a[5] * b[4]
    ny = a[5] * b[3] - a[3] * b[5]
    nz = a[3] * b[4] - a[4] * b[3]
    square = nx * nx + ny * ny + nz * nz
    if square > PARALLEL * PARALLEL:
        # Seen along n = u x v the lines cross where (w - ta u + tb v) x v . n = 0.
        x = wy * b[5] - wz * b[4]
        y = wz * b[3] - wx * b[5]
        z = wx * b[4] - wy * b[3]
        ta = (x * nx + y * ny + z * nz) / square
    else:
        begin = wx * a[3] + wy * a[4] + wz * a[5]
        end = begin + b[SPAN] * (a[3] * b[3] + a[4] * b[4] + a[5] * b[5])
        ta = 0.5 * (max(0.0, min(begin, end)) + min(a[SPAN], max(begin, end)))
    if not 0.0 < ta < a[SPAN]:
        return count
    x, y, z = primitive_point(a, ta)
    tb = inside(x, y, z, b)
    return count if tb < 0.0 else _offer(a, ta, b, tb, points, count, best)


@numba.njit(cache=True)
def primitive_minima(a: Floats, b: Floats, points: Floats) -> int:
    """Nearest points of two bounded curves at every local minimum of their distance.

    Where they are equally far along a stretch, its ends and its middle stand for all of it; for a whole
    circle four even places. The least distance is always among them.

    Args:
        a: One curve in the world, shape (COLUMNS,).
        b: The other, shape (COLUMNS,).
        points: Receives the points on a and on b [mm], shape (MOST_NEAREST, 2, 3).

    Returns:
        How many there are, at least one.
    """
    a_ends = has_ends(a)
    b_ends = has_ends(b)
    if not a_ends and not b_ends:
        return _whole_circles(a, b, points)
    best = np.empty((3, 3))
    best[2, 0] = np.inf
    count = 0
    if a[RADIUS] > 0.0 and b[RADIUS] > 0.0:
        # The smaller circle is the one that is walked along, as for rings.
        if a[RADIUS] > b[RADIUS]:
            count = _arcs(b, a, True, points, count, best)
        else:
            count = _arcs(a, b, False, points, count, best)
    elif a[RADIUS] > 0.0:
        if b[SPAN] > 0.0:
            count = _arc_straight(a, b, False, points, count, best)
    elif b[RADIUS] > 0.0:
        if a[SPAN] > 0.0:
            count = _arc_straight(b, a, True, points, count, best)
    elif a[SPAN] > 0.0 and b[SPAN] > 0.0:
        count = _straights(a, b, points, count, best)
    if a_ends:
        for ta in (0.0, a[SPAN]):
            x, y, z = primitive_point(a, ta)
            tb = inside(x, y, z, b)
            if tb >= 0.0:
                count = _offer(a, ta, b, tb, points, count, best)
            if not b_ends and on_axis(x, y, z, b):
                for k in range(4):
                    count = _offer(a, ta, b, 0.25 * k * b[SPAN], points, count, best)
    if b_ends:
        for tb in (0.0, b[SPAN]):
            x, y, z = primitive_point(b, tb)
            ta = inside(x, y, z, a)
            if ta >= 0.0:
                count = _offer(a, ta, b, tb, points, count, best)
            if not a_ends and on_axis(x, y, z, a):
                for k in range(4):
                    count = _offer(a, 0.25 * k * a[SPAN], b, tb, points, count, best)
    if a_ends and b_ends:
        for ta in (0.0, a[SPAN]):
            for tb in (0.0, b[SPAN]):
                count = _offer(a, ta, b, tb, points, count, best)
    return keep_place(
        best[0, 0], best[0, 1], best[0, 2], best[1, 0], best[1, 1], best[1, 2],
        MERGE * max(primitive_size(a), primitive_size(b)), points, min(count, MOST_NEAREST - 1),
    )  # fmt: skip


@numba.njit(cache=True)
def _whole_circles(a: Floats, b: Floats, points: Floats) -> int:
    na = np.empty(3)
    nb = np.empty(3)
    _normal(a, na)
    _normal(b, nb)
    angles = np.empty(MOST_MINIMA)
    return nearest_points(a[0:3], na, a[RADIUS], b[0:3], nb, b[RADIUS], angles, points)
