"""Which eyes of wire bodies are linked, exactly.

An eye is a closed line of arcs and straights, those that close an open hook included; a ring's is one whole
arc. Two eyes are linked where the linking number of their lines is not 0. The number is the signed
count of one line's crossings of any surface that the other bounds, and all surfaces here are flat, so that
each crossing is a root of a line or of a circle and how often a flat line winds round it is a sum of angles
in closed form.

Signs: a crossing along the normal about which the other line runs anticlockwise counts +1, as in
`linking.disc_crossings`; the number is the same with the two lines swapped, and its sign changes in a mirror.
Lines that meet have no linking number: the answer is then one of those to either side.
"""

from dataclasses import dataclass
from math import acos, atan2, cos, hypot, pi, sin, sqrt

import numba
import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.linking import linked
from chaingen.geometry.shapes import (
    COLUMNS,
    FIRST,
    ORIGIN,
    RADIUS,
    REAL,
    SECOND,
    SPAN,
    WIRE,
    loop_rows,
)
from chaingen.geometry.types import Floats, Ints

FLAT = 1e-9
"""A line lies in a plane when it leaves it by at most this share of its size: far over rounding, and far
under any wire."""

_WHOLE = 2.0 * pi - 1e-12
"""Arcs of at least this angle [rad] end where they begin."""

_TRIES = 6
"""How many spanning surfaces are tried at most until two agree. They can only differ where the other line
meets a seam of one to within rounding."""


@dataclass(frozen=True, eq=False)
class Loops:
    """The closed lines of all eyes, each kind of body's once, in the body's own frame.

    Attributes:
        table: One row a curve; columns as in `shapes`, shape (k, COLUMNS).
        begins: First row of each eye, -1 where a body has fewer eyes, shape (n, most eyes).
        ends: Row after its last, or -1, shape (n, most eyes).
        counts: How many eyes each body has, shape (n,).
        planar: Whether an eye's line lies in a plane, shape (n, most eyes).
    """

    table: Floats
    begins: Ints
    ends: Ints
    counts: Ints
    planar: npt.NDArray[np.bool_]


def loops_of(bodies: Bodies) -> Loops:
    """The closed lines of all eyes of some bodies; a ring has one, its whole circle."""
    rings = bodies.is_ring
    sizes, of_size = np.unique(
        np.column_stack([bodies.radii, bodies.wire_radii])[rings], axis=0, return_inverse=True
    )
    circles = np.zeros((len(sizes), COLUMNS))
    circles[:, FIRST] = (1.0, 0.0, 0.0)
    circles[:, SECOND] = (0.0, 1.0, 0.0)
    circles[:, RADIUS], circles[:, WIRE] = sizes.T
    circles[:, SPAN], circles[:, REAL] = 2.0 * np.pi, 1.0

    most = max([1, *(len(shape.eyes) for shape in bodies.shapes)])
    parts, start = [circles], len(circles)
    spans = np.full((len(bodies.shapes), 2, most), -1, dtype=np.int64)
    flat = np.zeros((len(bodies.shapes), most), dtype=bool)
    for k, shape in enumerate(bodies.shapes):
        for number, eye in enumerate(shape.eyes):
            rows = loop_rows(eye)
            spans[k, :, number] = start, start + len(rows)
            flat[k, number] = is_planar(rows)
            parts.append(rows)
            start += len(rows)

    begins = np.full((len(bodies), most), -1, dtype=np.int64)
    ends, planar = begins.copy(), np.zeros((len(bodies), most), dtype=bool)
    counts = np.ones(len(bodies), dtype=np.int64)
    begins[rings, 0] = of_size.ravel()
    ends[rings, 0] = of_size.ravel() + 1
    planar[rings, 0] = True
    if bodies.shape_of is not None:
        shaped = bodies.shape_of[~rings]
        begins[~rings], ends[~rings], planar[~rings] = spans[shaped, 0], spans[shaped, 1], flat[shaped]
        eyes = np.array([len(shape.eyes) for shape in bodies.shapes], dtype=np.int64)
        counts[~rings] = eyes[shaped] if len(shaped) else 0
    return Loops(np.ascontiguousarray(np.concatenate(parts)), begins, ends, counts, planar)


