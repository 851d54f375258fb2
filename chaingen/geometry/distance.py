"""Least distance of rings and other wire bodies, exact, with every local minimum.

Two rings are two whole circles. Other bodies are taken apart into their arcs and straights; those whose
bounding spheres are farther apart than what is found already are passed over.

Conventions: the gap of two bodies is the distance of their centrelines less both wire radii, negative when
wires overlap.
"""

from dataclasses import dataclass

import numba
import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.circle_distance import (
    MOST_MINIMA,
    circle_minima,
    frame,
    nearest_on_circle,
    nearest_points,
    point_at,
)
from chaingen.geometry.primitives import (
    has_ends,
    nearest_on_primitive,
    placed,
    primitive_point,
    primitive_size,
    primitive_sphere,
    primitive_tangent,
)
from chaingen.geometry.shapes import CAP_END, CAP_START, COLUMNS, SPAN, WIRE
from chaingen.geometry.types import Floats, Ints
from chaingen.geometry.wire_distance import MERGE, MOST_NEAREST, apart, primitive_minima

__all__ = [
    "MOST_MINIMA",
    "Contacts",
    "circle_minima",
    "contacts",
    "frame",
    "nearest_on_circle",
    "nearest_points",
    "point_at",
    "rows_gap",
    "rows_minima",
    "smallest_gaps",
    "wires_at",
]

LEVEL = 1e-6
"""Cosine of the angle between wire and way to the other wire up to which a joint of two curves can be a local
minimum; at any other the distance falls along the next curve, which has the minimum itself."""


@numba.njit(cache=True)
def _smallest_gaps(
    centres: Floats, normals: Floats, radii: Floats, wires: Floats, pairs: Ints, gaps: Floats, points: Floats
) -> None:
    angles = np.empty(MOST_MINIMA)
    found = np.empty((MOST_MINIMA, 2, 3))
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        count = nearest_points(
            centres[i], normals[i], radii[i], centres[j], normals[j], radii[j], angles, found
        )
        best = np.inf
        for m in range(count):
            d = apart(found[m])
            if d < best:
                best = d
                points[k] = found[m]
        gaps[k] = best - wires[i] - wires[j]


@numba.njit(cache=True)
def _all_minima(
    centres: Floats, normals: Floats, radii: Floats, wires: Floats, pairs: Ints, gaps: Floats, points: Floats
) -> None:
    angles = np.empty(MOST_MINIMA)
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        count = nearest_points(
            centres[i], normals[i], radii[i], centres[j], normals[j], radii[j], angles, points[k]
        )
        for m in range(MOST_MINIMA):
            gaps[k, m] = apart(points[k, m]) - wires[i] - wires[j] if m < count else np.nan


@numba.njit(cache=True)
def _sphere_gap(a: Floats, b: Floats) -> float:
    """A lower bound of the gap of two curves' wires [mm], by the spheres round them."""
    ax, ay, az, ar = primitive_sphere(a)
    bx, by, bz, br = primitive_sphere(b)
    d = np.sqrt((ax - bx) ** 2 + (ay - by) ** 2 + (az - bz) ** 2)
    return float(d - ar - br - a[WIRE] - b[WIRE])


@numba.njit(cache=True)
def _curves_gap(a: Floats, b: Floats, least: float, found: Floats, nearest: Floats) -> float:
    """The gap of two curves' wires if it is under `least`, otherwise `least`; writes where."""
    count = primitive_minima(a, b, found)
    for m in range(count):
        gap = apart(found[m]) - a[WIRE] - b[WIRE]
        if gap < least:
            least = gap
            nearest[:] = found[m]
    return least


@numba.njit(cache=True)
def rows_gap(rows_a: Floats, rows_b: Floats, found: Floats, nearest: Floats) -> float:
    """Smallest gap of two bodies' wires.

    Args:
        rows_a: Curves of one body in the world, shape (k, COLUMNS).
        rows_b: Curves of the other, shape (m, COLUMNS).
        found: Room, shape (MOST_NEAREST, 2, 3).
        nearest: Receives the two nearest centreline points [mm], shape (2, 3).

    Returns:
        The gap [mm].
    """
    # The two curves whose spheres are nearest first: their gap rules most others out.
    first_a, first_b, lowest = 0, 0, np.inf
    for i in range(len(rows_a)):
        for j in range(len(rows_b)):
            bound = _sphere_gap(rows_a[i], rows_b[j])
            if bound < lowest:
                first_a, first_b, lowest = i, j, bound
    least = _curves_gap(rows_a[first_a], rows_b[first_b], np.inf, found, nearest)
    for i in range(len(rows_a)):
        for j in range(len(rows_b)):
            if (i != first_a or j != first_b) and _sphere_gap(rows_a[i], rows_b[j]) < least:
                least = _curves_gap(rows_a[i], rows_b[j], least, found, nearest)
    return least