def is_planar(rows: Floats) -> bool:
    """Whether a closed line lies in a plane, see `FLAT`.

    Args:
        rows: Its curves, shape (k, COLUMNS).
    """
    normal, at, size = np.empty(3), np.empty(3), float(rows[:, RADIUS].max())
    _plane(rows, 0, len(rows), normal, at)
    off = np.abs((rows[:, ORIGIN] - at) @ normal)
    straight = rows[:, RADIUS] == 0.0
    far = rows[:, ORIGIN] + np.where(straight, rows[:, SPAN], 0.0)[:, None] * rows[:, FIRST]
    tilt = rows[:, RADIUS] * np.hypot(rows[:, FIRST] @ normal, rows[:, SECOND] @ normal)
    off = np.maximum(off, np.abs((far - at) @ normal)) + tilt
    size = max(size, float(np.linalg.norm(rows[:, ORIGIN] - at, axis=1).max()))
    return bool(off.max() <= FLAT * size)


def eye_links(bodies: Bodies, pairs: Ints) -> Ints:
    """All linked eyes of some pairs of bodies.

    Args:
        bodies: The bodies.
        pairs: Indices, shape (k, 2), in any order.

    Returns:
        Body i, body j, eye of i, eye of j of every link, shape (m, 4): i under j, sorted, each once.
    """
    pairs = np.unique(np.sort(np.asarray(pairs, dtype=np.int64).reshape(-1, 2), axis=1), axis=0)
    if bodies.all_rings:
        through = pairs[linked(bodies, pairs)]
        return np.concatenate([through, np.zeros_like(through)], axis=1)
    rings = bodies.is_ring[pairs].all(axis=1)
    of_rings = pairs[rings]
    of_rings = of_rings[linked(bodies, of_rings)]
    some, place = np.unique(pairs[~rings], return_inverse=True)
    part, loops = bodies[some], loops_of(bodies[some])
    numbers = np.zeros((len(pairs) - int(rings.sum()), *2 * (loops.begins.shape[1],)), dtype=np.int64)
    _linking_numbers(
        loops.table, loops.begins, loops.ends, loops.counts, loops.planar, part.centres, part.frames(),
        part.radii, place.reshape(-1, 2).astype(np.int64), numbers,
    )  # fmt: skip
    pair, eye, other = np.nonzero(numbers)
    of_shapes = np.column_stack([pairs[~rings][pair], eye, other])
    links = np.concatenate([np.concatenate([of_rings, np.zeros_like(of_rings)], axis=1), of_shapes])
    return np.ascontiguousarray(links[np.lexsort(links.T[::-1])], dtype=np.int64)


def linking_numbers(bodies: Bodies, pairs: Ints) -> Ints:
    """Linking numbers of all eyes of some pairs of bodies.

    Args:
        bodies: The bodies.
        pairs: Indices, shape (k, 2).

    Returns:
        Numbers, shape (k, most eyes, most eyes), 0 where a body has fewer eyes. A ring runs anticlockwise
        about its normal.
    """
    loops = loops_of(bodies)
    numbers = np.zeros((len(pairs), *2 * (loops.begins.shape[1],)), dtype=np.int64)
    _linking_numbers(
        loops.table, loops.begins, loops.ends, loops.counts, loops.planar, bodies.centres, bodies.frames(),
        bodies.radii, np.asarray(pairs, dtype=np.int64), numbers,
    )  # fmt: skip
    return numbers


@numba.njit(cache=True)
def _linking_numbers(
    table: Floats, begins: Ints, ends: Ints, counts: Ints, planar: npt.NDArray[np.bool_], centres: Floats,
    frames: Floats, radii: Floats, pairs: Ints, numbers: Ints,
) -> None:  # fmt: skip
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        x = centres[j, 0] - centres[i, 0]
        y = centres[j, 1] - centres[i, 1]
        z = centres[j, 2] - centres[i, 2]
        if sqrt(x * x + y * y + z * z) > radii[i] + radii[j]:
            continue
        for a in range(counts[i]):
            for b in range(counts[j]):
                numbers[k, a, b] = loop_linking(
                    table, begins[i, a], ends[i, a], centres[i], frames[i], planar[i, a],
                    begins[j, b], ends[j, b], centres[j], frames[j], planar[j, b],
                )  # fmt: skip


@numba.njit(cache=True)
def loop_linking(
    table: Floats, a0: int, a1: int, ca: Floats, fa: Floats, planar_a: bool,
    b0: int, b1: int, cb: Floats, fb: Floats, planar_b: bool,
) -> int:  # fmt: skip
    """Linking number of two closed lines.

    Where one is flat, the other's crossings of its plane are counted, each as often as the flat line winds
    round it. Where neither is, the first is spanned by flat pieces: one in the plane of each arc, and
    triangles to an apex.

    Args:
        table: Curves in the frames of their bodies, shape (k, COLUMNS).
        a0: First row of the first line.
        a1: Row after its last.
        ca: Where its body is [mm], shape (3,).
        fa: Axes of its body as rows, shape (3, 3).
        planar_a: Whether it lies in a plane.
        b0: First row of the second line.
        b1: Row after its last.
        cb: Where its body is [mm], shape (3,).
        fb: Axes of its body as rows, shape (3, 3).
        planar_b: Whether it lies in a plane.
    """
    if planar_a or not planar_b:
        one0, one1, one_at, one_frame, flat = a0, a1, ca, fa, planar_a
        two0, two1, two_at, two_frame = b0, b1, cb, fb
    else:
        one0, one1, one_at, one_frame, flat = b0, b1, cb, fb, planar_b
        two0, two1, two_at, two_frame = a0, a1, ca, fa
    # The second line, seen from the frame of the first one's body.
    other = np.empty((two1 - two0, COLUMNS))
    _seen_from(table, two0, two1, two_at, two_frame, one_at, one_frame, other)
    if flat:
        return _through(table, one0, one1, other)
    number = _through_pieces(table, one0, one1, other, 0)
    for seam in range(1, _TRIES):
        again = _through_pieces(table, one0, one1, other, seam)
        if again == number:
            return number
        number = again
    return number


@numba.njit(cache=True)
def _seen_from(
    table: Floats, begin: int, end: int, centre: Floats, axes: Floats, at: Floats, frame: Floats, out: Floats
) -> None:
    """Rows of a body at `centre` with `axes`, in the frame of another body."""
    x = centre[0] - at[0]
    y = centre[1] - at[1]
    z = centre[2] - at[2]
    for c in range(3):
        turn0 = axes[0, 0] * frame[c, 0] + axes[0, 1] * frame[c, 1] + axes[0, 2] * frame[c, 2]
        turn1 = axes[1, 0] * frame[c, 0] + axes[1, 1] * frame[c, 1] + axes[1, 2] * frame[c, 2]
        turn2 = axes[2, 0] * frame[c, 0] + axes[2, 1] * frame[c, 1] + axes[2, 2] * frame[c, 2]
        shift = x * frame[c, 0] + y * frame[c, 1] + z * frame[c, 2]
        for k in range(end - begin):
            row = table[begin + k]
            out[k, c] = shift + row[0] * turn0 + row[1] * turn1 + row[2] * turn2
            out[k, 3 + c] = row[3] * turn0 + row[4] * turn1 + row[5] * turn2
            out[k, 6 + c] = row[6] * turn0 + row[7] * turn1 + row[8] * turn2
    for k in range(end - begin):
        for column in range(RADIUS, COLUMNS):
            out[k, column] = table[begin + k, column]