@numba.njit(cache=True)
def _falls_on(a: Floats, p: Floats, q: Floats, near: float) -> bool:
    """Whether `p` is where another curve goes on from this one and the distance to `q` falls along that."""
    if a[SPAN] == 0.0 or not has_ends(a):
        return False
    d = np.sqrt((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2)
    for end in range(2):
        t = end * a[SPAN]
        x, y, z = primitive_point(a, t)
        if max(abs(x - p[0]), abs(y - p[1]), abs(z - p[2])) > near:
            continue
        if a[CAP_END if end == 1 else CAP_START] != 0.0:
            return False
        tx, ty, tz = primitive_tangent(a, t)
        slope = (p[0] - q[0]) * tx + (p[1] - q[1]) * ty + (p[2] - q[2]) * tz
        return bool((slope if end == 0 else -slope) > LEVEL * d)
    return False


@numba.njit(cache=True)
def rows_minima(
    rows_a: Floats, rows_b: Floats, reach: float, found: Floats, points: Floats, gaps: Floats
) -> int:
    """Every local minimum of the gap of two bodies' wires that is under a reach.

    Args:
        rows_a: Curves of one body in the world, shape (k, COLUMNS).
        rows_b: Curves of the other, shape (m, COLUMNS).
        reach: Gaps of at least this are passed over [mm]; may be infinite.
        found: Room, shape (MOST_NEAREST, 2, 3).
        points: Receives the nearest centreline points [mm], shape (k m MOST_NEAREST, 2, 3) or shorter.
        gaps: Receives the gaps [mm], as many.

    Returns:
        How many there are; as many as there is room for if there are more.
    """
    size = 0.0
    for i in range(len(rows_a)):
        size = max(size, primitive_size(rows_a[i]))
    for j in range(len(rows_b)):
        size = max(size, primitive_size(rows_b[j]))
    near = MERGE * size
    count = 0
    for i in range(len(rows_a)):
        a = rows_a[i]
        for j in range(len(rows_b)):
            b = rows_b[j]
            if _sphere_gap(a, b) >= reach:
                continue
            wires = a[WIRE] + b[WIRE]
            for m in range(primitive_minima(a, b, found)):
                p = found[m, 0]
                q = found[m, 1]
                gap = apart(found[m]) - wires
                if gap >= reach or _falls_on(a, p, q, near) or _falls_on(b, q, p, near):
                    continue
                count = _keep(found[m], gap, near, points, gaps, count)
    return count


@numba.njit(cache=True)
def _keep(place: Floats, gap: float, near: float, points: Floats, gaps: Floats, count: int) -> int:
    """Write a place after `count` others; if it is within `near` [mm] of one, the smaller gap stays."""
    for k in range(count):
        if np.abs(points[k] - place).max() <= near:
            if gap < gaps[k]:
                points[k] = place
                gaps[k] = gap
            return count
    if count < len(gaps):
        points[count] = place
        gaps[count] = gap
        count += 1
    return count


@numba.njit(cache=True)
def placed_rows(table: Floats, begin: int, end: int, centre: Floats, frame: Floats, out: Floats) -> Floats:
    """Rows `begin` to `end` of a table of curves, placed in the world; `out` has room for them."""
    for k in range(begin, end):
        placed(table[k], centre, frame, out[k - begin])
    return out[: end - begin]


@numba.njit(cache=True)
def _smallest_of_bodies(
    centres: Floats, frames: Floats, table: Floats, begins: Ints, ends: Ints, pairs: Ints, gaps: Floats,
    points: Floats,
) -> None:  # fmt: skip
    most = (ends - begins).max()
    room_a = np.empty((most, COLUMNS))
    room_b = np.empty((most, COLUMNS))
    found = np.empty((MOST_NEAREST, 2, 3))
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        rows_a = placed_rows(table, begins[i], ends[i], centres[i], frames[i], room_a)
        rows_b = placed_rows(table, begins[j], ends[j], centres[j], frames[j], room_b)
        gaps[k] = rows_gap(rows_a, rows_b, found, points[k])


@numba.njit(cache=True)
def _minima_of_pair(
    centres: Floats, frames: Floats, table: Floats, begins: Ints, ends: Ints, i: int, j: int, points: Floats,
    gaps: Floats,
) -> int:  # fmt: skip
    room_a = np.empty((ends[i] - begins[i], COLUMNS))
    room_b = np.empty((ends[j] - begins[j], COLUMNS))
    found = np.empty((MOST_NEAREST, 2, 3))
    rows_a = placed_rows(table, begins[i], ends[i], centres[i], frames[i], room_a)
    rows_b = placed_rows(table, begins[j], ends[j], centres[j], frames[j], room_b)
    return rows_minima(rows_a, rows_b, np.inf, found, points, gaps)


def smallest_gaps(bodies: Bodies, pairs: Ints) -> tuple[Floats, Floats]:
    """Smallest gap of each pair and where it is.

    Args:
        bodies: The bodies.
        pairs: Indices of the two bodies of each pair, shape (m, 2).

    Returns:
        Gaps [mm], shape (m,), and the two nearest centreline points [mm], shape (m, 2, 3).
    """
    gaps = np.empty(len(pairs))
    points = np.empty((len(pairs), 2, 3))
    if bodies.all_rings:
        _smallest_gaps(bodies.centres, bodies.normals, bodies.radii, bodies.wire_radii, pairs, gaps, points)
        return gaps, points
    rings = bodies.is_ring[pairs].all(axis=1)
    some, others = pairs[rings], pairs[~rings]
    some_gaps, some_points = np.empty(len(some)), np.empty((len(some), 2, 3))
    _smallest_gaps(
        bodies.centres, bodies.normals, bodies.radii, bodies.wire_radii, some, some_gaps, some_points
    )
    other_gaps, other_points = np.empty(len(others)), np.empty((len(others), 2, 3))
    curves = bodies.primitives()
    _smallest_of_bodies(
        bodies.centres, bodies.frames(), curves.table, curves.begins, curves.ends, others, other_gaps,
        other_points,
    )  # fmt: skip
    gaps[rings], gaps[~rings] = some_gaps, other_gaps
    points[rings], points[~rings] = some_points, other_points
    return gaps, points


def wires_at(bodies: Bodies, which: Ints, points: Floats) -> Floats:
    """Wire radius of each of some bodies [mm] where a point of its centreline lies, shape (m,).

    Args:
        bodies: The bodies.
        which: Indices of bodies, shape (m,).
        points: A point of the centreline of each [mm], shape (m, 3).
    """
    wires = np.array(bodies.wire_radii[which], dtype=np.float64)
    several = np.flatnonzero((bodies.thinnest != bodies.wire_radii)[which])
    if not len(several):
        return wires
    curves, frames, curve = bodies.primitives(), bodies.frames(), np.empty(COLUMNS)
    for k in several.tolist():
        body, nearest = int(which[k]), np.inf
        for row in curves.table[curves.begins[body] : curves.ends[body]]:
            placed(row, bodies.centres[body], frames[body], curve)
            x, y, z = points[k].tolist()
            away = float(np.linalg.norm(np.subtract(nearest_on_primitive(x, y, z, curve), points[k])))
            if away < nearest:
                nearest, wires[k] = away, curve[WIRE]
    return wires


@dataclass(frozen=True, eq=False)
class Contacts:
    """Places where two wires come nearest, one row a place; a pair has a row for each local minimum.

    Attributes:
        pairs: Indices of the two bodies, shape (m, 2).
        gaps: Gap of the wires there [mm], shape (m,).
        points: The nearest centreline point on either body [mm], shape (m, 2, 3).
    """

    pairs: Ints
    gaps: Floats
    points: Floats


def contacts(bodies: Bodies, pairs: Ints) -> Contacts:
    """Every local minimum of the gap of each pair; where it is the same along a stretch, a few places of it.

    Args:
        bodies: The bodies.
        pairs: Indices of the two bodies of each pair, shape (m, 2).
    """
    rings = bodies.is_ring[pairs].all(axis=1)
    parts = [_ring_contacts(bodies, pairs, np.flatnonzero(rings))]
    if not rings.all():
        curves, frames = bodies.primitives(), bodies.frames()
        sizes = curves.ends - curves.begins
        for k in np.flatnonzero(~rings):
            i, j = pairs[k]
            room = int(sizes[i] * sizes[j]) * MOST_NEAREST
            points, gaps = np.empty((room, 2, 3)), np.empty(room)
            count = _minima_of_pair(
                bodies.centres, frames, curves.table, curves.begins, curves.ends, i, j, points, gaps
            )
            parts.append((np.full(count, k), gaps[:count], points[:count]))
    of_pair, gaps, points = (np.concatenate([part[column] for part in parts]) for column in range(3))
    order = np.argsort(of_pair, kind="stable")
    return Contacts(pairs[of_pair[order]], gaps[order], points[order])


def _ring_contacts(bodies: Bodies, pairs: Ints, which: Ints) -> tuple[Ints, Floats, Floats]:
    """Local minima of those of the pairs that are `which`, all of rings: pair of each, gaps and points."""
    gaps = np.empty((len(which), MOST_MINIMA))
    points = np.empty((len(which), MOST_MINIMA, 2, 3))
    _all_minima(
        bodies.centres, bodies.normals, bodies.radii, bodies.wire_radii, pairs[which], gaps, points
    )  # fmt: skip
    found = ~np.isnan(gaps)
    return np.repeat(which, found.sum(axis=1)), gaps[found], points[found]