@numba.njit(cache=True)
def _plane(table: Floats, begin: int, end: int, normal: Floats, at: Floats) -> bool:
    """Unit normal and a point of the plane of a flat line; False, and 0, where it encloses nothing."""
    best = 0.0
    for k in range(begin, end):
        row = table[k]
        if row[RADIUS] > 0.0 and row[RADIUS] * min(row[SPAN], 1.0) > best:
            best = row[RADIUS] * min(row[SPAN], 1.0)
            normal[0] = row[4] * row[8] - row[5] * row[7]
            normal[1] = row[5] * row[6] - row[3] * row[8]
            normal[2] = row[3] * row[7] - row[4] * row[6]
            for c in range(3):
                at[c] = row[c]
    if best == 0.0:
        for k in range(begin, end):
            for other in range(begin, k):
                p = table[k]
                q = table[other]
                x = p[4] * q[5] - p[5] * q[4]
                y = p[5] * q[3] - p[3] * q[5]
                z = p[3] * q[4] - p[4] * q[3]
                size = sqrt(x * x + y * y + z * z) * min(p[SPAN], q[SPAN])
                if size > best:
                    best = size
                    normal[0], normal[1], normal[2] = x, y, z
                    for c in range(3):
                        at[c] = p[c]
    size = sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2) if best > 0.0 else 0.0
    for c in range(3):
        if size == 0.0:
            normal[c], at[c] = 0.0, table[begin, c]
        else:
            normal[c] /= size
    return size > 0.0


@numba.njit(cache=True)
def _begin(row: Floats) -> tuple[float, float, float]:
    """Where a curve begins."""
    r = row[RADIUS]
    if r == 0.0:
        return row[0], row[1], row[2]
    return row[0] + r * row[3], row[1] + r * row[4], row[2] + r * row[5]


@numba.njit(cache=True)
def _through(table: Floats, begin: int, end: int, other: Floats) -> int:
    """How often a closed line passes through a flat one, signed.

    Args:
        table: Curves, shape (k, COLUMNS).
        begin: First row of the flat line.
        end: Row after its last.
        other: Curves of the other line in the same frame, shape (m, COLUMNS).
    """
    normal = np.empty(3)
    at = np.empty(3)
    if not _plane(table, begin, end, normal, at):
        return 0
    nx, ny, nz = normal[0], normal[1], normal[2]
    total = 0
    count = len(other)
    x0, y0, z0 = _begin(other[0])
    height = (x0 - at[0]) * nx + (y0 - at[1]) * ny + (z0 - at[2]) * nz
    for k in range(count):
        row = other[k]
        # A curve ends where the next one begins, to the last bit: what leaves one side comes back to it.
        x1, y1, z1 = _begin(other[(k + 1) % count])
        next_height = (x1 - at[0]) * nx + (y1 - at[1]) * ny + (z1 - at[2]) * nz
        step = int(next_height >= 0.0) - int(height >= 0.0)
        r = row[RADIUS]
        if r == 0.0:
            if step != 0:
                share = height / (height - next_height)
                total += step * _winding(
                    table, begin, end, nx, ny, nz,
                    x0 + share * (x1 - x0), y0 + share * (y1 - y0), z0 + share * (z1 - z0),
                )  # fmt: skip
        else:
            h0 = (row[0] - at[0]) * nx + (row[1] - at[1]) * ny + (row[2] - at[2]) * nz
            h1 = r * (row[3] * nx + row[4] * ny + row[5] * nz)
            h2 = r * (row[6] * nx + row[7] * ny + row[8] * nz)
            swing = hypot(h1, h2)
            if swing > abs(h0):
                top = atan2(h2, h1)
                half = acos(-h0 / swing)
                # Before the top of its swing a circle rises through the plane, after it it sinks.
                rise = _turned(top - half)
                sink = _turned(top + half)
                rises, sinks = _crossed(rise, sink, row[SPAN], step)
                if rises:
                    a, b = r * cos(rise), r * sin(rise)
                    total += _winding(
                        table, begin, end, nx, ny, nz, row[0] + a * row[3] + b * row[6],
                        row[1] + a * row[4] + b * row[7], row[2] + a * row[5] + b * row[8],
                    )  # fmt: skip
                if sinks:
                    a, b = r * cos(sink), r * sin(sink)
                    total -= _winding(
                        table, begin, end, nx, ny, nz, row[0] + a * row[3] + b * row[6],
                        row[1] + a * row[4] + b * row[7], row[2] + a * row[5] + b * row[8],
                    )  # fmt: skip
            elif step != 0:
                # Touching within rounding.
                total += step * _winding(table, begin, end, nx, ny, nz, x1, y1, z1)
        x0, y0, z0, height = x1, y1, z1, next_height
    return total


@numba.njit(cache=True)
def _turned(angle: float) -> float:
    """An angle from 0 to under a full turn [rad]."""
    turned = angle % (2.0 * pi)
    return turned if turned < 2.0 * pi else 0.0


@numba.njit(cache=True)
def _crossed(rise: float, sink: float, span: float, step: int) -> tuple[bool, bool]:
    """Whether an arc rises and whether it sinks through a plane.

    Args:
        rise: Angle at which its circle rises through it [rad].
        sink: Angle at which its circle sinks through it [rad].
        span: Angle of the arc [rad].
        step: 1 where it begins below and ends above, -1 the other way, else 0. It decides where a crossing
            is so near to an end of the arc that rounding might count it for both curves there, or for none.
    """
    rises = rise < span
    sinks = sink < span
    if int(rises) - int(sinks) != step:
        if _to_end(rise, span) < _to_end(sink, span):
            rises = not rises
        else:
            sinks = not sinks
        if int(rises) - int(sinks) != step:
            # Both crossings are near ends.
            rises, sinks = step > 0, step < 0
    return rises, sinks


@numba.njit(cache=True)
def _to_end(angle: float, span: float) -> float:
    """How far an angle is from the ends of an arc [rad]."""
    return min(angle, 2.0 * pi - angle, abs(angle - span))


@numba.njit(cache=True)
def _winding(
    table: Floats, begin: int, end: int, nx: float, ny: float, nz: float, px: float, py: float, pz: float
) -> int:
    """How often a flat closed line winds about a point of its plane, anticlockwise about the normal.

    Along an arc the angle seen from the point is the argument of ``r e^(it) - d``. Divided by whichever of
    the two is larger, it stays within a quarter turn, and no branch is crossed.
    """
    total = 0.0
    for k in range(begin, end):
        row = table[k]
        r = row[RADIUS]
        if r == 0.0:
            x0, y0, z0 = row[0] - px, row[1] - py, row[2] - pz
            nxt = table[k + 1] if k + 1 < end else table[begin]
            x1, y1, z1 = _begin(nxt)
            x1 -= px
            y1 -= py
            z1 -= pz
            across = (
                nx * (y0 * z1 - z0 * y1) + ny * (z0 * x1 - x0 * z1) + nz * (x0 * y1 - y0 * x1)
            )  # fmt: skip
            total += atan2(across, x0 * x1 + y0 * y1 + z0 * z1)
            continue
        wx, wy, wz = px - row[0], py - row[1], pz - row[2]
        # Along the arc's own axes it runs anticlockwise; `sense` says what that is about the normal.
        a = wx * row[3] + wy * row[4] + wz * row[5]
        b = wx * row[6] + wy * row[7] + wz * row[8]
        sense = (
            nx * (row[4] * row[8] - row[5] * row[7])
            + ny * (row[5] * row[6] - row[3] * row[8])
            + nz * (row[3] * row[7] - row[4] * row[6])
        )
        c, s = cos(row[SPAN]), sin(row[SPAN])
        if a * a + b * b < r * r:
            # t + arg(1 - (d / r) e^(-it))
            swept = row[SPAN] + atan2(-(b * c - a * s), r - (a * c + b * s)) - atan2(-b, r - a)
        else:
            # arg(1 - (r / d) e^(it)) = arg(|d|^2 - r conj(d) e^(it))
            big = a * a + b * b
            swept = atan2(-r * (a * s - b * c), big - r * (a * c + b * s)) - atan2(r * b, big - r * a)
        total += swept if sense > 0.0 else -swept
    return round(total / (2.0 * pi))


@numba.njit(cache=True)
def _through_pieces(table: Floats, begin: int, end: int, other: Floats, seam: int) -> int:
    """How often a closed line passes through the flat pieces that span one that is not flat, signed.

    Args:
        table: Curves, shape (k, COLUMNS).
        begin: First row of the line that is spanned.
        end: Row after its last.
        other: Curves of the other line in the same frame, shape (m, COLUMNS).
        seam: Which of several spanning surfaces, 0 to `_TRIES` - 1; their seams differ.
    """
    # Odd shares keep seams away from middles and axes, where other wires like to be.
    odd = 0.1379 + 0.0911 * seam
    apex = np.zeros(3)
    for k in range(begin, end):
        x, y, z = _begin(table[k])
        # Weights that differ, so that the apex is in no middle of anything.
        weight = (1.0 + odd * (k - begin)) / (end - begin)
        apex[0] += weight * x
        apex[1] += weight * y
        apex[2] += weight * z
    scale = 1.0 + 0.5 * odd * (end - begin - 1)
    for c in range(3):
        apex[c] /= scale
    piece = np.zeros((3, COLUMNS))
    total = 0
    for k in range(begin, end):
        row = table[k]
        nxt = table[k + 1] if k + 1 < end else table[begin]
        x0, y0, z0 = _begin(row)
        x1, y1, z1 = _begin(nxt)
        r = row[RADIUS]
        if r == 0.0:
            total += _through_triangle(piece, x0, y0, z0, x1, y1, z1, apex, other)
            continue
        if row[SPAN] >= _WHOLE:
            total += _through(table, k, k + 1, other)
            continue
        # A seam in the arc's own plane: begin, arc, end, seam point.
        a = r * (0.5 * cos(0.5 * row[SPAN]) + 0.3 * odd)
        b = r * (0.5 * sin(0.5 * row[SPAN]) - 0.2 * odd)
        mx = row[0] + a * row[3] + b * row[6]
        my = row[1] + a * row[4] + b * row[7]
        mz = row[2] + a * row[5] + b * row[8]
        for column in range(COLUMNS):
            piece[0, column] = row[column]
        _straight(piece[1], x1, y1, z1, mx, my, mz)
        _straight(piece[2], mx, my, mz, x0, y0, z0)
        total += _through(piece, 0, 3, other)
        total += _through_triangle(piece, x0, y0, z0, mx, my, mz, apex, other)
        total += _through_triangle(piece, mx, my, mz, x1, y1, z1, apex, other)
    return total


@numba.njit(cache=True)
def _straight(row: Floats, x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> None:
    """Fill a row with a straight from one point to another."""
    length = sqrt((x1 - x0) ** 2 + (y1 - y0) ** 2 + (z1 - z0) ** 2)
    share = 1.0 / length if length > 0.0 else 0.0
    row[0], row[1], row[2] = x0, y0, z0
    row[3], row[4], row[5] = share * (x1 - x0), share * (y1 - y0), share * (z1 - z0)
    row[6], row[7], row[8] = 0.0, 0.0, 0.0
    row[RADIUS], row[SPAN] = 0.0, length


@numba.njit(cache=True)
def _through_triangle(
    piece: Floats, x0: float, y0: float, z0: float, x1: float, y1: float, z1: float, apex: Floats,
    other: Floats,
) -> int:  # fmt: skip
    """How often a closed line passes through the triangle from one point to another and to the apex."""
    _straight(piece[0], x0, y0, z0, x1, y1, z1)
    _straight(piece[1], x1, y1, z1, apex[0], apex[1], apex[2])
    _straight(piece[2], apex[0], apex[1], apex[2], x0, y0, z0)
    return _through(piece, 0, 3, other)
